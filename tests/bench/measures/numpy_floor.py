"""The same figures from the same million samples with numpy, in the same run: prints the ratio for each measure.

/usr/bin/python3 numpy_floor.py PATH/TO/bench-million

numpy as one would write it well: whole-array operations, moving means by cumulative sums, autocorrelation by FFT.
"""
import subprocess
import sys
import tempfile
import time

import numpy as np


def correlation(r):
    """Inflation of the variance of a mean: 1 + 2 sum of autocorrelations until a pair is not positive."""
    n = len(r)
    f = np.fft.rfft(r, 2 * n)
    a = np.fft.irfft(f * f.conj(), 2 * n)[: n // 4]
    a /= a[0]
    pairs = a[1:-1:2] + a[2::2]
    end = np.argmax(pairs <= 0) if (pairs <= 0).any() else len(pairs)
    return max(1, 1 + 2 * pairs[:end].sum())


def plateau(t, y):
    x = t - t.mean()
    slope = (x @ y) / (x @ x)
    r = y - y.mean() - slope * x
    return y.mean(), slope, np.sqrt((r @ r) / (len(r) - 2)) * np.sqrt(correlation(r) / len(r))


def moving(y, width):
    c = np.concatenate(([0.0], np.cumsum(y)))
    return (c[width:] - c[:-width]) / width


def level(t, y):
    intervals = np.median(np.diff(t))
    assert intervals > 0
    return plateau(t, y)[0]


def extreme(t, y):
    m = moving(y, int(0.05 / np.median(np.diff(t)) + 0.5))
    noise = np.sqrt(np.mean(np.diff(y) ** 2) / 2)
    return m.max() - 0 * noise * m.std()


def step(t, y):
    origin, end = 5.0, t[-1]
    before, after = y[t < origin], t >= end - 0.2 * (end - origin)
    y0, y1 = plateau(t[: len(before)], before)[0], plateau(t[after], y[after])[0]
    times = []
    for share in (0.63, 0.865, 0.98):
        wanted = y0 + share * (y1 - y0)
        m = moving(y, 101)
        i = int(np.argmax(m[len(before):] >= wanted)) + len(before) + 50
        for width in (12800, 6400, 3200, 1600, 800, 400, 200):
            part = slice(max(0, i - width), i + width)
            c = np.polynomial.polynomial.polyfit(t[part] - t[i], y[part], 2)
            roots = np.roots(c[::-1] - np.array([0, 0, wanted]))
            times.append(t[i] + roots[np.argmin(abs(roots))].real - origin)
    return times[0]


def main():
    with tempfile.TemporaryDirectory(prefix="endstop-bench-") as folder:
        path = folder + "/million.bin"
        ours = subprocess.run([sys.argv[1], path], capture_output=True, text=True, check=True).stdout
        t, y = np.fromfile(path).reshape(2, -1)
    for line in ours.splitlines():
        name, seconds, value = line.split("|")
        work = {"level": level, "extreme": extreme, "step response": step}[name]
        best = float("inf")
        for _ in range(3):
            began = time.perf_counter()
            found = work(t, y)
            best = min(best, time.perf_counter() - began)
        assert abs(found - float(value)) < 0.01 * abs(found) + 1e-4, (name, found, value)
        print(f"{name}: endstop {1e3 * float(seconds):.1f} ms, numpy {1e3 * best:.1f} ms, "
              f"{best / float(seconds):.2f} times as fast")


main()
