"""Measures an idle daemon over many archived files, and the way of one export into the lake."""

import argparse
import hashlib
import os
import sqlite3
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


def archived_files(site):
    return sum(len(names) for _, _, names in os.walk(site.home / "archive"))


def imported(site, files):
    """Imports small files by the program itself until so many are archived, ten thousand at a time."""
    archived = archived_files(site)
    while archived < files:
        batch = min(10_000, files - archived)
        for number in range(archived, archived + batch):
            folder = site.home / "import" / f"bay{number % FOLDERS + 1}"
            (folder / f"small-{number}.csv").write_bytes(export([(f"small-{number}", number % 12 + 1, 60.0)]))
        started = time.monotonic()
        done = run("import", site.home, str(site.home / "import"), limit=7_200)
        if done.returncode != 0:
            sys.exit(f"the import ended with {done.returncode}: {done.stderr[-500:]}")
        archived += batch
        print(f"  {archived} files archived, the last {batch} in {time.monotonic() - started:.0f} s", flush=True)


def multiplied(site, files):
    """Gives every archived file companions, in the archive and in the ledger, archived over the year before: what a scan could stumble over
    is there, and no import of hours is needed. The lake lacks their rows, which an idle daemon does not read."""
    ledger = sqlite3.connect(site.home / "state" / "ledger.sqlite")
    ledger.row_factory = sqlite3.Row
    patterns = [dict(row) for row in ledger.execute("SELECT * FROM files WHERE state = 'archived'")]
    sequence = max(row["import_sequence"] for row in patterns)
    year = 365 * 86_400 * 1_000_000
    for number in range(archived_files(site), files):
        row = dict(patterns[number % len(patterns)])
        content = export([(f"companion-{number}", number % 12 + 1, 60.0)])
        digest, name, ago = hashlib.sha256(content).hexdigest(), f"companion-{number}.csv", year * (files - number) // files
        sequence += 1
        path = Path(row["archive_path"]).with_name(f"{digest[:12]}-{name}")
        path.write_bytes(content)
        row |= {"source_file_id": digest, "first_name": name, "bytes": len(content), "import_sequence": sequence, "archive_path": str(path)}
        row |= {key: row[key] - ago for key in ("claimed_at", "staged_at", "published_at", "archived_at")}
        ledger.execute(f"INSERT INTO files ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})", list(row.values()))
        ledger.execute("INSERT INTO file_names (source_file_id, name, folder, seen_at) VALUES (?, ?, ?, ?)",
                       (digest, name, row["folder"], row["claimed_at"]))
    ledger.execute("UPDATE meta SET value = ? WHERE key = 'next_import_sequence'", (str(sequence + 1),))
    ledger.commit()
    ledger.close()
    print(f"  {archived_files(site)} files archived, all but {len(patterns)} of them written into archive and ledger", flush=True)


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
    parser.add_argument("--imported", action="store_true", help="every one of the files goes through an import")
    parser.add_argument("--seconds", type=float, default=120, help="how long the idle daemon is watched")
    parser.add_argument("--home", help="a folder to keep the filled home in, or one kept before")
    arguments = parser.parse_args()
    print(f"{PROGRAM}, {FOLDERS} import folders, {arguments.files} archived files", flush=True)
    site = Site.kept_at(Path(arguments.home)) if arguments.home else Site(bare=True)
    configure(site.home)
    imported(site, arguments.files if arguments.imported else min(200, arguments.files))
    if not arguments.imported:
        multiplied(site, arguments.files)
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
