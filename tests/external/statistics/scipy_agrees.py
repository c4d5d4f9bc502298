#!/usr/bin/python3
"""Random problems answered by our program and by scipy and numpy: scipy_agrees.py PROGRAM"""
import sys

import numpy
import scipy
from scipy import optimize, stats

from agreement import Agreement, ask

SEED = 20240607
ROUNDS = 40
random = numpy.random.default_rng(SEED)
agreement = Agreement()
problems = []
checks = []


def put(problem, check):
    problems.append(problem)
    checks.append(check)


def plain(values):
    return [float(v) for v in values]


def lines():
    n = int(random.integers(5, 200))
    x = numpy.sort(random.uniform(0, 48, n))
    y = 380 + random.normal(0, 0.5) * x + random.normal(0, 2, n)
    theirs = stats.linregress(x, y)

    def check(ours):
        agreement.near("line slope", ours["slope"], theirs.slope, 1e-9)
        agreement.near("line intercept", ours["intercept"], theirs.intercept, 1e-11)
        agreement.near("line slope error", ours["slope_se"], theirs.stderr, 1e-9)

    put({"what": "line", "x": plain(x), "y": plain(y)}, check)


def linear():
    n, k = int(random.integers(12, 60)), int(random.integers(2, 6))
    design = numpy.column_stack([numpy.ones(n)] + [random.normal(10 * j, 3, n) for j in range(1, k)])
    y = design @ random.normal(0, 2, k) + random.normal(0, 1, n)
    theirs, squares, _, _ = numpy.linalg.lstsq(design, y, rcond=None)
    variance = squares[0] / (n - k)
    errors = numpy.sqrt(numpy.diag(variance * numpy.linalg.inv(design.T @ design)))

    def check(ours):
        for a, b in zip(ours["parameters"], theirs):
            agreement.near("multiple regression", a, b, 1e-8, 1e-10)
        for a, b in zip(ours["errors"], errors):
            agreement.near("regression errors", a, b, 1e-8)

    put({"what": "linear", "design": plain(design.ravel()), "y": plain(y)}, check)


def polynomial():
    x = numpy.linspace(-2, 3, 30)
    y = numpy.polyval(random.normal(0, 1, 4), x) + random.normal(0, 0.1, 30)
    theirs = numpy.polynomial.polynomial.polyfit(x, y, 3)

    def check(ours):
        for a, b in zip(ours["parameters"], theirs):
            agreement.near("polynomial", a, b, 1e-9, 1e-11)

    put({"what": "polynomial", "x": plain(x), "y": plain(y), "degree": 3}, check)


def model(x, end, height, tau):
    return end - height * numpy.exp(-x / tau)


def rise():
    x = numpy.arange(0, 120, 2.0)
    truth = (random.uniform(40, 80), random.uniform(10, 40), random.uniform(10, 40))
    y = model(x, *truth) + random.normal(0, 0.2, len(x))
    start = (y[-1], y[-1] - y[0], 25.0)
    theirs, covariance = optimize.curve_fit(model, x, y, p0=start, ftol=1e-14, xtol=1e-14, gtol=1e-14)
    errors = numpy.sqrt(numpy.diag(covariance))

    def check(ours):
        for a, b in zip(ours["parameters"], theirs):
            agreement.near("curve fit", a, b, 1e-6)
        for a, b in zip(ours["errors"], errors):
            agreement.near("curve fit errors", a, b, 1e-5)

    put({"what": "rise", "x": plain(x), "y": plain(y), "start": plain(start)}, check)

    def check_warm_up(ours):
        # One mode is enough; a second is allowed to be read into it once in a while, but not often.
        agreement.true("warm-up is forecast", "end" in ours, "refused a plain rise")
        if "end" in ours and not ours["two"] and abs(ours["residual_sd"] - numpy.sqrt(numpy.sum((y - model(x, *theirs)) ** 2) / (len(x) - 3))) < 1e-6:
            agreement.near("warm-up end", ours["end"], theirs[0], 1e-5)
            agreement.near("warm-up tau", ours["tau"], theirs[2], 1e-4)

    put({"what": "warm_up", "minutes": [int(v) for v in x], "y": plain(y)}, check_warm_up)


def moments():
    y = 1e6 + numpy.cumsum(random.normal(0, 1, int(random.integers(3, 400))))
    d = y - y.mean()

    def check(ours):
        agreement.near("mean", ours["mean"], y.mean(), 1e-14)
        agreement.near("sd", ours["sd"], y.std(ddof=1), 1e-9)
        agreement.near("autocorrelation", ours["autocorrelation"], float(d[1:] @ d[:-1] / (d @ d)), 1e-8, 1e-9)

    put({"what": "moments", "y": plain(y)}, check)


def hamed_rao_factor(y, slope):
    """Written from the paper's formula with numpy and scipy.stats.rankdata, apart from ours."""
    n = len(y)
    ranks = stats.rankdata(y - slope * numpy.arange(n))
    d = ranks - ranks.mean()
    total = 0.0
    for lag in range(1, n):
        r = d[lag:] @ d[:-lag] / (d @ d)
        if abs(r) > stats.norm.ppf(0.975) / numpy.sqrt(n):
            total += (n - lag) * (n - lag - 1) * (n - lag - 2) * r
    return 1 + 2 / (n * (n - 1) * (n - 2)) * total


def trends(memory, ties):
    n = int(random.integers(4, 12)) if random.random() < 0.3 else int(random.integers(12, 120))
    y = numpy.zeros(n)
    for i in range(n):
        y[i] = (memory * y[i - 1] if i else 0.0) + random.normal()
    y += random.normal(0, 0.03) * numpy.arange(n)
    if ties:
        y = numpy.round(y)
        if len(set(y)) == 1:
            y[0] += 1
    x = numpy.arange(n, dtype=float)
    sen = stats.theilslopes(y, x, 0.95)
    has_ties = len(set(y)) < n
    exact = not has_ties and n <= 50
    theirs = stats.kendalltau(x, y, method="exact" if exact else "asymptotic")
    s = int(numpy.sum(numpy.sign(y[None, :] - y[:, None])[numpy.triu_indices(n, 1)]))
    _, counts = numpy.unique(y, return_counts=True)
    variance = (n * (n - 1) * (2 * n + 5) - numpy.sum(counts * (counts - 1) * (2 * counts + 5))) / 18

    def check(ours):
        agreement.true("Mann-Kendall S", ours["s"] == s, f"ours {ours['s']}, theirs {s}")
        agreement.true("Mann-Kendall exact where due", ours["exact"] == exact, f"n {n}, ties {has_ties}")
        if exact:
            agreement.near("Mann-Kendall exact p", ours["p"], theirs.pvalue, 1e-9, 1e-15)
        else:
            # scipy takes the normal curve without the continuity correction; z back without it is the same.
            z = numpy.sign(s) * (abs(ours["z"]) + 1 / numpy.sqrt(variance)) if s else 0.0
            agreement.near("Mann-Kendall normal p", 2 * stats.norm.sf(abs(z)), theirs.pvalue, 1e-9, 1e-15)
            agreement.near("Mann-Kendall p of z", ours["p"], 2 * stats.norm.sf(abs(ours["z"])), 1e-9, 1e-15)
        agreement.near("Theil-Sen slope", ours["slope"], sen[0], 1e-9, 1e-12)
        agreement.near("Theil-Sen intercept", ours["intercept"], sen[1], 1e-9, 1e-12)
        # scipy rounds the ranks of the interval to whole ones, we interpolate: at most the neighbouring slopes lie between.
        slopes = numpy.sort([(y[j] - y[i]) / (j - i) for i in range(n) for j in range(i + 1, n)])
        for end, theirs_end in (("low", sen[2]), ("high", sen[3])):
            place = numpy.searchsorted(slopes, theirs_end)
            low, high = slopes[max(0, place - 2)], slopes[min(len(slopes) - 1, numpy.searchsorted(slopes, theirs_end, "right") + 1)]
            agreement.true("Theil-Sen interval", low - 1e-12 <= ours[end] <= high + 1e-12, f"{end}: ours {ours[end]}, scipy {theirs_end}, between {low} and {high}")
        factor = hamed_rao_factor(y, sen[0])
        if factor > 0:
            agreement.near("Hamed-Rao factor", ours["factor"] or 0.0, factor, 1e-8)
            agreement.true("Hamed-Rao narrows" if factor < 1 else "Hamed-Rao widens", True)
        else:
            agreement.true("Hamed-Rao refuses", ours["factor"] is None, f"ours {ours['factor']}, theirs {factor}")

    put({"what": "trend", "x": plain(x), "y": plain(y)}, check)


def t_quantile():
    degrees = float(random.uniform(1, 300))
    # By the distribution: scipy 1.10's quantile itself is good to nine digits only.
    put({"what": "t95", "degrees": degrees}, lambda ours: agreement.near("t quantile", stats.t.cdf(ours, degrees), 0.975, 1e-12))


def weibull():
    shape, scale = random.uniform(0.5, 3), random.uniform(20, 300)
    n = int(random.integers(12, 80))
    hours = scale * random.weibull(shape, n)
    stop = float(numpy.quantile(hours, random.uniform(0.6, 1.0)))
    failed = hours <= stop
    hours = numpy.minimum(hours, stop)

    def negative(p):
        dist = stats.weibull_min(numpy.exp(p[0]), scale=numpy.exp(p[1]))
        return -(dist.logpdf(hours[failed]).sum() + dist.logsf(hours[~failed]).sum())

    best = optimize.minimize(negative, [0.0, numpy.log(hours.mean())], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 5000})

    def check(ours):
        agreement.near("Weibull shape", ours["shape"], float(numpy.exp(best.x[0])), 1e-6)
        agreement.near("Weibull scale", ours["scale"], float(numpy.exp(best.x[1])), 1e-6)
        agreement.near("Weibull log-likelihood", ours["log_likelihood"], -best.fun, 1e-10)

    put({"what": "weibull", "hours": plain(hours), "failed": [int(f) for f in failed]}, check)
    start, end = 0.2 * stop, 0.6 * stop
    fitted = stats.weibull_min(numpy.exp(best.x[0]), scale=numpy.exp(best.x[1]))

    def check_yield(ours):
        agreement.near("soak yield", ours["of_started"], float(fitted.cdf(end) - fitted.cdf(start)), 1e-5)
        agreement.near("soak yield of running", ours["of_running"], float(1 - fitted.sf(end) / fitted.sf(start)), 1e-5)

    put({"what": "yield", "hours": plain(hours), "failed": [int(f) for f in failed], "from": float(start), "to": float(end)}, check_yield)


def bounds():
    units = int(random.integers(2, 60))
    failures = int(random.integers(0, min(units, 12) + 1))
    hours, confidence = float(units * random.uniform(10, 50)), float(random.choice([0.6, 0.8, 0.9, 0.95, 0.99]))
    tail = (1 - confidence) / 2

    def check(ours):
        agreement.near("MTBF at least", ours["at_least"], 2 * hours / stats.chi2.ppf(confidence, 2 * failures + 2), 1e-9)
        if failures:
            agreement.near("MTBF low", ours["low"], 2 * hours / stats.chi2.ppf(1 - tail, 2 * failures + 2), 1e-9)
            agreement.near("MTBF high", ours["high"], 2 * hours / stats.chi2.ppf(tail, 2 * failures), 1e-9)
        else:
            agreement.true("MTBF without failures", ours["high"] is None, "an upper end without a failure")
        theirs = stats.binomtest(failures, units).proportion_ci(confidence, method="exact")
        agreement.near("bad share low", ours["share_low"], theirs.low, 1e-8)
        agreement.near("bad share high", ours["share_high"], theirs.high, 1e-8)

    put({"what": "bounds", "units": units, "failures": failures, "hours": hours, "confidence": confidence}, check)


for _ in range(ROUNDS):
    lines()
    linear()
    polynomial()
    rise()
    moments()
    trends(0.0, False)
    trends(0.6, False)
    trends(-0.6, False)
    trends(0.0, True)
    t_quantile()
    weibull()
    bounds()

print(f"scipy {scipy.__version__}, numpy {numpy.__version__}, seed {SEED}, {len(problems)} problems")
for check, answer in zip(checks, ask(sys.argv[1], problems)):
    check(answer)
sys.exit(agreement.finish(["line slope", "multiple regression", "polynomial", "curve fit", "curve fit errors", "warm-up end", "sd", "Mann-Kendall exact p",
                           "Mann-Kendall normal p", "Theil-Sen slope", "Hamed-Rao widens", "Hamed-Rao narrows", "t quantile", "Weibull shape", "soak yield", "MTBF high",
                           "MTBF without failures", "bad share high"]))
