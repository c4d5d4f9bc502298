#!/usr/bin/python3
"""Random histories of units and the package's own data sets, looked at by our program and by R's package survival: survival_agrees.py PROGRAM RSCRIPT FOLDER"""
import os
import random
import subprocess
import sys

from agreement import Agreement, ask

SEED = 97
HISTORIES = 200       # with failures enough for a curve, mostly
FEW_HISTORIES = 60    # a good shop's: hardly anything failed
draw = random.Random(SEED)
program, rscript, folder = sys.argv[1:4]
here = os.path.dirname(os.path.abspath(__file__))
os.makedirs(folder, exist_ok=True)


def history(least_scale, most_scale):
    """A shop's units: soaked for 24 or 48 h, some returned later; hours rounded so that there are ties."""
    hours, failed = [], []
    shape, scale = draw.uniform(0.5, 2.5), draw.uniform(least_scale, most_scale)
    for _ in range(draw.randint(15, 80)):
        life = max(0.5, round(2 * draw.weibullvariate(scale, shape)) / 2)
        end = draw.choice([24.0, 48.0, 120.0])
        hours.append(min(life, end))
        failed.append(int(life <= end))
    return hours, failed


def run_r(argument):
    done = subprocess.run([rscript, "--vanilla", os.path.join(here, "survival_agrees.R"), argument], capture_output=True, text=True, timeout=120)
    if done.returncode != 0:
        sys.exit(f"Rscript ended with {done.returncode}: {done.stderr}")
    return done.stdout.splitlines()


histories = [history(30, 150) for _ in range(HISTORIES)] + [history(300, 3000) for _ in range(FEW_HISTORIES)]
own = {}
for line in run_r("data"):
    name, hours, failed = line.split(",")
    own.setdefault(name, ([], []))
    own[name][0].append(float(hours))
    own[name][1].append(int(failed))
assert set(own) == {"aml", "lung", "ovarian", "veteran"}, own.keys()
histories += own.values()
stretches = [(draw.choice([6.0, 12.0, 24.0, 36.0]), 12.0) for _ in histories]
stretches = [(start, start + length) for start, length in stretches]
table = os.path.join(folder, "histories.csv")
with open(table, "w", encoding="utf-8") as file:
    file.write("history,hours,failed,from,to\n")
    for index, ((hours, failed), (start, end)) in enumerate(zip(histories, stretches)):
        file.writelines(f"{index},{h},{f},{start},{end}\n" for h, f in zip(hours, failed))
theirs = {"survival": {}, "weibull": {}, "counted": {}, "curved": {}}
for line in run_r(table):
    cells = line.split(",")
    if cells[0] == "version":
        print(f"R package survival {cells[1]}, {cells[2]}, seed {SEED}, {len(histories)} histories")
    else:
        theirs[cells[0]].setdefault(int(float(cells[1])), []).append([float(c) if c != "NA" else None for c in cells[2:]])

agreement = Agreement()
problems = [{"what": what, "hours": hours, "failed": failed} for hours, failed in histories for what in ("survival", "weibull")]
problems += [{"what": "yield", "hours": hours, "failed": failed, "from": start, "to": end} for (hours, failed), (start, end) in zip(histories, stretches)]
answers = ask(program, problems)
for index in range(len(histories)):
    curve, fit, soak_yield = answers[2 * index], answers[2 * index + 1], answers[2 * len(histories) + index]
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
    for kind, is_by_curve in (("counted", False), ("curved", True)):
        for share, low, high in theirs[kind].get(index, []):
            if "refused" in soak_yield or soak_yield["by_curve"] != is_by_curve:
                agreement.true(f"yield {kind}", False, f"history {index}: ours {soak_yield}")
                continue
            agreement.near(f"yield {kind}", soak_yield["of_running"], share, 1e-6, 1e-12)
            if share > 0.0:  # without a failure ours is the exact bound, survfit's band is empty
                agreement.near(f"yield {kind} low", soak_yield["low"], low, 1e-5, 1e-12)
                agreement.near(f"yield {kind} high", soak_yield["high"], high, 1e-5, 1e-12)
sys.exit(agreement.finish(["Kaplan-Meier survival", "Greenwood error", "log-log band low", "Weibull shape", "Weibull covariance", "Weibull refused", "yield counted", "yield counted low",
                           "yield curved", "yield curved high"]))
