"""SIGKILL at each system call of the commit path, with the program as a command and as a daemon."""

import random
import time

import tracing
from home import Daemon, Site
from table import Tally

# Everything by which a file or folder of the home is made, changed, shown or removed, the ledger's own calls included.
CALLS = ["openat", "open", "write", "pwrite64", "fsync", "fdatasync", "ftruncate", "rename", "linkat", "link", "unlink", "unlinkat",
         "rmdir", "mkdir"]


def available(names):
    """The system calls that this machine has at all; some have only the newer ones."""
    import subprocess
    known = []
    for name in names:
        done = subprocess.run(["strace", "-o", "/dev/null", "-e", f"trace={name}", "true"], capture_output=True, check=False)
        if done.returncode == 0:
            known.append(name)
    return known


def kill_at_each_call(table, every):
    """The command is killed at the n-th call, the lake read as it then stands, and the command started again, plain."""
    if not tracing.usable():
        return table.skip("killed at a system call", "strace may not trace here")
    site = Site()
    for name, ordinals in tracing.calls_on(site, available(CALLS)).items():
        tally = Tally(table, f"import killed at {name}")
        for number, when in enumerate(ordinals):
            if number % every:
                continue
            what = f"{name} {when}"
            site.fresh()
            killed = site.imports(prefix=tracing.inject(name, "signal=KILL", when))
            further = [] if killed.returncode in (-9, 137) else [f"was not killed, but ended with {killed.returncode}"]
            doubled, unreadable = site.doubled_now()
            further += [f"{identity} doubled before the restart" for identity in doubled] + unreadable
            site.finish()
            tally.count(site, what, further)
        tally.close()
    site.remove()


def kill_the_daemon(table, every):
    """The daemon is killed at the n-th call of whichever of its threads comes there first, and started again, plain."""
    if not tracing.usable():
        return table.skip("daemon killed at a system call", "strace may not trace here")
    site = Site()
    draws = random.Random(20261125)
    for name in available(["openat", "write", "pwrite64", "fsync", "rename", "linkat", "unlink", "mkdir"]):
        tally = Tally(table, f"daemon killed at {name}")
        for _ in range(max(1, 12 // every)):
            when = draws.randrange(1, 120 if name in ("openat", "write", "pwrite64", "fsync") else 30)
            site.fresh()
            with Daemon(site.home, prefix=tracing.inject(name, "signal=KILL", when)) as daemon:
                # A call that is never reached leaves the daemon to do its work; it is then killed at rest.
                daemon.until(lambda: not any(site.bay.iterdir()), limit=8)
            doubled, unreadable = site.doubled_now()
            further = [f"{identity} doubled before the restart" for identity in doubled] + unreadable
            with Daemon(site.home) as daemon:
                if not daemon.until(lambda: not any(site.bay.iterdir())):
                    further.append("the import folder is not emptied")
                time.sleep(0.2)
                if daemon.stop() != 0:
                    further.append("no clean stop\n" + daemon.said())
            tally.count(site, f"{name} {when}", further)
        tally.close()
    site.remove()
