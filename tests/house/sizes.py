#!/usr/bin/python3
"""Sizes of functions and files. Usage: sizes.py ROOT

A function longer than 120 lines needs a comment just before it that begins "Long:" and says why; 95 of 100 are at most 70 lines;
no file reaches 1,000 lines. Counts on clang-format's layout: a function's body opens and closes at column 0."""

import os
import re
import sys

LONGEST_FUNCTION = 120
PERCENTILE_95 = 70
LONGEST_FILE = 999

START = re.compile(r"^[A-Za-z_].*\(")


def functions(lines):
    """(name, first line, number of lines, comment before it) of each."""
    start = None
    for number, line in enumerate(lines):
        if START.match(line) and not line.rstrip().endswith(";"):
            start = number
        if line == "{" and start is not None:
            end = next((i for i in range(number, len(lines)) if lines[i] == "}"), None)
            if end is None:
                return
            name = re.search(r"(\w+)\(", lines[start]).group(1)
            if name in ("Test", "TestSuite", "Theory", "ParameterizedTest"):
                name = lines[start].rstrip("{ ")
            yield name, start + 1, end - start + 1, "\n".join(lines[max(0, start - 6):start])
            start = None


def main():
    root = sys.argv[1] if len(sys.argv) > 1 else "."
    faults = []
    lengths = []
    files = 0
    for top in ("rig", "drivers", "procedures", "results", "tests"):
        for folder, _, names in os.walk(os.path.join(root, top)):
            for name in sorted(n for n in names if n.endswith((".c", ".h"))):
                path = os.path.relpath(os.path.join(folder, name), root)
                with open(os.path.join(root, path), encoding="utf-8") as f:
                    lines = f.read().split("\n")
                files += 1
                if len(lines) > LONGEST_FILE:
                    faults.append("%s: %d lines; at most %d" % (path, len(lines), LONGEST_FILE))
                for function, line, length, before in functions(lines):
                    if top != "tests":
                        lengths.append((length, path, line, function))
                    if length > LONGEST_FUNCTION and "Long:" not in before:
                        faults.append("%s:%d: %s has %d lines; at most %d, or say why in a comment \"Long: ...\"" % (
                            path, line, function, length, LONGEST_FUNCTION))
    lengths.sort()
    if lengths:
        at95 = lengths[int(0.95 * (len(lengths) - 1))][0]
        if at95 > PERCENTILE_95:
            faults.append("95 of 100 functions have at most %d lines; they should have at most %d. The longest:" % (
                at95, PERCENTILE_95))
            faults += ["  %s:%d: %s, %d lines" % (p, l, f, n) for n, p, l, f in lengths[-10:]]
        print("sizes: %d files, %d functions: median %d lines, 95 %% at most %d, longest %d" % (
            files, len(lengths), lengths[len(lengths) // 2][0], at95, lengths[-1][0]))
    for fault in faults:
        print(fault)
    return 1 if faults or not lengths else 0


if __name__ == "__main__":
    sys.exit(main())
