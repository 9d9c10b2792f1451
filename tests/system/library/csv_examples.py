"""docs/measure-a-recording.md: there is a command for every measure; every command on it runs in docs/examples with the exit status it says, and gives what the
recordings were computed from.

usage: csv_examples.py SOURCE_DIR ENDSTOP"""
import json
import math
import pathlib
import re
import shlex
import subprocess
import sys

root, endstop = pathlib.Path(sys.argv[1]), sys.argv[2]
page = (root / "docs/measure-a-recording.md").read_text()
faults = 0


def expect(good, what):
    global faults
    if not good:
        faults += 1
        print("FAULT:", what)


def run(line):
    words = shlex.split(line.split(" # ")[0])
    got = subprocess.run([endstop, *words[1:], "--json"], cwd=root / "docs/examples", capture_output=True, text=True)
    status = int(line.split(" # ")[1]) if " # " in line else 0
    expect(got.returncode == status, f"{line}: {got.returncode}\n{got.stderr}")
    return {v["output"]: v for v in json.loads(got.stdout)["values"]} if got.stdout else {}


lines = [l for block in re.findall(r"```sh\n(.*?)```", page, re.S) for l in block.splitlines()]
expect(len(lines) == 19, f"{len(lines)} commands")
# Truth in the coherent unit. psi: 6894.757 Pa (NIST SP 811 B.8, from memory); standard cubic foot: 0.3048^3 m3 at 60 degF.
scfh = 0.3048**3 / 3600 * (293.15 / ((60 + 459.67) / 1.8)) * 1.01325
# A straight stem of +-15 mm on a lever of 30 mm: the angle's share of its span less the stem's, at its worst.
bowed = max(math.atan(x / 1000 / 2) / math.atan(0.5) - x / 1000 for x in range(1001)) / 2
truth = [
    {"value": 58 * 6894.757},
    {"largest": 59.5 * 6894.757, "smallest": 58 * 6894.757},
    {"flow": 0.30 * scfh, "flow by pressure rise": 0.30 * scfh},
    {"dead time": 0.3, "T63": 0.3 + 0.8 * -math.log(1 - 0.632)},
    {"travel": 0.030, "angle travel": 2 * math.atan(0.5)},
    {"difference": 0.0},
    {"conductance deliver": 0.4e-3 / 1e5},
    # judged without 3 % of 90 deg at each end: 0.94 of each half; a parabola's best line halves what its ends' line leaves
    {"linearity terminal-based": 0.4 * 0.94**2 / (0.6 * 90 * 0.94), "linearity independent": 0.2 * 0.94**2 / (0.6 * 90 * 0.94),
     "hysteresis": 0.0, "margin low": 0.23, "margin high": 0.23, "reversals": 0.0, "dropouts": 0.0, "usable range": math.pi / 2},
    {"leak back": 9e-3 / 3600, "bench leak": 2e-3 / 3600, "pressure": 2.994e5},
    {"flow right": 26e-3 / 60, "flow wrong": 0.3e-3 / 60, "cross-talk": 0.01},
    {"value": 0.362e6 - 58 * 6894.757},
    {"delay": 0.25, "time": 0.25 + 0.5 * math.log(10), "final": 20e-3 * math.exp(-5.73 / 0.5)},
    {"change low": -0.002, "change high": 0.001, "per bar": 0.002},
    {"hysteresis": 0.004, "repeatability": 0.0, "largest error": 0.01, "inaccuracy": 0.01, "smallest error": 0.0,
     "linearity terminal-based": 0.008, "linearity independent": 0.004},
    {"dead band": 0.005},
    {"voltage low": 7.88, "voltage high": 9.55, "largest voltage": 9.595, "resistance": 100.0, "lowest operating current": 3.6e-3},
    {"change": math.radians(0.15)},
    {"duration": 40.0, "ended": 1.0},
    {"non-linearity": bowed, "angle low": -math.atan(0.5), "angle high": math.atan(0.5), "lever length": 0.030, "pin offset": 0.0},
]
factors = {"bar": 1e5, "Pa": 1, "s": 1, "mm": 1e-3, "m": 1, "deg": math.pi / 180, "rad": 1, "%": 0.01, "l/h ANR": 1e-3 / 3600,
           "dm3/(s bar)": 1e-8, "l/min ANR": 1e-3 / 60, "V": 1, "A": 1, "mA": 1e-3, "ohm": 1, "m3/s": 1, "m3/(s Pa)": 1, "1": 1, "": 1}
known = subprocess.run([endstop, "measure", "--list"], capture_output=True, text=True).stdout.split("\n\n")[0]
for name in (row[:20].strip() for row in known.splitlines() if row[0] != " "):
    expect(any(f'--measure "{name}"' in line or f"--measure {name} " in line + " " for line in lines), f"no example of {name}")
for line, wanted in zip(lines, truth):
    values = run(line)
    for name, exact in wanted.items():
        v = values.get(name)
        if v is None or not v["valid"]:
            expect(False, f"{line}: no {name}: {v}")
            continue
        factor = factors[v["unit"]]
        print(f"{name}: {v['value']:.6g} +- {v['U']:.2g} {v['unit']}; true {exact / factor:.6g}")
        expect(abs(v["value"] * factor - exact) <= max(2 * v["U"] * factor, 2e-3 * abs(exact)),
               f"{name}: {v['value']} {v['unit']}, not {exact / factor}")
sys.exit(1 if faults else 0)
