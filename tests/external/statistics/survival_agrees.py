#!/usr/bin/python3
"""Random histories of units, looked at by our program and by R's package survival: survival_agrees.py PROGRAM RSCRIPT FOLDER"""
import os
import random
import subprocess
import sys

from agreement import Agreement, ask

SEED = 97
HISTORIES = 40
draw = random.Random(SEED)
program, rscript, folder = sys.argv[1:4]
here = os.path.dirname(os.path.abspath(__file__))
os.makedirs(folder, exist_ok=True)


def history():
    """A shop's units: soaked for 24 or 48 h, some returned later; hours rounded so that there are ties."""
    hours, failed = [], []
    shape, scale = draw.uniform(0.5, 2.5), draw.uniform(30, 150)
    for _ in range(draw.randint(15, 80)):
        life = max(0.5, round(2 * draw.weibullvariate(scale, shape)) / 2)
        end = draw.choice([24.0, 48.0, 120.0])
        hours.append(min(life, end))
        failed.append(int(life <= end))
    return hours, failed


histories = [history() for _ in range(HISTORIES)]
table = os.path.join(folder, "histories.csv")
with open(table, "w", encoding="utf-8") as file:
    file.write("history,hours,failed\n")
    for index, (hours, failed) in enumerate(histories):
        file.writelines(f"{index},{h},{f}\n" for h, f in zip(hours, failed))
done = subprocess.run([rscript, "--vanilla", os.path.join(here, "survival_agrees.R"), table], capture_output=True, text=True, timeout=120)
if done.returncode != 0:
    sys.exit(f"Rscript ended with {done.returncode}: {done.stderr}")
theirs = {"survival": {}, "weibull": {}}
for line in done.stdout.splitlines():
    cells = line.split(",")
    if cells[0] == "version":
        print(f"R package survival {cells[1]}, {cells[2]}, seed {SEED}, {HISTORIES} histories")
    else:
        theirs[cells[0]].setdefault(int(float(cells[1])), []).append([float(c) if c != "NA" else None for c in cells[2:]])

agreement = Agreement()
problems = [{"what": what, "hours": hours, "failed": failed} for hours, failed in histories for what in ("survival", "weibull")]
answers = ask(program, problems)
for index in range(HISTORIES):
    curve, fit = answers[2 * index], answers[2 * index + 1]
    rows = theirs["survival"].get(index, [])
    agreement.true("Kaplan-Meier steps", len(curve) == len(rows), f"history {index}: ours {len(curve)}, theirs {len(rows)}")
    for ours, (hours, at_risk, failures, survival, error, low, high) in zip(curve, rows):
        agreement.true("Kaplan-Meier counts", (ours["hours"], ours["at_risk"], ours["failures"]) == (hours, at_risk, failures), f"history {index} at {hours}")
        agreement.near("Kaplan-Meier survival", ours["survival"], survival, 1e-12)
        if survival > 0:
            agreement.near("Greenwood error", ours["error"], error, 1e-9)
            agreement.near("log-log band low", ours["low"], low, 1e-9)
            agreement.near("log-log band high", ours["high"], high, 1e-9)
    if index in theirs["weibull"]:
        names = ("shape", "scale", "log_likelihood", "log_scale_error", "log_shape_error", "covariance")
        for name, value in zip(names, theirs["weibull"][index][0]):
            agreement.near(f"Weibull {name}", ours=fit[name], theirs=value, relative=1e-6, absolute=1e-8 if name == "covariance" else 0.0)
    else:
        agreement.true("Weibull refused", "refused" in fit, f"history {index} has too few failures")
sys.exit(agreement.finish(["Kaplan-Meier survival", "Greenwood error", "log-log band low", "Weibull shape", "Weibull covariance"]))
