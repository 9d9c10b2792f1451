#!/usr/bin/python3
"""Compares the project's distribution functions with scipy.special (Debian's python3-scipy)."""
import subprocess
import sys

from scipy import special, stats

worst = {"t": 0.0, "b": 0.0, "n": 0.0}
count = 0
for line in subprocess.run([sys.argv[1]], check=True, capture_output=True, text=True).stdout.splitlines():
    kind, *numbers = line.split()
    v = [float(x) for x in numbers]
    if kind == "t":
        # scipy's own quantile loses digits (8 are right); its incomplete beta does not: the tail found must be p
        if abs(v[2] / stats.t.ppf(v[0], v[1]) - 1) > 1e-8:
            sys.exit(f"t quantile {v}")
        tail = special.betainc(v[1] / 2, 0.5, v[1] / (v[1] + v[2] ** 2)) / 2
        v.append(tail)
        expected = min(v[0], 1 - v[0])
    elif kind == "b":
        expected = special.betainc(v[0], v[1], v[2])
    else:
        expected = stats.norm.ppf(v[0])
    found = v[-1]
    error = abs(found - expected) / max(abs(expected), 1e-290)
    worst[kind] = max(worst[kind], error)
    count += 1
print(f"{count} values; largest relative differences: {worst}")
if count < 300 or worst["t"] > 1e-9 or worst["b"] > 1e-9 or worst["n"] > 1e-12:
    sys.exit("differences are too large")
