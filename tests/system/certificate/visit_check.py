"""One unit's visit with the real commands: a job from arrival to delivery, the certificate released by a second person, handed
out with all that it takes, checked and derived again elsewhere; then made void. Arguments: probe, endstop."""
import csv
import io
import json
import pathlib
import shutil
import subprocess
import sys
import tempfile

probe, endstop = sys.argv[1:3]
faults = []
work = pathlib.Path(tempfile.mkdtemp(prefix="es-visit-"))
state = work / "state"


def check(ok, what):
    if not ok:
        faults.append(what)
        print("FAULT:", what)


def run(status, *words, **more):
    result = subprocess.run([endstop, *map(str, words)], capture_output=True, text=True, stdin=subprocess.DEVNULL, **more)
    check(result.returncode == status, f"{words}: exit {result.returncode}, expected {status}: {result.stdout} {result.stderr}")
    return result.stdout + result.stderr


# A bench's state folder with one certificate as the probe made it.
made = work / "made"
made.mkdir()
check(subprocess.run([probe, str(made)], capture_output=True).returncode == 0, "the probe")
for part in ("keys/trusted", "certificates", "recordings"):
    (state / part).mkdir(parents=True)
(state / "keys").chmod(0o700)
shutil.copy(made / "bench.pub.pem", state / "keys/bench.pub.pem")
shutil.copy(made / "bench.pem", state / "keys/bench.pem")
shutil.copy(made / "certificate.json", state / "certificates/VB-000001.json")
for path in (made / "recordings").iterdir():
    shutil.copy(path, state / "recordings")
issued = (state / "certificates/VB-000001.json").read_bytes()

run(0, "key", "create", "--key", work / "b.pem")
release = ("certificate", "release", "VB-000001", "--state", state, "--key", work / "b.pem", "--name")
check("book of keys" in run(3, *release, "B. Example"), "an unknown releaser is refused")
run(0, "key", "trust", work / "b.pub.pem", "--name", "B. Example", "--state", state)

job = run(0, "job", "open", "--serial", "EX-7", "--customer", "Example Quarry", "--person", "A. Example", "--state", state).strip()
check(job == "J-000001", job)
on = ("--state", state, "--person")
check("second person" in run(3, *release, "A. Example"), "who ran it cannot release it")
run(0, "job", "run", job, "--certificate", "VB-000001", *on, "A. Example")
run(3, "job", "release", job, *on, "B. Example")
run(0, "job", "found", job, "--no-fault", *on, "A. Example")
check("second person" in run(3, "job", "release", job, *on, "A. Example"), "nor the job")
run(0, "job", "release", job, *on, "B. Example")
run(0, "job", "deliver", job, *on, "A. Example")
shown = json.loads(run(0, "job", "show", job, "--json", "--state", state))
check(shown["stage"] == "delivered" and len(shown["lines"]) == 5, str(shown))
other = run(0, "job", "open", "--serial", "OTHER", "--state", state).strip()
check("is of unit EX-7" in run(3, "job", "run", other, "--certificate", "VB-000001", "--state", state), "another unit's certificate")

# Where it could not be entered in the log nothing is signed.
(state / "keys/bench.pem").rename(state / "keys/away.pem")
check("nothing was signed" in run(2, *release, "B. Example"), "no release without a log")
check(not (state / "certificates/signed").exists(), "and no file")
(state / "keys/away.pem").rename(state / "keys/bench.pem")
text = run(0, *release, "B. Example")
check("released by B. Example" in text and "in the log" in text, text)
signed = state / "certificates/signed/VB-000001.2.json"
check(signed.with_suffix(".seal.json").exists(), "the seal lies beside it")
check(len((state / "log/certificates.log").read_text().splitlines()) == 5, "two leaves with their heads")
run(3, *release, "B. Example")
check((state / "certificates/VB-000001.json").read_bytes() == issued, "the certificate as issued stays byte for byte")
check((state / "certificates/signed/VB-000001.2.json").exists(), "the released file lies beside it")

# Elsewhere: nothing but the exported folder.
out = work / "out"
run(0, "certificate", "export", "VB-000001", "--to", out, "--state", state)
shutil.move(state, work / "gone")
verify = ("verify", "--recompute", "--recordings", out / "recordings", "--keys", out / "keys.json", out / "VB-000001.json")
text = run(0, *verify)
check("released by B. Example" in text and "VALUES AS RECORDED" in text, text)
check("seal beside it holds: entry 2" in text and "not asked of the bench" in text and "not asked of an archive" in text, text)
seal = out / "VB-000001.seal.json"
proof = seal.read_text()
seal.write_text(proof.replace('"index":1', '"index":0'))
check("seal beside it does not hold" in run(1, *verify), "a seal that does not hold is told")
answer = json.loads(run(1, "verify", "--keys", out / "keys.json", out / "VB-000001.json", "--json"))[0]
check(answer["valid"] and answer["seal"]["answer"] == "fails", str(answer))
seal.write_text(json.dumps(json.loads(proof)))
run(0, *verify)
seal.unlink()
text = run(0, *verify)
check("VB-000001.seal.json is not there, so that nothing is said" in text, text)
shutil.move(work / "gone", state)
check("signed as \"release\" by B. Example" in run(0, "verify", state / "certificates/VB-000001.json", "--state", state), "a later file")
audit = ("audit", "integrity", "--json", "--state", state)
check(json.loads(run(0, *audit))["findings"] == [], "integrity")
for path in sorted((state / "recordings").iterdir())[::4]:  # every fourth: deleted, altered
    bytes_there = path.read_bytes()
    path.unlink()
    gone = json.loads(run(1, *audit))["findings"]
    path.write_bytes(bytes_there[:40] + bytes([bytes_there[40] ^ 1]) + bytes_there[41:])
    altered = json.loads(run(1, *audit))["findings"]
    path.write_bytes(bytes_there)
    for findings in (gone, altered):
        check([f["finding"] for f in findings] == ["recording"] and findings[0]["number"] == "VB-000001", f"{path.name}: {findings}")

# A file is shown without a daemon; what is none is told.
text = run(0, "certificate", "show", state / "certificates/VB-000001.json")
check("signature was not checked" in text and "EX-7" in text, text)
check(json.loads(run(0, "certificate", "show", out / "VB-000001.json", "--json")) == json.loads((out / "VB-000001.json").read_text()), "--json")
check("not a certificate" in run(2, "certificate", "show", out / "keys.json"), "another document")
run(2, "certificate", "show", out / "nothing.json")

# A recording as CSV reads back number for number.
names = json.loads(issued)["recordings"]
text = run(0, "certificate", "recordings", "VB-000001", names[0]["name"], "--state", state)
rows = list(csv.reader(io.StringIO("".join(l for l in text.splitlines(True) if not l.startswith("#")))))
check(rows[0][0] == "t/s" and all("/" in h for h in rows[0]) and len(rows) > 10, str(rows[0]))
times = [float(r[0]) for r in rows[1:]]
check(times == sorted(times) and len(set(times)) == len(times), "times rise")
check(not any("flow" in h for h in rows[0]) or "# " in text, "gas flow has its reference conditions")

# Void, for good; and a key that is revoked does not release any more.
void = ("certificate", "void", "VB-000001", "--state", state, "--key", work / "b.pem", "--name", "B. Example")
run(2, *void)
run(0, *void, "--reason", "wrong unit")
latest = state / "certificates/signed/VB-000001.3.json"
check("wrong unit" in run(1, "verify", latest, "--state", state), "void is told")
text = run(1, "verify", state / "certificates/VB-000001.json", "--state", state)
check("NOT AS IT SHOULD BE" in text and "wrong unit" in text, text)
run(1, *release, "B. Example")
run(0, "key", "revoke", work / "b.pub.pem", "--reason", "laptop lost", "--from", "2026-01-01T00:00:00Z", "--state", state)
check("is revoked" in run(3, "certificate", "release", "VB-000001", "--state", state, "--key", work / "b.pem", "--name", "B. Example"), "void is not counted any more, nor can the key release")
text = run(0, "verify", latest, "--state", state)
check("does not count" in text and "laptop lost" in text and "not released" in text, text)

shutil.rmtree(work)
sys.exit(1 if faults else 0)
