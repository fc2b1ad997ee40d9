"""One failing system call at a time: a full or broken disk, another file system, no more handles, no right."""

import tracing
from home import Site, run
from kills import available
from table import Tally

# What Linux documents for these calls (man pages of each call, section ERRORS).
ERRORS = [
    ("fsync", ["EIO", "ENOSPC"]),
    ("fdatasync", ["EIO"]),
    ("write", ["ENOSPC", "EIO"]),
    ("pwrite64", ["ENOSPC", "EIO"]),
    ("openat", ["EMFILE", "ENOSPC", "EACCES"]),
    ("open", ["EMFILE", "EACCES"]),
    ("rename", ["EXDEV", "ENOSPC", "EACCES", "EIO"]),
    ("linkat", ["EXDEV", "EPERM", "EMLINK"]),
    ("link", ["EXDEV", "EPERM", "EMLINK"]),
    ("unlink", ["EACCES", "EBUSY", "EIO"]),
    ("mkdir", ["ENOSPC", "EACCES"]),
]


def fail_at_each_call(table, every):
    """The n-th call fails once; the command says so or works around it, and the next plain one finishes."""
    if not tracing.usable():
        return table.skip("a system call fails", "strace may not trace here")
    site = Site()
    names = available([name for name, _ in ERRORS])
    calls = tracing.calls_on(site, names)
    for name, errors in ERRORS:
        for error in errors if name in calls else []:
            tally = Tally(table, f"{name} fails with {error}")
            for number, when in enumerate(calls[name]):
                if number % every:
                    continue
                site.fresh()
                done = site.imports(prefix=tracing.inject(name, f"error={error}", when))
                further = []
                if done.returncode not in (0, 1) or "panicked" in done.stderr:
                    further.append(f"ended with {done.returncode}: {done.stderr[-400:]}")
                if done.returncode == 1 and not done.stderr.strip():
                    further.append("failed without a word")
                doubled, unreadable = site.doubled_now()
                further += [f"{identity} doubled before the restart" for identity in doubled] + unreadable
                site.finish()
                if "left out" in done.stderr:
                    # A pack could not be read: its files are in quarantine, where a person's word takes them again.
                    run("retry", site.home)
                tally.count(site, f"{name} {when} {error}", further)
            tally.close()
    site.remove()
