"""Certificates checked by what we did not write: the openssl command after the recipe in docs/certificate.md, the JOSE library
jwcrypto, and the JSON Schema validator jsonschema. Then the other way round: a key and a signature made by openssl."""
import base64
import json
import pathlib
import re
import subprocess
import sys
import tempfile

import jsonschema
from jwcrypto import jwk, jws

probe, root = sys.argv[1], pathlib.Path(sys.argv[2])
faults = []


def check(ok, what):
    if not ok:
        faults.append(what)
        print("FAULT:", what)


def run(*command, **more):
    return subprocess.run(command, capture_output=True, **more)


def b64(data):
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def unb64(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def jose_verifies(key, detached, payload):
    """RFC 7515 App. F: the payload is put back between the points."""
    header, _, signature = detached.split(".")
    token = jws.JWS()
    token.deserialize(f"{header}.{b64(payload)}.{signature}")
    try:
        token.verify(key)
    except jws.InvalidJWSSignature:
        return False
    return True


folder = pathlib.Path(tempfile.mkdtemp(prefix="es-certificate-"))
assert run(probe, "make", str(folder)).returncode == 0
schema = json.loads((root / "docs/schema/certificate-1.schema.json").read_text())
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
names = ["good", "virtual", "released", "failing", "record", "bare-record", "long"]

# The shell recipe exactly as the page gives it.
page = (root / "docs/certificate.md").read_text()
blocks = re.findall(r"```sh\n(.*?)```", page, re.S)
check(len(blocks) == 2, "docs/certificate.md has two shell recipes")
recipe = "\n".join(blocks).replace("EX-000001.json", "$FILE")
python_recipe = re.search(r"```python\n(.*?)```", page, re.S).group(1)

for name in names:
    path = folder / f"{name}.json"
    raw = path.read_bytes()
    document = json.loads(raw)
    check(len(raw) <= 24000 or name != "good", f"{name}: {len(raw)} bytes")
    for error in validator.iter_errors(document):
        check(False, f"{name}: schema: {error.message} at {list(error.absolute_path)}")

    result = run("sh", "-eu", "-c", recipe, cwd=folder, env={"FILE": path.name, "PATH": "/usr/bin:/bin"})
    check(b"Signature Verified Successfully" in result.stdout, f"{name}: openssl by the recipe: {result.stdout + result.stderr}")
    check(b'"role":"bench"' in result.stdout, f"{name}: the recipe shows the header: {result.stdout}")

    payload = re.sub(rb'"signatures":\[[^]]*\],', b"", raw)
    for entry in document["signatures"]:
        key = jwk.JWK(**entry["key"])
        check(key.thumbprint() == entry["key"]["kid"], f"{name}: thumbprint by jwcrypto")
        check(jose_verifies(key, entry["jws"], payload), f"{name}: jwcrypto verifies")
        altered = payload.replace(b"2026", b"2027", 1)
        check(not jose_verifies(key, entry["jws"], altered), f"{name}: jwcrypto refuses an altered payload")

    result = run(probe, "verify", str(folder / "bench.pub.pem"), str(path))
    check(result.returncode == 0 and result.stdout.startswith(b"valid: "), f"{name}: {result.stdout}")
    result = run(probe, "verify", str(folder / "bench.pub.jwk"), str(path))
    check(result.returncode == 0, f"{name}: by JWK: {result.stdout}")
    result = run(probe, "verify", str(folder / "person.pub.pem"), str(path))
    check(result.returncode == 1 and result.stdout.startswith(b"signed by another key"), f"{name}: {result.stdout}")

# The page's Python recipe.
(folder / "EX-000001.json").write_bytes((folder / "good.json").read_bytes())
result = run("/usr/bin/python3", "-c", python_recipe, cwd=folder)
check(result.returncode == 0 and b"EdDSA" in result.stdout, f"python recipe: {result.stderr.decode()}")

# openssl reads our private key and signs the same bytes: the same signature comes out (Ed25519 is deterministic).
good = (folder / "good.json").read_bytes()
document = json.loads(good)
header, _, signature = document["signatures"][0]["jws"].split(".")
payload = re.sub(rb'"signatures":\[[^]]*\],', b"", good)
(folder / "in.bin").write_bytes(f"{header}.{b64(payload)}".encode())
result = run("openssl", "pkeyutl", "-sign", "-inkey", "bench.pem", "-rawin", "-in", "in.bin", "-out", "out.bin", cwd=folder)
check(result.returncode == 0, f"openssl signs with our key: {result.stderr}")
check((folder / "out.bin").read_bytes() == unb64(signature), "openssl's signature is ours")
result = run("openssl", "pkey", "-in", "bench.pem", "-pubout", cwd=folder)
check(result.stdout == (folder / "bench.pub.pem").read_bytes(), "openssl derives the same public PEM")

# A certificate signed by hand with a key of openssl's is accepted under that key.
run("openssl", "genpkey", "-algorithm", "ed25519", "-out", "other.pem", cwd=folder)
run("openssl", "pkey", "-in", "other.pem", "-pubout", "-out", "other.pub.pem", cwd=folder)
other = jwk.JWK.from_pem((folder / "other.pub.pem").read_bytes())
public = {"crv": "Ed25519", "kid": other.thumbprint(), "kty": "OKP", "x": json.loads(other.export_public())["x"]}
del document["signatures"]
document["issuer"]["key"] = other.thumbprint()
plain = run(probe, "canonical", input=json.dumps(document).encode()).stdout
header = b64(json.dumps({"alg": "EdDSA", "kid": other.thumbprint(), "role": "bench", "time": "2026-02-03T10:00:00Z"}).encode())
(folder / "in.bin").write_bytes(f"{header}.{b64(plain)}".encode())
run("openssl", "pkeyutl", "-sign", "-inkey", "other.pem", "-rawin", "-in", "in.bin", "-out", "out.bin", cwd=folder)
document["signatures"] = [{"jws": f"{header}..{b64((folder / 'out.bin').read_bytes())}", "key": public}]
(folder / "foreign.json").write_bytes(run(probe, "canonical", input=json.dumps(document).encode()).stdout)
result = run(probe, "verify", str(folder / "other.pub.pem"), str(folder / "foreign.json"))
check(result.returncode == 0, f"signed by openssl: {result.stdout}")

# The schema refuses what is not in the format.
good = json.loads(good)


def refused(what, change):
    bad = json.loads(json.dumps(good))
    change(bad)
    check(list(validator.iter_errors(bad)), f"schema accepts: {what}")


refused("a record with a verdict", lambda d: d.update(kind="record"))
refused("a certificate without verdict", lambda d: d.pop("verdict"))
refused("an unknown verdict", lambda d: d.update(verdict="ok"))
refused("an unknown member", lambda d: d.update(extra=1))
refused("a value without U", lambda d: d["lines"][0].pop("U"))
refused("a line without limit", lambda d: d["lines"][0].pop("limit"))
refused("a failing line without reason", lambda d: d["lines"][0].update(verdict="fail"))
refused("a limit open on both sides", lambda d: d["lines"][0]["limit"].pop("upper"))
refused("local time", lambda d: d.update(issued="2026-02-03T10:05:01+01:00"))
refused("no signature", lambda d: d.update(signatures=[]))

# What docs/certificate.md calls "always" (ISO/IEC 17025:2017, item by item), taken away one at a time.
always = ["endstop", "kind", "title", "number", "issued", "issuer.key", "issuer.software", "issuer.clock_synchronised", "bench.name", "bench.sha256",
          "bench.station", "bench.virtual", "unit.serial", "unit.type", "type_sheet.name", "type_sheet.version", "type_sheet.sha256", "plan.name",
          "plan.version", "plan.sha256", "run.id", "run.began", "run.ended", "run.completed", "run.person", "run.attended", "procedures", "lines",
          "lines.0.procedure", "lines.0.measurand", "lines.0.unit", "lines.0.decimals", "lines.0.U", "lines.0.k", "lines.0.value", "lines.0.rule",
          "lines.0.limit.name", "lines.0.limit.required", "lines.0.guard_band", "lines.0.false_acceptance", "lines.0.verdict", "verdict", "instruments",
          "instruments.0.name", "limit_sources", "statements", "signatures", "signatures.0.jws", "signatures.0.key"]


def taken_away(path):
    def change(d):
        *way, last = [int(word) if word.isdigit() else word for word in path.split(".")]
        for step in way:
            d = d[step]
        d.pop(last)
    return change


def has(path):
    place = good
    for word in path.split("."):
        word = int(word) if word.isdigit() else word
        if word not in (range(len(place)) if isinstance(place, list) else place):
            return False
        place = place[word]
    return True


for path in filter(has, always):
    refused(f"a certificate without {path}", taken_away(path))

# "Or said": left out, the schema wants its name in not_given.
for path, said in {"customer": "customer", "customer_contact": "customer contact", "job.received": "date of receipt", "job.condition": "condition on receipt",
                   "laboratory.name": "laboratory", "laboratory.address": "laboratory address", "laboratory.place_of_test": "place of test"}.items():
    bad = json.loads(json.dumps(good))
    if said in bad.get("not_given", []):
        bad["not_given"].remove(said)
        if not bad["not_given"]:
            del bad["not_given"]
    elif has(path):
        taken_away(path)(bad)
    check(list(validator.iter_errors(bad)), f"schema accepts: neither {path} nor a word on it")


def members(node, way=()):
    """Every member at every depth: the way to its object, and its name."""
    if isinstance(node, dict):
        for name, value in node.items():
            yield way, name
            yield from members(value, (*way, name))
    elif isinstance(node, list):
        for index, value in enumerate(node[:3]):
            yield from members(value, (*way, index))


renamed = 0
for way, name in members(good):
    if "reference_conditions" in way:  # its names are units
        continue
    bad = json.loads(json.dumps(good))
    place = bad
    for step in way:
        place = place[step]
    place[name + "_"] = place.pop(name)
    renamed += 1
    check(list(validator.iter_errors(bad)), f"schema accepts: {'.'.join(map(str, way))} with {name} renamed")
check(renamed > 120, f"only {renamed} members were renamed")

subprocess.run(["rm", "-rf", str(folder)], check=True)
sys.exit(1 if faults else 0)
