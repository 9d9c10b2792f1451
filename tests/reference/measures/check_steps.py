#!/usr/bin/python3
"""Step metrics of the project against numpy/scipy on the same CSV files.

Systems are built and simulated by scipy.signal (not by the project). Each recording is written as CSV, read by the C
program, and analysed here by definition: on the dense exact response (what the figures are estimates of) and, for
recordings without noise, on the sampled CSV itself with linear interpolation.
"""
import json
import os
import subprocess
import sys
import tempfile

import numpy as np
from scipy import signal

rng = np.random.default_rng(20260203)
LEVELS = {"T63": 0.63, "T86": 0.865, "T98": 0.98}


def crossing(t, y, level):
    i = int(np.argmax(y >= level))
    return t[i - 1] + (level - y[i - 1]) / (y[i] - y[i - 1]) * (t[i] - t[i - 1])


def metrics(t, y, band):
    """By definition; y goes from 0 to 1, t from the command on."""
    out = {k: crossing(t, y, v) for k, v in LEVELS.items()}
    out["overshoot"] = max(0.0, float(y.max()) - 1)
    outside = np.nonzero(np.abs(y - 1) > band)[0][-1]
    edge = 1 + band if y[outside] > 1 else 1 - band
    out["settling time"] = t[outside] + (edge - y[outside]) / (y[outside + 1] - y[outside]) * (t[outside + 1] - t[outside])
    return out


def run(program, t, demand, y, band):
    with tempfile.NamedTemporaryFile("w", suffix=".csv", delete=False) as f:
        f.write("time [s];loop demand [mA];travel [mm]\n")
        for row in zip(t, demand, y):
            f.write("%.9f;%.6f;%.9f\n" % row)
    try:
        text = subprocess.run([program, f.name, json.dumps({"band": f"{100 * band:g} %"})], check=True,
                              capture_output=True, text=True).stdout
    finally:
        os.unlink(f.name)
    out = {}
    for line in text.splitlines():
        name, valid, value, expanded, reason = line.split(";", 4)
        out[name] = (valid == "1", float(value), float(expanded), reason)
    return out


SYSTEMS = {
    "two lags": ([1], np.polymul([0.6, 1], [0.25, 1])),
    "second order, zeta 0.5": ([9.0], [1, 3.0, 9.0]),
    "third order with a zero": ([0.4, 1], np.polymul([0.5, 1], np.polymul([0.3, 1], [0.2, 1]))),
    "lag and lead": ([1.2, 4], [1, 2.4, 4]),
}

failures = 0
compared = 0
for name, system in SYSTEMS.items():
    dense_t = np.linspace(0, 15, 600001)
    _, dense_y = signal.step(system, T=dense_t)
    dense_y = dense_y / (system[0][-1] / system[1][-1])
    for rate, noise, band in [(200, 0.0, 0.02), (200, 0.0, 0.05), (100, 0.003, 0.05), (500, 0.002, 0.05)]:
        truth = metrics(dense_t, dense_y, band)
        start = 2.0
        t = np.arange(0, start + 15, 1 / rate)
        acted = start + 0.5 / rate  # half-way between two rows, as the reader takes it
        clean = np.interp(t - acted, dense_t, dense_y, left=0)
        y = 20 + 1.5 * (clean + noise * rng.standard_normal(t.size))
        demand = np.where(t > acted - 1e-12, 12.8, 12.0)
        found = run(sys.argv[1], t, demand, y, band)
        sampled = metrics(t[t >= acted] - acted, clean[t >= acted], band)
        for key, value in truth.items():
            ok, v, expanded, reason = found[key]
            compared += 1
            if not ok:
                print(f"{name}, {rate} Hz, noise {noise}: {key} refused: {reason}")
                failures += 1
                continue
            if noise == 0:
                allowed = 0.3 / rate if key != "overshoot" else 2e-4
                near = abs(v - value) <= allowed and abs(v - sampled[key]) <= allowed + 0.05 / rate
            else:
                near = abs(v - value) <= 1.7 * expanded
            if not near:
                print(f"{name}, {rate} Hz, noise {noise}: {key} {v:.6f} +- {expanded:.6f}, scipy {value:.6f}, "
                      f"sampled {sampled[key]:.6f}")
                failures += 1
print(f"{compared} figures compared, {failures} differ")
sys.exit(1 if failures or compared < 60 else 0)
