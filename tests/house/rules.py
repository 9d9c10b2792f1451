#!/usr/bin/python3
"""Rules that decide about a unit carry a tag, [rule:NAME], in the code; so does each test of them. Usage: rules.py ROOT

Lists rules without a test and tests without a rule. Tagged are the decision rules (procedures/judgement) and the interlock's
(rig/bench), as far as they carry tags; judgement must."""

import os
import re
import sys

TAG = re.compile(r"\[rule:([a-z0-9-]+)\]")


def tags(root, tops, endings):
    found = {}
    for top in tops:
        for folder, _, names in os.walk(os.path.join(root, top)):
            for name in sorted(names):
                if not name.endswith(endings) or "house" in folder:
                    continue
                path = os.path.relpath(os.path.join(folder, name), root)
                with open(os.path.join(root, path), encoding="utf-8") as f:
                    for number, line in enumerate(f, 1):
                        for tag in TAG.findall(line):
                            found.setdefault(tag, []).append("%s:%d" % (path, number))
    return found


def main():
    root = sys.argv[1] if len(sys.argv) > 1 else "."
    rules = tags(root, ["procedures", "rig", "results"], (".c", ".h"))
    tests = tags(root, ["tests"], (".c", ".py", ".sh"))
    faults = []
    for tag in sorted(set(rules) - set(tests)):
        faults.append("%s: rule %s has no test" % (rules[tag][0], tag))
    for tag in sorted(set(tests) - set(rules)):
        faults.append("%s: a test of rule %s, which no code carries" % (tests[tag][0], tag))
    if not any(place.startswith("procedures/judgement/") for places in rules.values() for place in places):
        faults.append("procedures/judgement carries no rule's tag")
    for fault in faults:
        print(fault)
    print("rules: %d rules, %d tests of them, %d faults" % (len(rules), sum(map(len, tests.values())), len(faults)))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
