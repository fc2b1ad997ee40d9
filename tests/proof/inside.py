"""The long runs of the tests inside the workspace, counted into the same table."""

import os
import re
import shutil
import subprocess

LINE = re.compile(r"^(?:test .* \.\.\. )?(.{40})\s*(\d+) tried .*?(\d+) rows offered, (\d+) lost, (\d+) doubled", re.M)

RUNS = [
    ("every operation fails or is the last", {"STRIKEMILL_PROOF_EVERY": "{every}"}, ["--test", "intake"], "faults::"),
    ("devices and a killer", {"STRIKEMILL_PROOF_FILES": "5000", "STRIKEMILL_PROOF_KILLS": "100"}, ["--test", "end_to_end"], "oracle::"),
    ("weeks in which the clocks change", {}, ["--bin", "strikemill"], "week::"),
]


def long_tests(table, every):
    if shutil.which("cargo") is None:
        return table.skip("tests inside", "there is no cargo")
    for name, settings, which, only in RUNS:
        env = {**os.environ, **{key: value.format(every=every) for key, value in settings.items()}}
        line = ["cargo", "test", "--locked", "--workspace", *which, "--", only, "--nocapture"]
        done = subprocess.run(line, capture_output=True, text=True, env=env, check=False)
        faults = [] if done.returncode == 0 else [(done.stdout + done.stderr)[-1_500:]]
        found = LINE.findall(done.stdout)
        for title, *figures in found:
            table.add(title.strip(), *(int(figure) for figure in figures), [])
        if faults or not found:
            table.add(name, 0, 0, 0, 0, faults)
