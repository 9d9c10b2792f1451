"""endstop verify --recompute: a run's values come out of its recordings again, elsewhere; and every tampering with a
recording, an input or the certificate's claim is told. Arguments: probe, endstop."""
import gzip
import hashlib
import json
import pathlib
import shutil
import subprocess
import sys
import tempfile

probe, endstop = sys.argv[1:3]
faults = []


def check(ok, what):
    if not ok:
        faults.append(what)
        print("FAULT:", what)


def verify(folder, *more):
    return subprocess.run([endstop, "verify", "certificate.json", "--key", "bench.pub.pem", "--recompute", "--recordings", "recordings", *more],
                          cwd=folder, capture_output=True, text=True)


work = pathlib.Path(tempfile.mkdtemp(prefix="es-recompute-"))
made = work / "made"
made.mkdir()
result = subprocess.run([probe, str(made)], capture_output=True, text=True)
check(result.returncode == 0, f"the probe: {result.stdout} {result.stderr}")
certificate = json.loads((made / "certificate.json").read_text())
measured = sum("value" in line for line in certificate["lines"])
check(measured >= 10, f"only {measured} lines have a value")

# Another machine: nothing but the certificate, the key, and the folder of recordings; the sources' folder is not needed.
there = work / "elsewhere"
shutil.copytree(made, there)
result = verify(there)
check(result.returncode == 0, f"derived again: {result.stdout} {result.stderr}")
check(f"{measured} values derived again: {measured} identical, 0 within" in result.stdout, result.stdout)


def spoiled(what, change, expected):
    folder = work / "spoiled"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(made, folder)
    change(folder)
    result = verify(folder)
    check(result.returncode != 0 and expected in result.stdout + result.stderr, f"{what}: {result.returncode} {result.stdout} {result.stderr}")


def first(folder):
    return sorted((folder / "recordings").glob("*.recording.gz"))[0]


def alter_recording(folder):
    path = first(folder)
    text = gzip.decompress(path.read_bytes()).decode().splitlines()
    number, t, value, quality = text[-5].split(",")
    text[-5] = ",".join([number, t, repr(float(value) * 1.0001 + 1e-9), quality])
    path.write_bytes(gzip.compress(("\n".join(text) + "\n").encode()))


def alter_document(folder):
    path = folder / "recordings" / (certificate["type_sheet"]["sha256"] + ".json")
    path.write_text(path.read_text().replace('"', ' "', 1))


spoiled("a recording is missing", lambda f: first(f).unlink(), "recording")
spoiled("a recording was changed", alter_recording, "digest")
spoiled("a recording was cut", lambda f: first(f).write_bytes(first(f).read_bytes()[:-20]), "recording")
spoiled("the type sheet was changed", alter_document, "not what its name says")
spoiled("the inputs are missing", lambda f: (f / "recordings" / (certificate["inputs"]["sha256"] + ".json")).unlink(), "there is no")

# A bench that lies: values, U, limits and verdicts in a certificate that it signs itself are held against its recordings.
line = next(l for l in certificate["lines"] if l.get("verdict") == "pass" and l["U"] > 0)
for member, value in (("value", line["value"] + 0.01 * line["U"]), ("U", line["U"] * 1.01), ("verdict", "fail")):
    folder = work / "lying"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(made, folder)
    forged = json.loads(json.dumps(certificate))
    target = forged["lines"][certificate["lines"].index(line)]
    target[member] = value
    if member == "verdict":
        target["reason"] = "forged"
        forged["verdict"] = "fail"
    del forged["signatures"]
    (folder / "forged.json").write_text(json.dumps(forged))
    result = subprocess.run([probe, str(folder), "forged.json"], cwd=folder, capture_output=True, text=True)
    check(result.returncode == 0, f"re-signing: {result.stderr}")
    result = verify(folder)
    check(result.returncode == 1 and "NOT AS RECORDED" in result.stdout and line["measurand"] in result.stdout,
          f"a lie about {member}: {result.returncode} {result.stdout} {result.stderr}")

# Values whose distribution was drawn (JCGM 101) come out again from the seed, bit for bit; with another seed they do not.
for seed in range(7, 27):  # some units have nothing that straight-line propagation does not carry
    turn = work / f"part-turn-{seed}"
    turn.mkdir()
    result = subprocess.run([probe, str(turn), "part-turn", str(seed)], capture_output=True, text=True)
    check(result.returncode == 0, f"the probe, part-turn: {result.stdout} {result.stderr}")
    certificate = json.loads((turn / "certificate.json").read_text())
    drawn = [l for l in certificate["lines"] if "monte_carlo" in l]
    if drawn:
        break
check(len(drawn) >= 1, "no value was drawn in twenty units: this part checks nothing")
for l in drawn:
    check(l["monte_carlo"]["low"] <= l["value"] <= l["monte_carlo"]["high"] and l["monte_carlo"]["trials"] >= 30000, f"{l}")
result = verify(turn)
measured = sum("value" in line for line in certificate["lines"])
check(result.returncode == 0 and f"{measured} identical, 0 within" in result.stdout, f"drawn again: {result.stdout} {result.stderr}")
certificate["run"]["seed"] = "1008"
del certificate["signatures"]
(turn / "forged.json").write_text(json.dumps(certificate))
result = subprocess.run([probe, str(turn), "forged.json"], cwd=turn, capture_output=True, text=True)
check(result.returncode == 0, f"re-signing: {result.stderr}")
result = verify(turn)
check(result.returncode == 1 and all(l["measurand"] in result.stdout for l in drawn), f"another seed: {result.stdout} {result.stderr}")

shutil.rmtree(work)
sys.exit(1 if faults else 0)
