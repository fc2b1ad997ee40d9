"""Runs the sections of the proof and prints their table."""

import argparse
import sys
import time

import disasters
import errors
import full_disk
import inside
import kills
import library
from table import Table

SECTIONS = {
    "inside": inside.long_tests,
    "kills": kills.kill_at_each_call,
    "daemon-kills": kills.kill_the_daemon,
    "errors": errors.fail_at_each_call,
    "full-disk": full_disk.fill_the_disk,
    "library": library.fail_at_random,
    "disasters": disasters.all_of_them,
}


def main():
    parser = argparse.ArgumentParser(prog="tests/proof/run")
    parser.add_argument("sections", nargs="*", choices=[[], *SECTIONS], help="which sections; all of them where none is named")
    parser.add_argument("--every", type=int, default=1, help="tries only every n-th fault")
    arguments = parser.parse_args()
    table = Table()
    for name in arguments.sections or SECTIONS:
        started = time.monotonic()
        print(f"== {name}", flush=True)
        SECTIONS[name](table, arguments.every)
        print(f"   {time.monotonic() - started:.0f} s", flush=True)
    table.print()
    sys.exit(1 if table.failed else 0)


main()
