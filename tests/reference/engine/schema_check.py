#!/usr/bin/python3
"""The shipped procedures and plans against their JSON Schemas, under an independent validator (python3-jsonschema),
and documents broken in one place each, which it must refuse."""
import copy
import glob
import json
import os
import re
import sys

import jsonschema

root = sys.argv[1]
bad = 0


def load(path):
    with open(os.path.join(root, path), encoding="utf-8") as f:
        return json.load(f)


def check(condition, text):
    global bad
    if not condition:
        bad += 1
        print("FAIL:", text)


schemas = {}
for name in ("procedure-1", "plan-1"):
    schema = load(f"docs/schema/{name}.schema.json")
    jsonschema.Draft202012Validator.check_schema(schema)
    schemas[name] = jsonschema.Draft202012Validator(schema)

shipped = 0
for path in sorted(glob.glob(os.path.join(root, "procedures/library/*.json"))):
    document = load(path)
    validator = schemas[document["endstop"].replace("/", "-")]
    errors = [f"{'/'.join(map(str, e.absolute_path))}: {e.message}" for e in validator.iter_errors(document)]
    check(not errors, f"{path}: {errors[:3]}")
    shipped += 1
check(shipped >= 21, f"only {shipped} shipped documents found")

# The skeleton of the guide is a whole procedure.
with open(os.path.join(root, "docs/write-a-procedure.md"), encoding="utf-8") as f:
    blocks = re.findall(r"```json\n(.*?)```", f.read(), re.S)
check(len(blocks) >= 2, "the guide has no skeleton")
for block in blocks:
    document = json.loads(block)
    if "endstop" in document:
        check(schemas[document["endstop"].replace("/", "-")].is_valid(document), "the guide's skeleton")

# Roles: the schema's list is the program's.
with open(os.path.join(root, "rig/base/role.c"), encoding="utf-8") as f:
    source = f.read()
roles = load("docs/schema/procedure-1.schema.json")["$defs"]["role"]["enum"]
for role in roles:
    check(f'"{role}"' in source, f"role {role} is not in role.c")
with open(os.path.join(root, "rig/base/role.h"), encoding="utf-8") as f:
    count = len(re.findall(r"^\s+ES_ROLE_(?!COUNT|NONE)\w+", f.read(), re.M))
check(len(roles) == count, f"{len(roles)} roles in the schema, {count} in role.h")


def broken(base, path, value, what):
    document = copy.deepcopy(base)
    at = document
    for key in path[:-1]:
        at = at[key]
    if value is None:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    validator = schemas[base["endstop"].replace("/", "-")]
    check(not validator.is_valid(document), f"accepted: {what}")


leak = load("procedures/library/relay-leak.json")
step = {s["do"]: i for i, s in enumerate(leak["steps"])}
broken(leak, ["endstop"], "procedure/2", "another format")
broken(leak, ["cautions"], [], "no cautions")
broken(leak, ["steps"], [], "no steps")
broken(leak, ["purpose"], None, "no purpose")
broken(leak, ["colour"], "red", "an unknown member")
broken(leak, ["needs", "always", 0], "tea", "an unknown role")
broken(leak, ["steps", 0, "do"], "dance", "an unknown step")
broken(leak, ["steps", 0, "to"], None, "set without to")
broken(leak, ["steps", 0, "to"], 4, "a number without unit")
broken(leak, ["steps", 0, "role"], "suply", "a misspelt role")
broken(leak, ["steps", 0, "when"], "sometimes", "an unknown when")
broken(leak, ["steps", step["wait"], "at most"], None, "a wait without bound")
broken(leak, ["steps", step["wait"], "above"], "1 bar", "near and above together")
broken(leak, ["steps", step["record"], "for"], None, "a recording without end")
broken(leak, ["steps", step["record"], "steps"], [{"do": "hold", "for": "1 s"}], "a recording with two ends")
broken(leak, ["steps", step["record"], "roles"], [], "a recording of nothing")
broken(leak, ["measurands", 0, "measure"], None, "a measurand without measure")
broken(leak, ["measurands", 0, "recordings"], {}, "a measurand without recordings")
broken(leak, ["measurands", 0, "results", 0, "limit"], None, "a result without limit")
broken(leak, ["measurands", 0, "results", 0, "required"], "yes", "required as text")
sweep = load("procedures/library/sensor-sweep.json")
broken(sweep, ["steps", 0, "text"], None, "a shaft step that cannot ask")
broken(sweep, ["steps", 2, "steps", 1, "times"], 0, "a sweep of no round trips")
broken(sweep, ["steps", 2, "steps", 1, "at most"], None, "a nested step without bound")
adjustment = load("procedures/library/self-adjustment.json")
asked = [i for i, s in enumerate(adjustment["steps"]) if "where not fitted" in s][0]
broken(adjustment, ["steps", asked, "where not fitted"], "keyboard", "an unknown role that is not fitted")
broken(adjustment, ["steps", asked, "when"], "relay modules", "an unknown kind of unit")
broken(adjustment, ["needs", "spare parts"], ["travel"], "an unknown group of needs")
plan = load("procedures/library/after-relay-swap.plan.json")
broken(plan, ["procedures"], [], "a plan of nothing")
broken(plan, ["procedures", 0, "procedure"], "../sensor-sweep", "a procedure in another folder")
broken(plan, ["procedures", 3, "only after"], {"relay leak": "maybe"}, "an unknown gate")
broken(plan, ["procedures", 3, "after"], "x", "an unknown member of a plan's entry")

print("ok" if bad == 0 else f"{bad} failures")
sys.exit(1 if bad else 0)
