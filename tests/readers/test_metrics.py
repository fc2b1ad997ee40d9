"""The metrics of the running daemon as the Prometheus client library reads them, in both formats it knows; and the status page as
Python's own HTML parser and HTTP client see it.

Environment: STRIKEMILL (the program).
"""

import html.parser
import http.client
import json
import os
import pathlib
import shutil
import socket
import subprocess
import time

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parse_openmetrics
from prometheus_client.parser import text_string_to_metric_families as parse_prometheus

PROGRAM = os.environ["STRIKEMILL"]
ROOT = pathlib.Path(__file__).resolve().parents[2]
PATIENCE_S = 120


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Daemon:
    def __init__(self, home):
        self.port = free_port()
        subprocess.run([PROGRAM, "init", "--home", str(home)], check=True, cwd=ROOT, capture_output=True)
        settings = home / "config" / "strikemill.toml"
        text = settings.read_text(encoding="utf-8")
        changed = text.replace('# listen = "127.0.0.1:7480"', f'listen = "127.0.0.1:{self.port}"')
        changed = changed.replace("quiet_period_s = 3 ", "quiet_period_s = 0.3 ").replace("rescan_every_s = 20 ", "rescan_every_s = 0.5 ")
        assert changed != text
        settings.write_text(changed, encoding="utf-8")
        for bay in ("bay1", "bay2", "bay3"):
            (home / "import" / bay).mkdir(parents=True, exist_ok=True)
        shutil.copy(sorted((ROOT / "demo-data" / "bay3").iterdir())[0], home / "import" / "bay3")
        (home / "import" / "bay1" / 'no "export"\\.csv').write_text("nothing\n", encoding="utf-8")
        self.log = (home / "daemon.log").open("wb")
        self.process = subprocess.Popen([PROGRAM, "run", "--home", str(home)], cwd=ROOT, stderr=self.log)

    def get(self, path, accept="*/*"):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            connection.request("GET", path, headers={"Accept": accept})
            answer = connection.getresponse()
            return answer.status, answer.headers, answer.read().decode("utf-8")
        finally:
            connection.close()

    def stop(self):
        self.process.terminate()
        self.process.wait(timeout=PATIENCE_S)
        self.log.close()


@pytest.fixture(scope="module")
def daemon(tmp_path_factory):
    home = tmp_path_factory.mktemp("academy")
    running = Daemon(home)
    try:
        deadline = time.monotonic() + PATIENCE_S
        while True:
            try:
                files = json.loads(running.get("/status.json")[2])["files"]
                if files["archived"] == 1 and files["quarantined"] == 1:
                    break
            except OSError:
                pass
            assert time.monotonic() < deadline, (home / "daemon.log").read_text(encoding="utf-8", errors="replace")
            time.sleep(0.2)
        yield running
    finally:
        running.stop()


def samples(families):
    return {(sample.name, tuple(sorted(sample.labels.items()))): sample.value for family in families for sample in family.samples}


@pytest.mark.parametrize(
    ("accept", "kind", "parse"),
    [
        ("text/plain;version=0.0.4", "text/plain", parse_prometheus),
        ("application/openmetrics-text;version=1.0.0", "application/openmetrics-text", parse_openmetrics),
    ],
)
def test_both_formats_are_read(daemon, accept, kind, parse):
    status, headers, text = daemon.get("/metrics", accept)
    assert status == 200 and headers.get_content_type() == kind
    families = list(parse(text))
    assert all(family.documentation for family in families)
    names = [family.name for family in families]
    assert len(names) == len(set(names)), "every family stands in one piece"
    found = samples(families)
    for name, labels, value in [
        ("strikemill_files", {"state": "archived"}, 1),
        ("strikemill_files", {"state": "quarantined"}, 1),
        ("strikemill_concerns", {"kind": "quarantined"}, 1),
        ("strikemill_concerns", {"kind": "intake-paused"}, 0),
        ("strikemill_ready", {}, 1),
        ("strikemill_intake_paused", {}, 0),
        ("strikemill_ledger_failing", {}, 0),
        ("strikemill_configuration_faulty", {}, 0),
        ("strikemill_import_folder_paths", {"state": "waiting"}, 0),
        ("strikemill_oldest_wait_seconds", {}, 0),
    ]:
        assert found[name, tuple(sorted(labels.items()))] == value, name
    assert found["strikemill_rows", (("fate", "accepted"),)] > 0
    assert found["strikemill_lake_generation", ()] > 0
    # The process as the system itself tells of it: within a factor, since it grows and shrinks meanwhile.
    status_text = pathlib.Path(f"/proc/{daemon.process.pid}/status").read_text(encoding="ascii")
    resident = next(int(line.split()[1]) * 1024 for line in status_text.splitlines() if line.startswith("VmRSS:"))
    assert resident / 3 < found["process_resident_memory_bytes", ()] < resident * 3
    assert abs(found["process_start_time_seconds", ()] - time.time()) < 3600
    free = {labels: value for (name, labels), value in found.items() if name == "strikemill_volume_free_bytes"}
    assert len(free) >= 1 and all(value > 0 for value in free.values())


class Outline(html.parser.HTMLParser):
    """What a screen reader needs of the page."""

    VOID = {"meta", "link", "br"}

    def __init__(self):
        super().__init__()
        self.open, self.language, self.tags, self.headings, self.headers = [], None, [], [], []

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        self.tags.append(tag)
        if tag == "html":
            self.language = attributes.get("lang")
        if tag in ("h1", "h2", "h3"):
            self.headings.append(int(tag[1]))
        if tag == "th":
            self.headers.append(attributes.get("scope"))
        assert not any(name.startswith("on") or name == "style" for name in attributes), attributes
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_the_page_is_well_formed_and_can_be_read_aloud(daemon):
    status, headers, text = daemon.get("/")
    assert status == 200 and headers.get_content_type() == "text/html"
    outline = Outline()
    outline.feed(text)
    outline.close()
    assert outline.open == [] and outline.language == "en"
    assert outline.headings[0] == 1 and outline.headings.count(1) == 1 and set(outline.headings[1:]) == {2}
    assert outline.headers and set(outline.headers) == {"col", "row"}
    assert outline.tags.count("table") == outline.tags.count("caption")
    for landmark in ("header", "main", "footer"):
        assert outline.tags.count(landmark) == 1, landmark
    assert "script" not in outline.tags and "img" not in outline.tags
    assert 'no "export"' not in text and "no &quot;export&quot;\\.csv" in text


def test_the_command_and_the_page_agree(daemon):
    def steady(report):
        return {key: report[key] for key in ("site", "files", "rows", "quarantine", "recent", "concerns_total", "concerns")}

    home = daemon.log.name.rsplit("/", 1)[0]
    done = subprocess.run([PROGRAM, "status", "--json", "--home", home], check=True, capture_output=True, text=True)
    assert steady(json.loads(done.stdout)) == steady(json.loads(daemon.get("/status.json")[2]))
