"""A certificate of every shipped plan, good and faulty: each keeps the schema under an independent validator, its signature
verifies, and it says what the run said.

usage: plan_certificates.py PROGRAM SOURCE_DIR ENDSTOP"""
import json
import os
import pathlib
import subprocess
import sys
import tempfile

import jsonschema

program, root, endstop = sys.argv[1], pathlib.Path(sys.argv[2]), sys.argv[3]
faults = []


def check(good, what):
    if not good:
        faults.append(what)
        print("FAULT:", what)


with tempfile.TemporaryDirectory(prefix="endstop-test-") as folder:
    made = subprocess.run([program, "-q"], env=dict(os.environ, ES_CERTIFICATES=folder), capture_output=True, text=True)
    print(made.stdout + made.stderr)
    check(made.returncode == 0, "a run did not give its verdict")
    schema = json.loads((root / "docs/schema/certificate-1.schema.json").read_text())
    validator = jsonschema.Draft202012Validator(schema)
    plans = {p.name.removesuffix(".plan.json") for p in (root / "procedures/library").glob("*.plan.json")}
    certificates = sorted(p for p in pathlib.Path(folder).glob("*.json"))
    check({c.stem.rsplit("-", 1)[0] for c in certificates} == plans, f"not every plan has a certificate: {plans}")
    for path in certificates:
        document = json.loads(path.read_text())
        found = [f"{list(e.path)}: {e.message}" for e in validator.iter_errors(document)]
        check(not found, f"{path.name}: {found[:3]}")
        good = path.stem.endswith("-good")
        check(document["verdict"] == ("pass" if good else "fail"), f"{path.name}: {document['verdict']}")
        key = path.with_suffix(".pub.pem")
        verified = subprocess.run([endstop, "verify", str(path), "--key", str(key)], capture_output=True, text=True)
        check(verified.returncode == 0, f"{path.name}: {verified.stdout}{verified.stderr}")
        altered = pathlib.Path(folder) / "altered"
        altered.write_bytes(path.read_bytes().replace(b'"fail"' if not good else b'"pass"', b'"held"', 1))
        verified = subprocess.run([endstop, "verify", str(altered), "--key", str(key)], capture_output=True, text=True)
        check(verified.returncode != 0, f"{path.name}: an altered verdict verifies")
sys.exit(1 if faults else 0)
