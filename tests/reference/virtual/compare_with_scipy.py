"""The air network against scipy's solve_ivp (DOP853) on the same equations, written again here from ISO 6358 and
the first law.  Usage: compare_with_scipy.py TRAJECTORY-PROGRAM"""
import subprocess
import sys

import numpy
from scipy.integrate import solve_ivp

P0, T0, RHO0, GAMMA = 1e5, 293.15, 1.185, 1.4
R = P0 / (RHO0 * T0)
CV = R / (GAMMA - 1)
CP = GAMMA * CV
SOURCE, ATMOSPHERE, WALL = 7.01325e5, 1.01325e5, 293.15
HA = numpy.array([0.8, 0.5, 2.0])
VOLUMES = numpy.array([0.5e-3, 0.25e-3, 1e-3])
CONDUCTANCES = [0.4e-8, 0.3e-8, 0.2e-8, 0.05e-8]
LAMINAR, B = 0.999, 0.3


def factor(r):
    if r <= B:
        return 1.0
    if r <= LAMINAR:
        return numpy.sqrt(1 - ((r - B) / (1 - B)) ** 2)
    s = numpy.sqrt(1 - ((LAMINAR - B) / (1 - B)) ** 2)
    slope = (LAMINAR - B) / (1 - B) ** 2 / s  # of the branch below, downwards
    x = (1 - r) / (1 - LAMINAR)
    k = slope * (1 - LAMINAR) / s
    a = (3 - k) / 2
    return s * (a * x + (1 - a) * x**3)


def flow(c, p1, t1, p2, t2):
    if p1 >= p2:
        return c * p1 * RHO0 * numpy.sqrt(T0 / t1) * factor(p2 / p1)
    return -c * p2 * RHO0 * numpy.sqrt(T0 / t2) * factor(p1 / p2)


def balances(volumes, growth, edges):
    def rate(t, y):
        m, temp = y[:3], y[3:]
        v = volumes(t)
        p = m * R * temp / v
        pressures = list(p) + [SOURCE, ATMOSPHERE]
        temps = list(temp) + [WALL, WALL]
        dm, dh = numpy.zeros(3), numpy.zeros(3)
        for c, a, b in edges:
            q = flow(c, pressures[a], temps[a], pressures[b], temps[b])
            h = q * CP * temps[a if q >= 0 else b]
            if a < 3:
                dm[a] -= q
                dh[a] -= h
            if b < 3:
                dm[b] += q
                dh[b] += h
        dt = (dh - p * growth(t) + HA * (WALL - temp) - CV * temp * dm) / (m * CV)
        return numpy.concatenate([dm, dt])
    return rate


def ours(program, step, duration, case):
    text = subprocess.run([program, str(step), str(duration), case], check=True, capture_output=True, text=True).stdout
    return numpy.array([[float(x) for x in line.split()] for line in text.splitlines()])


def compare(program, case, duration, step, limit_p, limit_t):
    w = 2 * numpy.pi / 2
    if case == "piston":
        volumes = lambda t: VOLUMES + numpy.array([0.2e-3 * (1 - numpy.cos(w * t)), 0, 0])
        growth = lambda t: numpy.array([0.2e-3 * w * numpy.sin(w * t), 0, 0])
        edges = [(CONDUCTANCES[0], 3, 0)]
    else:
        volumes, growth = (lambda t: VOLUMES), (lambda t: numpy.zeros(3))
        edges = [(c, a, b) for c, (a, b) in zip(CONDUCTANCES, [(3, 0), (0, 1), (1, 2), (2, 4)])]
    mine = ours(program, step, duration, case)
    m0 = ATMOSPHERE * VOLUMES / (R * WALL)
    solution = solve_ivp(balances(volumes, growth, edges), (0, duration), numpy.concatenate([m0, [WALL] * 3]),
                         method="DOP853", rtol=1e-9, atol=1e-12, max_step=0.01, t_eval=mine[:, 0])
    assert solution.success, solution.message
    temps = solution.y[3:].T
    pressures = solution.y[:3].T * R * temps / numpy.array([volumes(t) for t in mine[:, 0]])
    worst_p = numpy.max(numpy.abs(mine[:, 1::2] / pressures - 1))
    worst_t = numpy.max(numpy.abs(mine[:, 2::2] - temps))
    good = worst_p <= limit_p and worst_t <= limit_t
    print(f"{case:7s} step {step:4g} ms: pressure within {worst_p:.2e} (limit {limit_p:g}), "
          f"temperature within {worst_t:.3f} K (limit {limit_t:g}): {'ok' if good else 'WRONG'}")
    return good


def main():
    program = sys.argv[1]
    results = [compare(program, "chain", 10, 1, 5e-4, 0.2), compare(program, "chain", 10, 5, 3e-3, 0.8),
               compare(program, "chain", 10, 0.1, 5e-5, 0.02), compare(program, "piston", 6, 1, 5e-4, 0.2),
               compare(program, "piston", 6, 0.1, 5e-5, 0.02)]
    sys.exit(0 if all(results) else 1)


main()
