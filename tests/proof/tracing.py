"""System calls of the program, seen and disturbed by strace."""

import re
import shutil
import subprocess
from pathlib import Path

LINE = re.compile(r"^(\d+) (\w+)\((.*)$")


def usable():
    """Whether strace may trace here."""
    if shutil.which("strace") is None:
        return False
    return subprocess.run(["strace", "-o", "/dev/null", "true"], capture_output=True, check=False).returncode == 0


def calls_on(site, names):
    """How one undisturbed import calls the kernel: for each name the ordinals, from 1, of the calls that concern the home. strace counts
    for each thread alone, and so does this: the main thread does the whole commit path, which is checked."""
    site.fresh()
    trace = site.folder / "trace"
    done = site.imports(prefix=["strace", "-f", "-y", "-o", str(trace), "-e", "trace=" + ",".join(names)])
    assert "imported" in done.stdout, done.stdout + done.stderr
    found = {name: [] for name in names}
    counts, main, elsewhere = {}, None, []
    home = str(site.home)
    for line in trace.read_text(errors="replace").splitlines():
        match = LINE.match(line)
        if not match:
            continue
        thread, name, rest = match.groups()
        main = main or thread
        counts[thread, name] = counts.get((thread, name), 0) + 1
        if home not in rest or "O_DIRECTORY" in rest:
            continue
        if thread == main:
            found[name].append(counts[thread, name])
        elif "/import" in rest or "/archive" in rest or "/lake" in rest:
            elsewhere.append(line)
    trace.unlink()
    assert not elsewhere, "the commit path left the main thread: " + elsewhere[0]
    return {name: ordinals for name, ordinals in found.items() if ordinals}


def inject(name, action, when):
    """The prefix of a command line that disturbs one call."""
    return ["strace", "-f", "-qq", "-o", "/dev/null", "-e", f"trace={name}", "-e", f"inject={name}:{action}:when={when}"]
