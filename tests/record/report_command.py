#!/usr/bin/python3
"""steadyglow replay --report: a recording becomes pages. report_command.py STEADYGLOW FOLDER"""
import math
import os
import subprocess
import sys

PROFILE = """[profile]
kind = "tube-preamp"
title = "Quennock 7"
mains_nominal_volts = 230.0
[[point]]
name = "b_plus_v"
quantity = "voltage"
uom = "V"
role = "supply"
nominal = 280.0
warn = { low = 270.0, high = 290.0 }
[[point]]
name = "mains_v"
quantity = "voltage"
uom = "V"
role = "mains_voltage"
"""


def main():
    program, folder = sys.argv[1:]
    os.makedirs(folder, exist_ok=True)
    profile, csv, pdf = (os.path.join(folder, name) for name in ("profile.toml", "night.csv", "night.pdf"))
    with open(profile, "w", encoding="utf-8") as out:
        out.write(PROFILE)
    with open(csv, "w", encoding="utf-8") as out:
        out.write("time_s,b_plus_v,mains_v\n")
        for at in range(0, 3 * 3600, 10):
            out.write(f"{at},{280.0 * (1 - math.exp(-(at + 5) / 30)):.2f},{230.0 + 0.3 * math.sin(at / 50):.2f}\n")
    replay = [program, "replay", "--profile", profile, "--csv", csv]
    plain = subprocess.run(replay, capture_output=True, text=True, timeout=120)
    with_pages = subprocess.run(replay + ["--report", pdf], capture_output=True, text=True, timeout=120)
    assert (plain.returncode, plain.stdout) == (with_pages.returncode, with_pages.stdout), "a report changes what a replay says"
    text = subprocess.run(["pdftotext", pdf, "-"], capture_output=True, text=True, check=True, timeout=60).stdout
    for part in ("Quennock 7", "counted of 3.0 h with power", "recorded without their names", "there is no verdict"):
        assert part in text, f"`{part}` is not on the pages:\n{text}"
    nowhere = subprocess.run(replay + ["--report", os.path.join(folder, "no", "such", "folder.pdf")], capture_output=True, text=True, timeout=120)
    assert nowhere.returncode == 73 and "hint:" in nowhere.stderr, nowhere
    print("a recording has its pages, and a file that cannot be written is an error of its own")


if __name__ == "__main__":
    main()
