"""A disk that fills up, on a small file system in memory."""

import os
import shutil
import subprocess
import tempfile

from home import Daemon, Site, run
from table import Tally

SIZE_MIB = 8


class SmallDisk:
    """A mounted file system of a few MiB, and a ballast that takes the rest of its room."""

    def __init__(self):
        self.place = tempfile.mkdtemp(prefix="strikemill-small-")
        done = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SIZE_MIB}m", "strikemill-proof", self.place],
                              capture_output=True, text=True, check=False)
        if done.returncode != 0:
            os.rmdir(self.place)
            raise PermissionError(done.stderr.strip() or "mount refuses")
        self.ballast = os.path.join(self.place, "ballast")

    def leave(self, kib):
        """Fills the disk until only so many KiB are free."""
        free = shutil.disk_usage(self.place).free
        with open(self.ballast, "wb") as ballast:
            ballast.write(b"\0" * max(0, free - kib * 1024))

    def relieve(self):
        if os.path.exists(self.ballast):
            os.remove(self.ballast)

    def close(self):
        subprocess.run(["umount", "-l", self.place], check=False)
        os.rmdir(self.place)


def fill_the_disk(table, every):
    try:
        disk = SmallDisk()
    except PermissionError as why:
        return table.skip("full disk", f"no small file system can be mounted here ({why})")
    try:
        _command_on_a_full_disk(table, every, disk)
        _daemon_on_a_full_disk(table, disk)
        _guard(table, disk)
    finally:
        disk.close()


def _command_on_a_full_disk(table, every, disk):
    """From no room at all to nearly enough: the import breaks off somewhere, and finishes once there is room."""
    site = Site(place=disk.place)
    tally = Tally(table, "import on a full disk")
    for kib in range(0, 600, 4 * every):
        site.fresh()
        disk.leave(kib)
        done = site.imports()
        further = []
        if done.returncode not in (0, 1) or "panicked" in done.stderr:
            further.append(f"ended with {done.returncode}: {done.stderr[-400:]}")
        doubled, unreadable = site.doubled_now()
        further += [f"{identity} doubled on the full disk" for identity in doubled] + unreadable
        disk.relieve()
        site.finish()
        tally.count(site, f"{kib} KiB free", further)
    tally.close()
    site.remove()


def _daemon_on_a_full_disk(table, disk):
    """The daemon meets a full disk, stays, and goes on by itself when there is room."""
    site = Site(place=disk.place)
    tally = Tally(table, "daemon on a full disk")
    for kib in (0, 8, 24, 48, 80, 120, 200):
        site.fresh()
        further = []
        with Daemon(site.home) as daemon:
            if not daemon.until(lambda: "watching" in daemon.said(), limit=20):
                further.append("does not start: " + daemon.said()[-400:])
            # The files settle at this moment: the disk fills before, while or after they are taken.
            disk.leave(kib)
            daemon.until(lambda: False, limit=3)
            if daemon.process.poll() is not None:
                further.append("did not survive: " + daemon.said()[-400:])
            disk.relieve()
            if not daemon.until(lambda: not any(site.bay.iterdir())):
                further.append("does not go on when there is room: " + daemon.said()[-400:])
            daemon.stop()
        tally.count(site, f"{kib} KiB free", further)
    tally.close()
    site.remove()


def _guard(table, disk):
    """Below `least_free_mib` intake pauses before anything fails, says so in the status, and resumes by itself."""
    site = Site(place=disk.place)
    tally = Tally(table, "guard of free space")
    site.fresh()
    configuration = site.home / "config" / "strikemill.toml"
    configuration.write_text(configuration.read_text().replace("least_free_mib = 1", "least_free_mib = 4"))
    further = []
    disk.leave(2 * 1024)
    with Daemon(site.home) as daemon:
        daemon.until(lambda: False, limit=4)
        if not (site.bay / "a-new.csv").exists():
            further.append("intake went on with less free space than it must leave")
        status = run("status", site.home).stdout
        if "pause" not in status.lower():
            further.append("the status does not say that intake pauses:\n" + status)
        disk.relieve()
        if not daemon.until(lambda: not any(site.bay.iterdir())):
            further.append("does not resume by itself: " + daemon.said()[-400:])
        daemon.stop()
    tally.count(site, "2 MiB free of the 4 to leave", further)
    tally.close()
    site.remove()
