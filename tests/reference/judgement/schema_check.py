"""Type sheets under an independent JSON Schema validator (python3-jsonschema) and under the program's reader, which must agree: the
shipped ones and the skeleton of docs/add-a-type-sheet.md are accepted, and a list of broken ones is refused."""
import copy
import json
import pathlib
import re
import subprocess
import sys
import tempfile

import jsonschema

root = pathlib.Path(sys.argv[1])
probe = sys.argv[2]
schema = json.loads((root / "docs/schema/type-sheet-1.schema.json").read_text())
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
faults = 0


def expect(ok, what, document):
    global faults
    errors = [e.message for e in validator.iter_errors(document)]
    if ok == bool(errors):
        faults += 1
        print(f"{what}: {'refused: ' + errors[0] if errors else 'accepted, should be refused'}")
    with tempfile.NamedTemporaryFile("w", suffix=".json") as file:
        json.dump(document, file)
        file.flush()
        result = subprocess.run([probe, "sheet", file.name], capture_output=True, text=True)
    if result.returncode != (0 if ok else 2) or (not ok and ": found " not in result.stderr):
        faults += 1
        print(f"{what}: the reader says {result.returncode}: {result.stderr}")


sheets = sorted((root / "procedures/types").glob("*.json"))
assert len(sheets) >= 2, "shipped type sheets are missing"
for path in sheets:
    expect(True, path.name, json.loads(path.read_text()))

guide = (root / "docs/add-a-type-sheet.md").read_text()
skeleton = json.loads(re.search(r"```json\n(.*?)```", guide, re.S).group(1))
expect(True, "skeleton in the guide", skeleton)


def broken(what, change):
    document = copy.deepcopy(skeleton)
    change(document)
    expect(False, what, document)


leak = "leak of output 1"
broken("other format", lambda d: d.update(endstop="type-sheet/2"))
broken("missing member", lambda d: d.pop("ceilings"))
broken("unknown member", lambda d: d.update(limit={}))
broken("name with a space", lambda d: d.update(name="my type"))
broken("number in place of a quantity", lambda d: d["quantities"].update({"loop low": 4}))
broken("quantity without a number", lambda d: d["quantities"].update({"loop low": "four mA"}))
broken("limit without sides", lambda d: d["limits"][leak].pop("upper"))
broken("limit without source", lambda d: d["limits"][leak].pop("source"))
broken("unknown rule", lambda d: d["limits"][leak].update(rule="strict"))
broken("simple with a guard factor", lambda d: d["limits"][leak].update(rule="simple"))
broken("guard factor out of range", lambda d: d["limits"][leak].update({"guard factor": 4}))
broken("no limits", lambda d: d.update(limits={}))


def called(document):
    """Limit names that a procedure calls."""
    if isinstance(document, dict):
        for name, inner in document.items():
            if name == "limit" and isinstance(inner, str):
                yield inner
            else:
                yield from called(inner)
    elif isinstance(document, list):
        for inner in document:
            yield from called(inner)


# Names, not figures: the page, the shipped sheets and the shipped procedures must know the same ones.
page = (root / "docs/type-sheet-file.md").read_text()
limits = [set(json.loads(path.read_text())["limits"]) for path in sheets]
names = {n for path in (root / "procedures/library").glob("*.json") for n in called(json.loads(path.read_text()))}
assert len(names) > 20, "the shipped procedures call few limits"
for name in sorted(names):
    if f"`{name}`" not in page:
        faults += 1
        print(f"docs/type-sheet-file.md does not list the limit \"{name}\"")
    if not any(name in l for l in limits):
        faults += 1
        print(f"no shipped type sheet has the limit \"{name}\"")
sys.exit(1 if faults else 0)
