"""The test actuator against scipy's solve_ivp (LSODA) on the same physics written again here: ISO 6358 through the
isolating valves, first law in both chambers, Newton with spring, Stribeck and viscous friction, end stops.  What
drives it, the pressures behind the relay, is taken from the program's own run and interpolated.
Usage: compare_actuator.py PROGRAM"""
import subprocess
import sys

import numpy
from scipy.integrate import solve_ivp

P0, T0, RHO0, GAMMA, B, LAMINAR = 1e5, 293.15, 1.185, 1.4, 0.3, 0.999
R = P0 / (RHO0 * T0)
CV = R / (GAMMA - 1)
CP = GAMMA * CV
ROOM, WALL = 101325.0, 293.15


def factor(r):
    if r <= B:
        return 1.0
    if r <= LAMINAR:
        return numpy.sqrt(1 - ((r - B) / (1 - B)) ** 2)
    s = numpy.sqrt(1 - ((LAMINAR - B) / (1 - B)) ** 2)
    k = (LAMINAR - B) / (1 - B) ** 2 / s * (1 - LAMINAR) / s
    x, a = (1 - r) / (1 - LAMINAR), (3 - k) / 2
    return s * (a * x + (1 - a) * x**3)


def flow(c, p1, t1, p2, t2):
    if p1 >= p2:
        return c * p1 * RHO0 * numpy.sqrt(T0 / t1) * factor(p2 / p1)
    return -c * p2 * RHO0 * numpy.sqrt(T0 / t2) * factor(p1 / p2)


class Actuator:
    def __init__(self, figures, table, double):
        (self.area, self.length, self.mass, self.preload, self.rate, self.coulomb, self.adhesion, self.viscous,
         self.stribeck, self.dead, self.hA, self.C) = figures
        self.table, self.double = table, double

    def volumes(self, x):
        return self.dead + self.area * x, self.dead + self.area * (self.length - x)

    def pressures(self, y):
        v1, v2 = self.volumes(y[4])
        return y[0] * R * y[1] / v1, (y[2] * R * y[3] / v2 if self.double else ROOM)

    def drive(self, y):
        p1, p2 = self.pressures(y)
        return (p1 - p2) * self.area - (self.preload + self.rate * y[4])

    def chamber(self, t, m, temp, v, growth, column):
        p = m * R * temp / v
        pn, tn = (numpy.interp(t, self.table[:, 0], self.table[:, c]) for c in (column, column + 1))
        q = flow(self.C, pn, tn, p, temp)
        h = q * CP * (tn if q >= 0 else temp)
        return q, (h - p * growth + self.hA * (WALL - temp) - CV * temp * q) / (m * CV)

    def derivative(self, t, y, moving):
        m1, t1, m2, t2, x, v = y
        speed = v if moving else 0.0
        v1, v2 = self.volumes(x)
        dm1, dt1 = self.chamber(t, m1, t1, v1, self.area * speed, 1)
        dm2, dt2 = self.chamber(t, m2, t2, v2, -self.area * speed, 3) if self.double else (0.0, 0.0)
        acceleration = 0.0
        if moving:
            friction = self.coulomb + (self.adhesion - self.coulomb) * numpy.exp(-abs(v) / self.stribeck)
            acceleration = (self.drive(y) - friction * numpy.sign(v if v else 1) - self.viscous * v) / self.mass
        return [dm1, dt1, dm2, dt2, speed, acceleration]

    def run(self, end):
        """Stuck at the lower end, until the force breaks away; moving, until the upper end. (A stroke upwards only.)"""
        row = self.table[0]
        v1, v2 = self.volumes(0.0)
        y = [row[5] * v1 / (R * row[6]), row[6], row[7] * v2 / (R * row[8]), row[8], 0.0, 0.0]
        breaks = lambda t, y: self.drive(y) - self.adhesion
        arrives = lambda t, y: y[4] - self.length
        times, parts, t = [], [], 0.0
        for moving, event in ((False, breaks), (True, arrives), (False, None)):
            ends, stops = None, lambda t, y, *_: y[5]
            if event:
                ends = lambda t, y, *_, event=event: event(t, y)
                ends.terminal, ends.direction = True, 1
                stops.terminal, stops.direction = True, -1
            sol = solve_ivp(self.derivative, (t, end), y, args=(moving,), method="LSODA", rtol=1e-8, atol=1e-11,
                            max_step=0.002, events=[ends, stops] if moving else ends)
            if moving and len(sol.t_events[1]) > 0:
                sys.exit(f"WRONG: comes to a stop on its way, at {sol.y[4, -1]:g}, {sol.t[-1]:g} s")
            times.append(sol.t)
            parts.append(sol.y)
            t, y = sol.t[-1], list(sol.y[:, -1])
            y[5] = 1e-6 if not moving else 0.0
            if t >= end:
                break
        return numpy.concatenate(times), numpy.concatenate(parts, axis=1)


def compare(program, kind, seconds):
    lines = subprocess.run([program, kind, str(seconds)], check=True, capture_output=True,
                           text=True).stdout.splitlines()
    figures = [float(x) for x in lines[0].split()]
    table = numpy.array([[float(x) for x in line.split()] for line in lines[1:]])
    actuator = Actuator(figures, table, kind.endswith("double-acting"))
    t, y = actuator.run(table[-1, 0])
    keep = numpy.concatenate([[True], numpy.diff(t) > 0])
    position = numpy.interp(table[:, 0], t[keep], y[4][keep])
    pressure = numpy.array([actuator.pressures(column) for column in y.T])[:, 0]
    worst_x = numpy.max(numpy.abs(position - table[:, 9])) / figures[1]
    worst_p = numpy.max(numpy.abs(numpy.interp(table[:, 0], t[keep], pressure[keep]) / table[:, 5] - 1))
    arrived = table[-1, 9] >= 0.999 * figures[1]
    good = worst_x < 0.001 and worst_p < 0.006 and arrived
    print(f"{kind}: position within {100 * worst_x:.2f} % of the travel (limit 0.1), chamber pressure within "
          f"{100 * worst_p:.2f} % (limit 0.6): {'ok' if good else 'WRONG'}")
    return good


results = [compare(sys.argv[1], kind, seconds) for kind, seconds in
           (("linear-single-acting", 2.5), ("linear-double-acting", 2.5), ("part-turn-single-acting", 3),
            ("part-turn-double-acting", 4))]
sys.exit(0 if all(results) else 1)
