"""Failures at random in the calls of the C library, by libfiu: several in one run, in any thread, also while others are being handled."""

import shutil
import subprocess

from home import Daemon, Site
from table import Tally

# errno numbers of Linux on this machine's architecture are those of Python's errno module.
import errno

POINTS = [
    ("posix/io/oc/open", errno.EMFILE),
    ("posix/io/rw/write", errno.ENOSPC),
    ("posix/io/rw/pwrite", errno.EIO),
    ("posix/io/sync/fsync", errno.EIO),
    ("posix/io/dir/rename", errno.EXDEV),
    ("posix/io/dir/unlink", errno.EACCES),
]


def prefix(point, number, probability):
    command = f"enable_random name={point},probability={probability},failinfo={number}"
    return ["fiu-run", "-x", "-f", "", "-c", command]


def fail_at_random(table, every):
    if shutil.which("fiu-run") is None:
        return table.skip("failures at random", "libfiu is not installed")
    if subprocess.run(["fiu-run", "-x", "-f", "", "true"], capture_output=True, check=False).returncode != 0:
        return table.skip("failures at random", "libfiu does not run here")
    site = Site()
    for point, number in POINTS:
        tally = Tally(table, f"{point} at random, {errno.errorcode[number]}")
        for attempt in range(max(1, 24 // every)):
            site.fresh()
            probability = (0.002, 0.01, 0.05, 0.2)[attempt % 4]
            done = site.imports(prefix=prefix(point, number, probability))
            further = []
            # 127: the loader itself could not open its libraries, so that the program never began.
            ended_well = done.returncode in (0, 1, 2, 127) and "panicked" not in done.stderr
            # A word that cannot be written to the terminal ends a command; that is no failure of a disk.
            cannot_speak = point == "posix/io/rw/write" and done.returncode == 101
            if not ended_well and not cannot_speak:
                further.append(f"ended with {done.returncode}: {done.stderr[-400:]}")
            doubled, unreadable = site.doubled_now()
            further += [f"{identity} doubled before the restart" for identity in doubled] + unreadable
            site.finish()
            tally.count(site, f"try {attempt}, probability {probability}", further)
        tally.close()
    _daemon(table, site)
    site.remove()


def _daemon(table, site):
    """A daemon under steady failures stays, and finishes once they end: here, after a restart without them."""
    tally = Tally(table, "daemon under failures at random")
    for point, number in POINTS:
        site.fresh()
        further = []
        with Daemon(site.home, prefix=prefix(point, number, 0.02)) as daemon:
            daemon.until(lambda: not any(site.bay.iterdir()), limit=5)
            said = daemon.said()
            if "panicked" in said:
                further.append(said[-600:])
        with Daemon(site.home) as daemon:
            if not daemon.until(lambda: not any(site.bay.iterdir())):
                further.append("the import folder is not emptied: " + daemon.said()[-400:])
            daemon.stop()
        tally.count(site, point, further)
    tally.close()
