#!/usr/bin/python3
"""Survival curves and Weibull lives against R's survival package: r_agrees.py PROGRAM"""
import csv
import io
import subprocess
import sys
import tempfile

from drawn import drawn, ours, same

SEEDS = range(1, 6)
SCRIPT = """
suppressMessages(library(survival))
lives <- read.csv(commandArgs(TRUE)[1])
curve <- summary(survfit(Surv(hours, failed) ~ 1, data = lives))
for (i in seq_along(curve$time)) cat("step", curve$time[i], curve$surv[i], curve$std.err[i], sep = ",", fill = TRUE)
fit <- survreg(Surv(hours, failed) ~ 1, data = lives, dist = "weibull")
cat("weibull", 1 / fit$scale, exp(fit$coefficients[1]), fit$loglik[1], sep = ",", fill = TRUE)
"""


def theirs(lives):
    with tempfile.NamedTemporaryFile("w", suffix=".csv") as table, tempfile.NamedTemporaryFile("w", suffix=".R") as script:
        table.write("hours,failed\n" + "".join(f"{hours!r},{int(failed)}\n" for hours, failed in lives))
        table.flush()
        script.write("options(digits = 15)\n" + SCRIPT)
        script.flush()
        done = subprocess.run(["Rscript", "--vanilla", script.name, table.name], capture_output=True, text=True, timeout=60)
    if done.returncode != 0:
        raise SystemExit(done.stderr)
    rows = [[cell.strip() for cell in row] for row in csv.reader(io.StringIO(done.stdout)) if row]
    steps = [[float(cell) for cell in row[1:4]] for row in rows if row[0] == "step"]
    weibull = next([float(cell) for cell in row[1:4]] for row in rows if row[0] == "weibull")
    return steps, weibull


def check(program, seed):
    data = drawn(seed)
    mine = ours(program, data)
    steps, weibull = theirs(data["lives"])
    wrong = []
    if len(steps) != len(mine["survival"]):
        return [f"seed {seed}: ours has {len(mine['survival'])} steps, theirs {len(steps)}"]
    for own, other in zip(mine["survival"], steps):
        for name, a, b in zip(("hours", "survival", "its error"), own, other):
            wrong += same(f"{name} at {own[0]:.3f} h", a, b, 1e-8)
    for name, a, b in zip(("shape", "scale", "log likelihood"), mine["weibull"], weibull):
        wrong += same(name, a, b, 1e-5)
    return [f"seed {seed}: {one}" for one in wrong]


def main():
    wrong = [one for seed in SEEDS for one in check(sys.argv[1], seed)]
    print("\n".join(wrong) if wrong else f"{len(SEEDS)} draws agree")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
