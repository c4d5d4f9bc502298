#!/usr/bin/python3
"""demo/run says what it can do, and refuses what it cannot before it builds or starts anything."""
import subprocess
import sys

RUN = sys.argv[1]


def run(*arguments):
    return subprocess.run([RUN, *arguments], capture_output=True, text=True, timeout=20)


help_text = run("--help")
assert help_text.returncode == 0 and all(option in help_text.stdout for option in ("--night", "--real-time", "--rate", "--port", "--for")), help_text
for arguments, word in ((("--nihgt", "night"), "--nihgt"), (("--rate", "fast"), "--rate"), (("--port", "70000"), "--port"), (("--for",), "--for"), (("--night", "polar"), "polar")):
    answer = run(*arguments)
    assert answer.returncode == 64 and word in answer.stderr and answer.stdout == "", (arguments, answer)
