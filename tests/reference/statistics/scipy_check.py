"""Operating characteristics against scipy's binomial and hypergeometric distributions; the crossed study against least squares
of nested models (numpy), which uses none of the sums of squares of the textbook table."""
import subprocess
import sys

import numpy
from scipy.stats import binom, hypergeom

faults = 0
rows = subprocess.run([sys.argv[1]], capture_output=True, check=True, text=True).stdout.splitlines()


def same(found, expected, what, relative=1e-9, absolute=1e-12):
    global faults
    if not (abs(found - expected) <= absolute + relative * abs(expected)):
        faults += 1
        print("FAULT:", what, found, "expected", expected)


def residual(columns, y):
    design = numpy.column_stack(columns)
    fit = design @ numpy.linalg.lstsq(design, y, rcond=None)[0]
    return float(((y - fit) ** 2).sum())


def study(p, o, n, found):
    state, y = 12345, []
    for i in range(p * o * n):
        state = (state * 1103515245 + 12345) & 0x7FFFFFFF
        y.append(1e6 + (state >> 8) / 65536 + 7.0 * (i // (o * n)) + 2.0 * (i // n % o))
    y = numpy.array(y)
    mean, y = y.mean(), y - 1e6
    index = numpy.arange(len(y))
    unit = [(index // (o * n) == u).astype(float) for u in range(p)]
    condition = [(index // n % o == c).astype(float) for c in range(o)]
    cell = [u * c for u in unit for c in condition]
    one = [numpy.ones(len(y))]
    nothing, units, both = residual(one, y), residual(unit, y), residual(unit + condition, y)
    error = residual(cell, y)
    squares = [nothing - units, units - both, both - error, error]
    means = [s / d for s, d in zip(squares, [p - 1, o - 1, (p - 1) * (o - 1), p * o * (n - 1)])]
    interaction = max(0, (means[2] - means[3]) / n)
    conditions = max(0, (means[1] - means[2]) / (p * n))
    between = max(0, (means[0] - means[2]) / (o * n))
    bench = means[3] + interaction + conditions
    expected = [mean, *squares, means[3] ** 0.5, (conditions + interaction) ** 0.5, between ** 0.5, bench / (bench + between)]
    for name, a, b in zip("mean units conditions interaction error r R between share".split(), found, expected):
        same(a, b, "study %d %d %d %s" % (p, o, n, name), 1e-8)


for row in rows:
    kind, *numbers = row.split()
    if kind == "binomial":
        n, c, share, value = int(numbers[0]), int(numbers[1]), float(numbers[2]), float(numbers[3])
        same(value, binom.cdf(c, n, share), row, 1e-9, 1e-13)
    elif kind == "lot":
        n, c, bad = map(int, numbers[:3])
        same(float(numbers[3]), hypergeom.cdf(c, 2000, bad, n), row, 1e-8, 1e-11)
    else:
        study(*map(int, numbers[:3]), list(map(float, numbers[3:])))
print("statistics: %d values compared, %d faults" % (len(rows), faults))
sys.exit(1 if faults or len(rows) < 500 else 0)
