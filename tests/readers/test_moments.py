"""The lake while it is being written: the program publishes one file after another, and meanwhile two readers go on and on. DuckDB
globs the partitions, and another reader opens the frozen files that the manifest names.

Every file brings new shots for three months, tells those of the file before again with other speeds, and moves some of them into
another month: nearly every publication replaces all partitions.

Environment: STRIKEMILL (the program).
"""

import hashlib
import io
import json
import os
import pathlib
import subprocess
import threading
import time

import duckdb
import pyarrow.parquet
import pytest

PROGRAM = os.environ["STRIKEMILL"]
ROOT = pathlib.Path(__file__).resolve().parents[2]
SITE = "tern-point"

SECONDS = 20
FEWEST_FILES = 3
MOST_FILES = 40
# Noon UTC of the 10th of January, February and March 2026, in milliseconds [derived: 20463 days of 1970 + 0, 31, 59].
MONTHS = [(20463 + days) * 86_400_000 + 43_200_000 for days in (0, 31, 59)]
SHOTS_A_MONTH = 5
# The last shots of a session move on to the next month when they are told again; they carry a bay of their own.
STAYING, MOVING = range(1, 3 * SHOTS_A_MONTH + 1), range(91, 94)
SHOTS_A_FILE = len(STAYING) + len(MOVING)


def shot(session, number, month, told):
    speed = 50.0 + number / 10 + 5.0 * told
    return {
        "session": f"s{session}", "shot": number, "at_ms": MONTHS[month % 3] + session * 1000 + number,
        "bay": "moving" if number in MOVING else "staying", "who": "wren", "tool": "DR", "purpose": "normal",
        "ball": {"v": speed, "up": 11.0, "out": 0.5, "spin": {"rate": 2700, "tilt": 1.0}},
        "club": {"v": speed / 1.45, "attack": 1.0, "path": 0.0, "face": 0.2, "loft": 13.0},
    }


def session(number, told):
    staying = [shot(number, shot_number, (shot_number - 1) // SHOTS_A_MONTH, told) for shot_number in STAYING]
    return staying + [shot(number, shot_number, number + told, told) for shot_number in MOVING]


def export(number):
    shots = session(number, 0) + (session(number - 1, 1) if number else [])
    return "".join(json.dumps(line, separators=(",", ":")) + "\n" for line in shots)


def run(*words):
    done = subprocess.run([PROGRAM, *map(str, words)], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def manifest_of(lake):
    return json.loads((lake / f"site={SITE}" / "manifest.json").read_text(encoding="utf-8"))


class Reader(threading.Thread):
    """Looks again and again until it is told to stop; the first thing that is wrong ends it."""

    def __init__(self, look):
        super().__init__()
        self.look, self.looks, self.wrong, self.over = look, 0, None, threading.Event()

    def run(self):
        try:
            while not self.over.is_set():
                self.look()
                self.looks += 1
                time.sleep(0.01)
        except BaseException as wrong:  # a failed assertion must reach the test, not the thread's end
            self.wrong = wrong

    def end(self):
        self.over.set()
        self.join()
        if self.wrong:
            raise self.wrong


class GlobReader:
    def __init__(self, lake):
        self.pattern = str(lake / "shots" / "**" / "*.parquet")
        self.rows_seen, self.answers, self.refusals = set(), 0, 0

    def look(self):
        sql = f"SELECT filename, bay, shot_id FROM read_parquet('{self.pattern}', filename = true, hive_partitioning = false)"
        try:
            rows = duckdb.connect().sql(sql).fetchall()
        except duckdb.Error:
            # DuckDB opens each file twice [source: its openat calls under strace, version 2.0.1], for the footer and for the rows.
            # Where the file is replaced in between it refuses to answer; what it does answer must be right.
            self.refusals += 1
            return
        self.answers += 1
        staying = [shot_id for _, bay, shot_id in rows if bay == "staying"]
        assert len(staying) == len(set(staying)), "a shot stands twice"
        by_file = {}
        for path, _, shot_id in rows:
            by_file.setdefault(path, []).append(shot_id)
        for path, ids in by_file.items():
            assert len(ids) == len(set(ids)), "a shot stands twice in a partition"
            self.rows_seen.add((path, len(ids)))


class MomentReader:
    def __init__(self, lake):
        self.lake, self.generations = lake, set()

    def look(self):
        manifest = manifest_of(self.lake)
        tables = {}
        for entry in manifest["files"]:
            content = (self.lake / entry["frozen"]).read_bytes()
            assert hashlib.sha256(content).hexdigest() == entry["sha256"], entry["frozen"]
            table = pyarrow.parquet.read_table(io.BytesIO(content))
            assert table.num_rows == entry["rows"], entry["frozen"]
            tables.setdefault(entry["dataset"], []).append(table)
        # Shots and imports belong to one publication: so many files, so many shots, and each of them once, also those that moved.
        files = sum(table.num_rows for table in tables["imports"])
        ids = [shot_id for table in tables["shots"] for shot_id in table.column("shot_id").to_pylist()]
        assert len(ids) == len(set(ids)) == files * SHOTS_A_FILE, f"generation {manifest['generation']}"
        self.generations.add(manifest["generation"])


@pytest.fixture
def home(tmp_path):
    run("init", "--home", tmp_path / "home")
    return tmp_path / "home"


def test_readers_beside_a_writer(home, tmp_path):
    lake = home / "lake"
    published = set()

    def publish(number):
        path = tmp_path / f"s{number}.jsonl"
        path.write_text(export(number), encoding="utf-8")
        run("import", path, "--home", home)
        for entry in manifest_of(lake)["files"]:
            if entry["dataset"] == "shots":
                published.add((str(lake / entry["path"]), entry["rows"]))

    publish(0)
    glob, moment = GlobReader(lake), MomentReader(lake)
    readers = [Reader(glob.look), Reader(moment.look)]
    for reader in readers:
        reader.start()
    begin, number = time.monotonic(), 0
    try:
        while number < FEWEST_FILES or (number < MOST_FILES and time.monotonic() - begin < SECONDS):
            number += 1
            publish(number)
    finally:
        for reader in readers:
            reader.over.set()
    for reader in readers:
        reader.end()
        reader.look()
    print(f"{number + 1} files; glob: {glob.answers} answers, {glob.refusals} refusals; manifest: {readers[1].looks} looks at "
          f"{len(moment.generations)} generations")
    assert glob.answers > glob.refusals and readers[1].looks > 1
    assert len(moment.generations) > 1
    assert glob.rows_seen <= published, "a partition was seen that was never published so"

    manifest = manifest_of(lake)
    assert manifest["retired"], "files of earlier moments stay for their readers"
    assert all((lake / entry["path"]).is_file() for entry in manifest["retired"])
    shots = sum(entry["rows"] for entry in manifest["files"] if entry["dataset"] == "shots")
    assert shots == (number + 1) * SHOTS_A_FILE
