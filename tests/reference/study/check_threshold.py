#!/usr/bin/python3
"""The severity found 95 times in 100 against scipy's optimiser on the same penalised likelihood (Firth 1993), its
interval against the profile (Heinze & Schemper 2002) found by scipy's root finder, and its coverage by simulation."""

import math
import random
import subprocess
import sys

import numpy
from scipy import optimize

PROGRAM = sys.argv[1]
CHI = 3.841458820694124
FAILED = []


def fit(trials):
    text = "".join("%.17g %d\n" % t for t in trials)
    out = subprocess.run([PROGRAM], input=text, capture_output=True, text=True, check=True).stdout.strip()
    try:
        return [float(x) for x in out.split()]
    except ValueError:
        return out


def likelihood(trials, a, b):
    x = numpy.log([t[0] for t in trials])
    y = numpy.array([t[1] for t in trials])
    eta = a + b * x
    log_p = -numpy.logaddexp(0, -eta)
    log_q = -numpy.logaddexp(0, eta)
    w = numpy.exp(log_p + log_q)
    info = numpy.array([[w.sum(), (w * x).sum()], [(w * x).sum(), (w * x * x).sum()]])
    return float((y * log_p + (1 - y) * log_q).sum() + 0.5 * math.log(max(numpy.linalg.det(info), 1e-300)))


def profile(trials, x95):
    logit = math.log(19)
    best = optimize.minimize_scalar(lambda lb: -likelihood(trials, logit - math.exp(lb) * x95, math.exp(lb)),
                                    bounds=(math.log(0.05), math.log(200)), method="bounded",
                                    options={"xatol": 1e-10})
    return -best.fun


def check(name, trials):
    a, b, size, lower, upper = fit(trials)
    best = optimize.minimize(lambda v: -likelihood(trials, v[0], v[1]), [1, 1], method="Nelder-Mead",
                             options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 20000, "maxfev": 20000})
    want = math.exp((math.log(19) - best.x[0]) / best.x[1])
    good = abs(size / want - 1) < 1e-4 and abs(b / best.x[1] - 1) < 1e-3 and abs(a - best.x[0]) < 1e-2
    for end in (lower, upper):
        if math.isfinite(end) and end > 0:
            drop = -best.fun - profile(trials, math.log(end))
            good = good and abs(drop - CHI / 2) < 1e-3
    print("%s: size %.6f, scipy %.6f, interval %.4f .. %.4f: %s" % (name, size, want, lower, upper,
                                                                   "good" if good else "WRONG"))
    if not good:
        FAILED.append(name)


def draw(rng, n, a, b):
    sizes = [rng.uniform(0.01, 1) for _ in range(n)]
    return [(s, int(rng.random() < 1 / (1 + math.exp(-(a + b * math.log(s)))))) for s in sizes]


def main():
    rng = random.Random(7)
    for i in range(6):
        check("drawn %d" % i, draw(rng, 60, 5, 3))
    separate = [(0.05 * i, int(i > 7)) for i in range(1, 21)]
    check("parted by one size", separate)
    # Coverage of the 95 % interval: 150 studies of 40 trials; 130..150 hits is 1e-4 two-sided for 95 %.
    truth = math.exp((math.log(19) - 5) / 3)
    hits = tried = 0
    for _ in range(150):
        found = fit(draw(rng, 40, 5, 3))
        if not isinstance(found, str):
            tried += 1
            hits += found[3] <= truth <= found[4]
    print("coverage %d of %d" % (hits, tried))
    if tried < 140 or hits < 0.88 * tried:
        FAILED.append("coverage")
    for words, trials in (("never found", [(0.1 * i, 0) for i in range(1, 11)]),
                          ("always found", [(0.1 * i, 1) for i in range(1, 11)]),
                          ("fewer than 8 trials", [(0.5, 1), (0.2, 0)])):
        if fit(trials) != words:
            FAILED.append(words)
    if FAILED:
        sys.exit("failed: " + ", ".join(FAILED))


main()
