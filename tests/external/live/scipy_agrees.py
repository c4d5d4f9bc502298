#!/usr/bin/python3
"""Lines, rank trends, quantiles, curves, Weibull lives and chi-square bounds against SciPy: scipy_agrees.py PROGRAM"""
import sys

import numpy
from scipy import optimize, stats

from drawn import drawn, ours, same

SEEDS = range(1, 21)


def weibull_by_scipy(lives):
    hours = numpy.array([life[0] for life in lives])
    failed = numpy.array([life[1] for life in lives])

    def minus_log_likelihood(p):
        shape, scale = numpy.exp(p)
        return -(stats.weibull_min.logpdf(hours[failed], shape, scale=scale).sum() + stats.weibull_min.logsf(hours[~failed], shape, scale=scale).sum())

    best = optimize.minimize(minus_log_likelihood, [0.0, numpy.log(hours.mean())], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-10, "maxiter": 4000})
    return numpy.exp(best.x), -best.fun


def check(program, seed):
    data = drawn(seed)
    mine = ours(program, data)
    x, y = numpy.array(data["x"]), numpy.array(data["y"])
    wrong = []
    line = stats.linregress(x, y)
    for name, a, b in zip(("intercept", "slope", "slope error"), mine["line"], (line.intercept, line.slope, line.stderr)):
        wrong += same(name, a, b, 1e-9)
    tau = stats.kendalltau(numpy.arange(len(y)), y, method="asymptotic")
    wrong += same("Kendall's S", mine["kendall"][0], tau.statistic * len(y) * (len(y) - 1) / 2, 1e-9)
    # Ours takes one off |S| before the normal curve (continuity), theirs does not.
    if abs(mine["kendall"][1] - tau.pvalue) > 0.012:
        wrong.append(f"Kendall's p: ours {mine['kendall'][1]}, theirs {tau.pvalue}")
    sen = stats.theilslopes(y, x)
    wrong += same("Sen's slope", mine["sen"][0], sen.slope, 1e-9) + same("Sen's intercept", mine["sen"][1], sen.intercept, 1e-9)
    for freedom, a in zip((1, 3, 10, 200), mine["student"]):
        wrong += same(f"t at {freedom}", a, stats.t.ppf(0.975, freedom), 1e-9)
    fitted, covariance = optimize.curve_fit(lambda t, end, rise, time: end - rise * numpy.exp(-t / time), x, numpy.array(data["warming"]), p0=data["start"])
    for i, name in enumerate(("end", "rise", "time constant")):
        wrong += same(name, mine["curve"][i], fitted[i], 1e-5) + same(name + " error", mine["curve_errors"][i], covariance[i][i] ** 0.5, 1e-3)
    (shape, scale), likelihood = weibull_by_scipy(data["lives"])
    wrong += same("shape", mine["weibull"][0], shape, 1e-5) + same("scale", mine["weibull"][1], scale, 1e-5) + same("log likelihood", mine["weibull"][2], likelihood, 1e-8)
    hours, failures = sum(life[0] for life in data["lives"]), sum(life[1] for life in data["lives"])
    # Time-terminated test: two more degrees of freedom below (NIST/SEMATECH e-Handbook 8.4.5.1).
    wrong += same("MTBF, low", mine["mtbf"][0], 2 * hours / stats.chi2.ppf(0.95, 2 * failures + 2), 1e-9)
    wrong += same("MTBF, high", mine["mtbf"][1], 2 * hours / stats.chi2.ppf(0.05, 2 * failures), 1e-9)
    return [f"seed {seed}: {one}" for one in wrong]


def main():
    wrong = [one for seed in SEEDS for one in check(sys.argv[1], seed)]
    print("\n".join(wrong) if wrong else f"{len(SEEDS)} draws agree")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
