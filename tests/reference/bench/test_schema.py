"""The bench file's schema under an independent validator (python3-jsonschema, 2020-12): the shipped examples pass,
altered ones fail, and docs/ is what the program's own rows say.

usage: test_schema.py SOURCE_DIR BENCH_DOCS"""
import copy
import glob
import json
import subprocess
import sys

import jsonschema

source, bench_docs = sys.argv[1:3]
failures = 0


def expect(good, what):
    global failures
    if not good:
        failures += 1
        print("FAILED:", what)


def told(*arguments):
    return subprocess.run([bench_docs, *arguments], check=True, capture_output=True, text=True).stdout


schema_text = open(f"{source}/docs/schema/bench-1.schema.json").read()
page = f"{source}/docs/bench-file.md"
expect(told("schema") == schema_text, "docs/schema/bench-1.schema.json is out of date: bench-docs schema > it")
expect(told("reference", page) == open(page).read(), "docs/bench-file.md is out of date: bench-docs reference")

schema = json.loads(schema_text)
expect(schema["$schema"] == "https://json-schema.org/draft/2020-12/schema", "2020-12")
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)

examples = sorted(glob.glob(f"{source}/rig/bench/examples/*.json"))
expect(len(examples) >= 4, "examples are missing")
for name in examples:
    faults = [f"{list(e.path)}: {e.message}" for e in validator.iter_errors(json.load(open(name)))]
    expect(not faults, f"{name}: {faults[:3]}")

good = json.load(open(f"{source}/rig/bench/examples/workshop.json"))


def channel(bench, role):
    return next(c for c in bench["stations"][0]["channels"] if c["role"] == role)


def put(where, key, value):
    where[key] = value


ALTERATIONS = {
    "another format": lambda b: put(b, "endstop", "bench/2"),
    "no name": lambda b: b.pop("name"),
    "unknown member": lambda b: put(b, "colour", "blue"),
    "no buses": lambda b: put(b, "buses", []),
    "unknown driver": lambda b: put(b["buses"][0], "driver", "telepathy"),
    "another driver's settings": lambda b: put(b["buses"][2], "settings", {"mode": "rtu", "device": "x", "silence": "1 ms"}),
    "baud as text": lambda b: put(b["buses"][0]["settings"], "baud", "38400"),
    "time without unit": lambda b: put(b["instruments"][0], "timeout", "0.2"),
    "time in bar": lambda b: put(b["instruments"][0], "timeout", "0.2 bar"),
    "time as number": lambda b: put(b["instruments"][0], "timeout", 0.2),
    "too many retries": lambda b: put(b["instruments"][0], "retries", 99),
    "unknown role": lambda b: put(channel(b, "guard"), "role", "gard"),
    "no address": lambda b: channel(b, "guard").pop("address"),
    "unknown table": lambda b: put(channel(b, "guard")["address"], "table", "discreet input"),
    "register above 65535": lambda b: put(channel(b, "travel")["address"], "address", 70000),
    "triple in a table": lambda b: channel(b, "sensor ratio")["scale"]["table"].append([1, 2, 3]),
    "one point": lambda b: put(channel(b, "sensor ratio")["scale"], "table", [[0, 0]]),
    "unknown signal": lambda b: put(channel(b, "travel")["signal"], "kind", "0-10 V"),
    "no low end": lambda b: channel(b, "travel")["signal"].pop("low"),
    "no due date": lambda b: channel(b, "travel")["calibration"].pop("due"),
    "month 13": lambda b: put(channel(b, "travel")["calibration"], "due", "2027-13-01"),
    "k of 0": lambda b: put(channel(b, "travel")["calibration"], "k", 0),
    "no ceilings": lambda b: b["stations"][0].pop("ceilings"),
    "ceiling as number": lambda b: put(b["stations"][0]["ceilings"][0], "highest", 22),
    "no safe state": lambda b: b["stations"][0].pop("safe state"),
    "empty safe state": lambda b: put(b["stations"][0]["safe state"], "writes", []),
    "safe write without value": lambda b: b["stations"][0]["safe state"]["writes"][0].pop("value"),
    "watchdog period in Hz": lambda b: put(b["stations"][0]["watchdog"], "period", "2 Hz"),
    "fact without uncertainty": lambda b: b["stations"][0]["facts"][0].pop("uncertainty"),
}
for what, alter in ALTERATIONS.items():
    bench = copy.deepcopy(good)
    alter(bench)
    expect(bench != good, f"{what}: nothing was altered")
    expect(not validator.is_valid(bench), f"{what}: the schema lets it pass")

print(f"{len(examples)} examples, {len(ALTERATIONS)} alterations, {failures} failures")
sys.exit(failures != 0)
