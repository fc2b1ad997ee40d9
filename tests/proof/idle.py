"""Measures an idle daemon over many archived files, and the way of one export into the lake."""

import argparse
import os
import sys
import time
from pathlib import Path

import pyarrow.parquet as parquet

from home import PROGRAM, Daemon, Site, export, run

FOLDERS = 20
# The promises of the product.
MOST_RESIDENT_MIB = 80
MOST_SHARE_OF_A_CORE = 0.005
MOST_SECONDS_AFTER_QUIET = 2.0


def configure(home):
    """Twenty import folders; settings as shipped."""
    path = home / "config" / "strikemill.toml"
    head, _, rest = path.read_text().partition("[[import]]")
    _, _, rest = rest.partition("[intake]")
    folders = ""
    for number in range(1, FOLDERS + 1):
        folders += f'[[import]]\nfolder = "import/bay{number}"\nbay = "{number}"\n\n'
        (home / "import" / f"bay{number}").mkdir(parents=True, exist_ok=True)
    text = head + folders + "[intake]" + rest
    text = text.replace("quiet_period_s = 0.3", "quiet_period_s = 3").replace("rescan_every_s = 0.5", "rescan_every_s = 20")
    path.write_text(text)


def fill(site, files):
    """Imports so many small files, ten thousand at a time."""
    archived = sum(len(names) for _, _, names in os.walk(site.home / "archive"))
    while archived < files:
        batch = min(10_000, files - archived)
        for number in range(archived, archived + batch):
            folder = site.home / "import" / f"bay{number % FOLDERS + 1}"
            month = number * 12 // files + 1
            (folder / f"small-{number}.csv").write_bytes(export([(f"small-{number}", month, 60.0)]))
        started = time.monotonic()
        done = run("import", site.home, str(site.home / "import"), limit=7_200)
        if done.returncode != 0:
            sys.exit(f"the import ended with {done.returncode}: {done.stderr[-500:]}")
        archived += batch
        print(f"  {archived} files archived, the last {batch} in {time.monotonic() - started:.0f} s", flush=True)


def resident_mib(process):
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    raise RuntimeError("the kernel does not tell the resident size")


def processor_seconds(process):
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def idle(daemon, seconds):
    """Resident MiB at the end, and the share of one core over the time."""
    process = daemon.process.pid
    before, started = processor_seconds(process), time.monotonic()
    time.sleep(seconds)
    return resident_mib(process), (processor_seconds(process) - before) / (time.monotonic() - started)


def seconds_to_the_lake(site, daemon, attempt):
    """From the last write of an export to the moment at which a reader of the lake finds its row."""
    name = f"timed-{attempt}"
    path = site.home / "import" / "bay7" / f"{name}.csv"
    path.write_bytes(export([(name, 12, 61.0)]))
    written = time.monotonic()
    # All months of this small lake may be rewritten; only the newest is looked at.
    newest = site.home / "lake" / "shots"
    while time.monotonic() - written < 120:
        for file in newest.rglob("month=2026-12/*.parquet"):
            column = parquet.ParquetFile(file).read(columns=["session_id"]).column(0)
            if name in column.to_pylist():
                return time.monotonic() - written
        time.sleep(0.05)
    sys.exit("the export never came into the lake: " + daemon.said()[-1_000:])


def main():
    parser = argparse.ArgumentParser(prog="tests/proof/footprint")
    parser.add_argument("--files", type=int, default=100_000)
    parser.add_argument("--seconds", type=float, default=120, help="how long the idle daemon is watched")
    parser.add_argument("--home", help="a folder to keep the filled home in, or one kept before")
    arguments = parser.parse_args()
    print(f"{PROGRAM}, {FOLDERS} import folders, {arguments.files} archived files", flush=True)
    site = Site.kept_at(Path(arguments.home)) if arguments.home else Site(bare=True)
    configure(site.home)
    fill(site, arguments.files)
    kept = []
    with Daemon(site.home) as daemon:
        # The start looks at what the last stop left; what is measured is the rest after it.
        daemon.until(lambda: False, limit=45)
        resident, share = idle(daemon, arguments.seconds)
        kept.append(resident < MOST_RESIDENT_MIB)
        print(f"idle, resident              {resident:8.1f} MiB   (promised: under {MOST_RESIDENT_MIB})", flush=True)
        kept.append(share < MOST_SHARE_OF_A_CORE)
        print(f"idle, share of one core     {share * 100:8.2f} %     (promised: under {MOST_SHARE_OF_A_CORE * 100})", flush=True)
        waits = sorted(seconds_to_the_lake(site, daemon, f"{os.getpid()}-{number}") for number in range(5))
        middle, longest = waits[len(waits) // 2], waits[-1]
        kept.append(longest < 3 + MOST_SECONDS_AFTER_QUIET)
        print(f"export to queryable, middle {middle:8.2f} s     (quiet period 3)", flush=True)
        print(f"export to queryable, worst  {longest:8.2f} s     (promised: within {3 + MOST_SECONDS_AFTER_QUIET:.0f} s)", flush=True)
        resident, _ = idle(daemon, 15)
        print(f"resident after five imports {resident:8.1f} MiB", flush=True)
        daemon.stop()
    if not arguments.home:
        site.remove()
    sys.exit(0 if all(kept) else 1)


main()
