#!/usr/bin/python3
"""Computes the figures of random stairs, levers and loops again: numpy, and scipy's linear programming for the
minimax lines (Debian's python3-numpy, python3-scipy)."""
import subprocess
import sys

import numpy as np
from scipy.optimize import linprog


def minimax(x, y, through=None):
    """Least largest deviation of y from a line, free or through a point, as a linear programme."""
    one = np.ones_like(x)
    if through is None:
        a = np.vstack([np.column_stack([x, one, -one]), np.column_stack([-x, -one, -one])])
        r = linprog([0, 0, 1], A_ub=a, b_ub=np.concatenate([y, -y]), bounds=[(None, None)] * 2 + [(0, None)])
        return r.x[2]
    dx, dy = x - through[0], y - through[1]
    a = np.vstack([np.column_stack([dx, -one]), np.column_stack([-dx, -one])])
    return linprog([0, 1], A_ub=a, b_ub=np.concatenate([dy, -dy]), bounds=[(None, None), (0, None)]).x[1]


def stairs(given, found):
    demand, error = np.array(given[0::2]), np.array(given[1::2])
    rising = np.diff(demand, prepend=0.0) > 0
    x = np.arange(5) * 0.25
    groups = [[error[(abs(demand - d) < 1e-9) & (rising == way)] for way in (True, False)] for d in x]
    assert all(len(g) == 2 for pair in groups for g in pair)
    mean = np.array([[g.mean() for g in pair] for pair in groups])
    inside = np.concatenate([g for pair in groups for g in pair])
    y = x + mean.mean(axis=1)
    terminal = y[0] + (y[-1] - y[0]) * x
    expected = [inside.max(), inside.min(), abs(y - terminal).max(), minimax(x, y), minimax(x, y, (x[0], y[0])),
                abs(mean[:, 1] - mean[:, 0]).max(), max(np.ptp(g) for pair in groups for g in pair)]
    return np.abs(np.array(expected) - found).max() / 0.01


def lever(given, found):
    linkage, low, high = given
    way = np.tan if linkage == 0 else np.sin
    angle = np.linspace(low, high, 200001)
    x = (way(angle) - way(low)) / (way(high) - way(low))
    expected = [abs((angle - low) / (high - low) - x).max(), 0.03 / (way(high) - way(low)),
                0.015 * (way(high) + way(low)) / (way(high) - way(low))]
    return np.abs(np.array(expected) - found).max()


def loop(given, found):
    i, v = np.array(given[0::2]), np.array(given[1::2])
    inside = (i >= 4e-3) & (i <= 20.6e-3)
    return abs(np.polyfit(i[inside], v[inside], 1)[0] / found[0] - 1)


checks = {"stairs": (stairs, 1e-7), "lever": (lever, 1e-9), "loop": (loop, 1e-9)}
count = {name: 0 for name in checks}
for line in subprocess.run([sys.argv[1]], check=True, capture_output=True, text=True).stdout.splitlines():
    name, *words = line.split()
    cut = words.index(";")
    check, most = checks[name]
    off = check([float(w) for w in words[:cut]], np.array([float(w) for w in words[cut + 1:]]))
    count[name] += 1
    if not off <= most:
        sys.exit(f"{name} number {count[name]} is off by {off}, more than {most}")
print(count)
if count["stairs"] < 60 or count["lever"] < 40 or count["loop"] < 10:
    sys.exit("too few cases were printed")
