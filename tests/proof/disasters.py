"""Single disasters, each with the message or the recovery that a person may expect."""

import os
import shutil
import subprocess
import tempfile
import time

from home import Daemon, Site, export, run, some_rows
from table import Tally


def all_of_them(table, _every):
    for disaster in (two_daemons, damaged_ledger, truncated_partition, clock_set_back, clock_set_forward, share_gone_mid_read):
        disaster(table)


def two_daemons(table):
    """The second one is refused with the first one's number; the first one goes on."""
    site, tally, further = Site(), Tally(table, "two daemons on one home"), []
    site.fresh()
    with Daemon(site.home) as first:
        first.until(lambda: "watching" in first.said(), limit=20)
        second = run("run", site.home)
        if second.returncode != 1 or str(first.process.pid) not in second.stderr or "hint:" not in second.stderr:
            further.append(f"the second one ended with {second.returncode}: {second.stderr[-400:]}")
        if not first.until(lambda: not any(site.bay.iterdir())):
            further.append("the first one does not go on: " + first.said()[-400:])
        if first.stop() != 0:
            further.append("the first one does not end well")
    tally.count(site, "two daemons", further)
    tally.close()
    site.remove()


def damaged_ledger(table):
    """Rubbish in the middle of the ledger: nothing is imported on top of it, and the message says what to do."""
    site, tally = Site(), Tally(table, "damaged ledger")
    offers_repair = "repair" in subprocess.run([os.environ["STRIKEMILL"], "--help"], capture_output=True, text=True, check=False).stdout
    for place in ("its beginning", "its middle", "cut to half"):
        site.fresh()
        ledger = site.home / "state" / "ledger.sqlite"
        content = bytearray(ledger.read_bytes())
        if place == "its beginning":
            content[:64] = b"\xff" * 64
        elif place == "its middle":
            # Every page but the first: whatever is read next is rubbish.
            for start in range(4096, len(content), 4096):
                content[start:start + 128] = b"\xa5" * 128
        else:
            del content[len(content) // 2 // 4096 * 4096:]
        ledger.write_bytes(content)
        further = []
        with Daemon(site.home) as daemon:
            daemon.until(lambda: False, limit=3)
            said, ended = daemon.said(), daemon.process.poll()
            if ended not in (None, 1) or "panicked" in said:
                further.append(f"ended with {ended}: {said[-400:]}")
            if "hint:" not in said and "ERROR" not in said:
                further.append("says nothing of a damaged ledger: " + said[-400:])
            if offers_repair and "repair" not in said:
                further.append("does not name repair: " + said[-400:])
        doubled, unreadable = site.doubled_now()
        further += [f"{identity} doubled over a damaged ledger" for identity in doubled] + unreadable
        if offers_repair:
            repaired = run("repair", site.home)
            if repaired.returncode != 0:
                further.append(f"repair ended with {repaired.returncode}: {repaired.stdout[-300:]}{repaired.stderr[-300:]}")
            site.imports()
            tally.count(site, place, further)
        else:
            tally.tried += 1
            tally.faults += [f"{place}: {fault}" for fault in further]
    tally.close()
    site.remove()


def truncated_partition(table):
    """Half a partition: it is told by name, and once the file is back nothing is missing."""
    site, tally, further = Site(), Tally(table, "truncated partition"), []
    site.fresh()
    path = sorted((site.home / "lake" / "shots").rglob("*.parquet"))[0]
    whole = path.read_bytes()
    path.write_bytes(whole[:len(whole) // 2])
    check = run("check", site.home)
    told = check.stdout + check.stderr
    if check.returncode != 1 or path.name not in told or "hint:" not in told:
        further.append(f"check ended with {check.returncode}: {told[-400:]}")
    with Daemon(site.home) as daemon:
        daemon.until(lambda: False, limit=3)
        if daemon.process.poll() is not None or "panicked" in daemon.said():
            further.append("the daemon does not survive: " + daemon.said()[-400:])
        if "month=" not in daemon.said():
            further.append("the log does not name the partition: " + daemon.said()[-400:])
        # A person brings the file back.
        path.write_bytes(whole)
        if not daemon.until(lambda: not any(site.bay.iterdir())):
            further.append("does not go on with the file back: " + daemon.said()[-400:])
        daemon.stop()
    tally.count(site, path.parent.name, further)
    tally.close()
    site.remove()


def _with_clock(table, name, jump):
    """The clock is set while files settle: they are imported within a minute all the same, once."""
    if shutil.which("faketime") is None:
        return table.skip(name, "libfaketime is not installed")
    site, tally, further = Site(), Tally(table, name), []
    site.fresh()
    clock = site.folder / "clock"
    clock.write_text("+0")
    library = subprocess.run(["faketime", "now", "printenv", "LD_PRELOAD"], capture_output=True, text=True, check=False).stdout.strip()
    library = library.replace("libfaketime.so.1", "libfaketimeMT.so.1")
    # The steady clock of the kernel stays as it is, as it does when a person or a time server sets the clock.
    env = {"LD_PRELOAD": library, "FAKETIME_TIMESTAMP_FILE": str(clock), "FAKETIME_NO_CACHE": "1", "FAKETIME_DONT_FAKE_MONOTONIC": "1",
           "DONT_FAKE_MONOTONIC": "1"}
    with Daemon(site.home, env=env) as daemon:
        daemon.until(lambda: "watching" in daemon.said(), limit=20)
        time.sleep(0.2)
        clock.write_text(jump)
        if not daemon.until(lambda: not any(site.bay.iterdir()), limit=60):
            further.append("files are held up: " + daemon.said()[-600:])
        site.offer(some_rows("after-the-jump", 4), "after.csv")
        if not daemon.until(lambda: not any(site.bay.iterdir()), limit=60):
            further.append("a file that comes after the jump is held up: " + daemon.said()[-600:])
        if daemon.stop() != 0:
            further.append("no clean stop")
        # The log is written by the clock that was set: this proves that it was.
        hours = [line[:19] for line in daemon.said().splitlines() if line[4:5] == "-" and line[10:11] == "T"]
        seconds = [time.mktime(time.strptime(hour, "%Y-%m-%dT%H:%M:%S")) for hour in hours]
        if max(seconds) - min(seconds) < 3_000:
            further.append("the clock was not set: " + " ".join(hours))
    tally.count(site, f"clock {jump}", further)
    tally.close()
    site.remove()


def clock_set_back(table):
    _with_clock(table, "clock set back an hour", "-3600")


def clock_set_forward(table):
    _with_clock(table, "clock set forward an hour", "+3600")


def share_gone_mid_read(table):
    """The share of an import folder vanishes while a big file on it is read, and comes back: retried, never taken for empty."""
    place = tempfile.mkdtemp(prefix="strikemill-share-")
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64m", "strikemill-proof", place], capture_output=True, text=True, check=False)
    if mounted.returncode != 0:
        os.rmdir(place)
        return table.skip("share gone while a file is read", "nothing can be mounted here: " + mounted.stderr.strip())
    site, tally = Site(), Tally(table, "share gone while a file is read")
    try:
        for attempt, delay in enumerate((0.0, 0.3, 0.5, 0.8, 1.2, 2.0)):
            site.fresh()
            further = []
            configuration = site.home / "config" / "strikemill.toml"
            configuration.write_text(configuration.read_text().replace('bay = "1"\n', 'bay = "1"\nshare = true\n', 1))
            bay = site.home / "import" / "bay1"
            for file in bay.iterdir():
                shutil.move(file, os.path.join(place, file.name))
            subprocess.run(["mount", "--bind", place, str(bay)], check=True)
            rows = some_rows(f"big-{attempt}", 3_000, months=(1, 2, 3))
            with Daemon(site.home) as daemon:
                daemon.until(lambda: "watching" in daemon.said(), limit=20)
                site.offer(rows, "big.csv")
                time.sleep(delay)
                subprocess.run(["umount", "-l", str(bay)], check=True)
                daemon.until(lambda: False, limit=2.5)
                status = run("status", site.home)
                if daemon.process.poll() is not None or "panicked" in daemon.said():
                    further.append("the daemon does not survive: " + daemon.said()[-400:])
                if delay < 0.3 and "mount" not in status.stdout.lower() + daemon.said().lower():
                    further.append("nobody says that the share is not mounted:\n" + status.stdout)
                subprocess.run(["mount", "--bind", place, str(bay)], check=True)
                if not daemon.until(lambda: not any(bay.iterdir()), limit=60):
                    further.append("does not go on with the share back: " + daemon.said()[-400:])
                daemon.stop()
            subprocess.run(["umount", "-l", str(bay)], check=True)
            tally.count(site, f"gone after {delay} s", further)
            # The next try knows nothing of this one's file.
            for identity, _, _ in rows:
                del site.required[identity]
            del site.accepted[next(digest for digest, name in site.accepted.items() if name == "big.csv")]
            site.rows_offered -= len(rows)
    finally:
        subprocess.run(["umount", "-l", place], check=False)
        tally.close()
        site.remove()
        os.rmdir(place)
