"""docs/measure-a-recording.md: every command on it runs in docs/examples with the exit status it says, and gives what the
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
expect(len(lines) == 7, f"{len(lines)} commands")
# Truth in the coherent unit. psi: 6894.757 Pa (NIST SP 811 B.8, from memory); standard cubic foot: 0.3048^3 m3 at 60 degF.
scfh = 0.3048**3 / 3600 * (293.15 / ((60 + 459.67) / 1.8)) * 1.01325
truth = [
    {"value": 58 * 6894.757},
    {"largest": 59.5 * 6894.757, "smallest": 58 * 6894.757},
    {"flow": 0.30 * scfh, "flow by pressure rise": 0.30 * scfh},
    {"dead time": 0.3, "T63": 0.3 + 0.8 * -math.log(1 - 0.632)},
    {"travel": 0.030, "angle travel": 2 * math.atan(0.5)},
    {"difference": 0.0},
    {"conductance deliver": 0.4e-3 / 1e5},
]
factors = {"bar": 1e5, "Pa": 1, "s": 1, "mm": 1e-3, "m": 1, "deg": math.pi / 180, "rad": 1, "%": 0.01, "l/h ANR": 1e-3 / 3600,
           "dm3/(s bar)": 1e-8, "m3/s": 1, "m3/(s Pa)": 1, "1": 1}
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
