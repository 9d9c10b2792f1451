"""Writes the recordings of docs/measure-a-recording.md whose truth csv_examples.py holds them against: one or more per
measure, each from a closed form with noise of a fixed seed, each in another way of writing tables.

usage: make_csv_examples.py FOLDER"""
import math
import pathlib
import random
import sys

folder = pathlib.Path(sys.argv[1])


def write(name, head, rows, separator=",", end="\n", mark="", comma=False):
    lines = [separator.join(head)] + [row if isinstance(row, str) else separator.join(row) for row in rows]
    text = mark + end.join(lines) + end
    if comma:
        text = text.replace(".", ",")
    (folder / name).write_bytes(text.encode())


def noise(seed):
    return random.Random(seed).gauss


def sensor_sweep():
    """Two round trips of +-45 deg at 6 and 15 deg/s; 0.6 % of ratio per deg, bowed by 0.4 % of ratio in the middle. Tabs."""
    n, rows, t = noise(11), [], 0.0

    def rest(sense):
        nonlocal t
        for _ in range(10):
            t += 0.05
            rows.append((f"{t:.2f}", f"{45 * sense + n(0, 0.003):.3f}", f"{50 + 27 * sense + n(0, 0.01):.3f}"))

    rest(-1)
    for speed, sense in ((6, 1), (6, -1), (15, 1), (15, -1)):
        for i in range(1, round(90 / speed / 0.05) + 1):
            angle = -45 * sense + sense * speed * 0.05 * i
            ratio = 50 + 0.6 * angle + 0.4 * (1 - (angle / 45) ** 2)
            t += 0.05
            rows.append((f"{t:.2f}", f"{angle + n(0, 0.003):.3f}", f"{ratio + n(0, 0.01):.3f}"))
        rest(sense)
    write("sweep.csv", ("t/s", "shaft angle/deg", "sensor ratio/%"), rows, "\t")


def held_pressure():
    """0.5 l at 3 bar loses 9 l/h ANR back into the unit and 2 l/h ANR by the bench's fittings, at 20 degC. Times uneven,
    some samples missing."""
    n, spread, rows, t = noise(12), random.Random(13), [], 0.0
    while t < 90:
        demand = 20 if t < 5 else 12
        p = 3.0 - max(0.0, t - 5) * (9 + 2) / 3600 / 0.5
        flow = 0 if t < 5 else -9
        rows.append((f"{t:.3f}", f"{demand:.1f}", f"{p + n(0, 2e-4):.4f}" if len(rows) % 61 != 40 else "",
                     f"{flow + n(0, 0.05):.3f}" if len(rows) % 47 != 30 else "NaN"))
        t += 0.2 + spread.uniform(-0.05, 0.05)
    write("held.csv", ("time [s]", "loop demand [mA]", "output 1 pressure [bar]", "output 1 flow [l/h ANR]"), rows)


def relay_direction():
    """30 and 26 l/min ANR the right way, 0.3 and 0.1 the wrong one. As a spreadsheet saves: byte order mark, CR LF."""
    for name, seed, right, wrong in (("up", 14, (30, 0), (0, 0.3)), ("down", 15, (0, 26), (0.1, 0))):
        n = noise(seed)
        rows = [(f"{0.1 * i:.1f}", f"{right[0] + wrong[0] + n(0, 0.02):.2f}", f"{right[1] + wrong[1] + n(0, 0.02):.2f}")
                for i in range(60)]
        write(f"direction-{name}.csv", ("time [s]", "output 1 flow [l/min ANR]", "output 2 flow [l/min ANR]"), rows, ";", "\r\n",
              "\ufeff")


def difference():
    """The supply of supply-psi.csv (58 psi) while air is drawn: 3.62 bar, in MPa."""
    n = noise(16)
    write("supply-loaded.csv", ("time [s]", "supply pressure [MPa]"), [(f"{0.1 * i:.1f}", f"{0.362 + n(0, 2e-5):.6f}") for i in range(100)])


def loss():
    """The signal is cut at 2 s; after 0.25 s the travel goes from 20 mm to 0 with 0.5 s. Times in ms, remarks between."""
    n, rows = noise(17), []
    for i in range(400):
        t = 0.02 * i
        x = 20 if t < 2.25 else 20 * math.exp(-(t - 2.25) / 0.5)
        if i == 90:
            rows.append("# signal cut by hand")
        rows.append((f"{1000 * t:.0f}", "12.0" if t < 2 else "0.0", f"{x + n(0, 0.003):.3f}"))
    write("loss.csv", ("time [ms]", "loop demand [mA]", "travel [mm]"), rows, ";")


def supply_influence():
    """A travel of 30 mm that moves by -0.06 mm at 3 bar and by 0.03 mm at 5 bar, from 4 bar."""
    for name, seed, supply, x in (("nominal", 18, 4, 15.0), ("low", 19, 3, 14.94), ("high", 20, 5, 15.03)):
        n = noise(seed)
        write(f"influence-{name}.csv", ("time [s]", "travel [mm]", "supply pressure [bar]"),
              [(f"{0.1 * i:.1f}", f"{x + n(0, 0.002):.3f}", f"{supply + n(0, 1e-3):.3f}") for i in range(80)])


def staircase():
    """Two cycles 4, 8, ... 20, ... 4 mA; of 30 mm: bowed by 0.3 mm in the middle, 0.12 mm less when falling."""
    n, rows, t = noise(21), [], 0.0
    for _ in range(2):
        for step, share in enumerate((0, .25, .5, .75, 1, .75, .5, .25)):
            falling = step >= 5
            x = 30 * share + 0.3 * 4 * share * (1 - share) - (0.12 if falling else 0)
            for _ in range(30):
                rows.append((f"{t:.1f}", f"{4 + 16 * share:.0f}", f"{x + n(0, 0.003):.3f}"))
                t += 0.2
    for _ in range(30):
        rows.append((f"{t:.1f}", "4", f"{n(0, 0.003):.3f}"))
        t += 0.2
    write("stairs.csv", ("time [s]", "loop demand [mA]", "travel [mm]"), rows)


def dead_band():
    """Play of 0.5 % of the demand's span before a travel of 30 mm."""
    n, rows, t, x = noise(22), [], 0.0, 0.40
    demands = [0.40, 0.46, 0.49] + [0.49 + 0.001 * k for k in range(1, 11)]
    for back in (.001, .002, .003, .004, .005, .006, .008, .010, .015, .05):
        demands += [0.50 - back, 0.50]
    for demand in demands:
        x = min(max(x, demand - 0.0025), demand + 0.0025)
        for _ in range(16):
            rows.append((f"{t:.2f}", f"{4 + 16 * demand:.3f}", f"{30 * x + n(0, 0.001):.4f}"))
            t += 0.25
    write("dead-band.csv", ("time [s]", "loop demand [mA]", "travel [mm]"), rows)


def burden():
    """A loop from 3 to 21 mA in 36 s: 2 V up to 3.60 mA, above 7.5 V and 100 ohm. Decimal commas."""
    n, rows = noise(23), []
    for i in range(361):
        current = 3 + 0.05 * i
        voltage = 2 if current < 3.6 else 7.5 + 0.1 * current
        rows.append((f"{0.1 * i:.1f}", f"{current + n(0, 5e-4):.4f}", f"{voltage + n(0, 2e-3):.3f}"))
    write("burden.csv", ("time [s]", "loop current [mA]", "loop voltage [V]"), rows, ";", comma=True)


def drift():
    """An angle at rest: 12.00 deg at the first visit, 12.15 deg at the last."""
    for name, seed, angle in (("first", 24, 12.0), ("last", 25, 12.15)):
        n = noise(seed)
        write(f"drift-{name}.csv", ("time [s]", "shaft angle [deg]"), [(f"{0.1 * i:.1f}", f"{angle + n(0, 0.005):.3f}") for i in range(60)])


def self_adjustment():
    """Started at 2 s; strokes of 30 mm in 8 s until 42 s, then at rest. The start is a switch's state."""
    n, rows = noise(26), []
    for i in range(601):
        t = 0.1 * i
        place = min(max(t - 2, 0), 40) % 16  # up in 8 s, down in 8 s; half a way at the end
        x = 3.75 * (place if place <= 8 else 16 - place)
        rows.append((f"{t:.1f}", "1" if t >= 2 else "0", f"{x + n(0, 0.003):.3f}"))
    write("self-adjustment.csv", ("time [s]", "self-adjustment", "travel [mm]"), rows)


for make in (sensor_sweep, held_pressure, relay_direction, difference, loss, supply_influence, staircase, dead_band, burden, drift,
             self_adjustment):
    make()
