#!/usr/bin/python3
"""The service's exposure as systemd-analyze weighs it, without a running service manager: 2.0 or better."""
import re
import subprocess
import sys

unit = sys.argv[1]
answer = subprocess.run(["systemd-analyze", "security", "--offline=true", "--no-pager", unit], capture_output=True, text=True, timeout=60)
found = re.search(r"Overall exposure level for \S+: ([0-9.]+)", answer.stdout)
assert found, answer.stdout + answer.stderr
print(answer.stdout.strip().splitlines()[-1])
assert float(found.group(1)) <= 2.0, answer.stdout
words = open(unit).read()
for needed in ("Type=notify", "WatchdogSec=", "Restart=on-failure", "DynamicUser=yes"):
    assert needed in words, needed
