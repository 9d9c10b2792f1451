#!/usr/bin/python3
"""Who may include whom, and which system headers. Usage: includes.py [--fix] ROOT

Paths in #include "..." start at the tree's root. --fix rewrites those that are written from their own folder.
The table is the one of DEVELOPERS.md."""

import os
import re
import sys

# folder -> prefixes that it may include (its own is always allowed). The longest matching folder counts.
MAY = {
    "rig/base": [],
    "drivers": ["rig/base"],
    "procedures/measures": ["rig/base"],
    "procedures/judgement": ["rig/base", "procedures/measures"],
    "procedures/engine": ["rig/base", "procedures"],
    "results": ["rig/base", "procedures"],
    "rig/bench": ["rig/base", "drivers", "procedures"],
    "rig/console": ["rig/base"],
    "rig/daemon": ["rig/base", "rig/bench", "rig/console", "drivers", "procedures", "results"],
    # the client speaks the daemon's protocol, and knows nothing else of it
    "rig/client": ["rig/base", "rig/bench", "rig/console", "drivers", "procedures", "results", "rig/study",
                   "rig/daemon/protocol.h"],
    "rig/study": ["rig/base", "rig/bench", "rig/console", "drivers", "procedures"],
    "rig/simulator": ["rig/base", "rig/bench", "rig/console", "drivers", "procedures"],
}

# drivers/* may use the interface, what an exchange needs and the seam, but no driver may use another.
DRIVER_SHARED = ("drivers/driver.h", "drivers/exchange.h", "drivers/transport/")
DRIVERS = ("drivers/modbus/", "drivers/line/", "drivers/virtual/")

THREADS_AND_SOCKETS = re.compile(
    r"pthread\.h|threads\.h|semaphore\.h|sys/(socket|un|epoll|poll|select|eventfd|timerfd|signalfd)\.h|"
    r"netinet/.*|arpa/.*|netdb\.h|poll\.h|signal\.h|modbus.*|libserialport\.h")
NO_SYSTEM = {"procedures": THREADS_AND_SOCKETS, "results/certificate": THREADS_AND_SOCKETS}

INCLUDE = re.compile(r'^\s*#\s*include\s+(["<])([^">]+)[">]')


def folder_rule(path):
    best = None
    for folder in MAY:
        if path.startswith(folder + "/") and (best is None or len(folder) > len(best)):
            best = folder
    return best


def own_part(path):
    """drivers/modbus/x.c -> drivers/modbus/; rig/base/x.c -> rig/base/; drivers/table.c -> drivers/"""
    return os.path.dirname(path) + "/"


def allowed(path, target):
    rule = folder_rule(path)
    if rule is None:
        return False
    if target.startswith(own_part(path)):
        return True
    if any(target == p or target.startswith(p + "/") for p in MAY[rule]):
        return True
    if path.startswith("drivers/"):
        if path.startswith(DRIVERS):
            return target.startswith(DRIVER_SHARED)
        return target.startswith(DRIVER_SHARED) or (path == "drivers/table.c" and target.startswith("drivers/"))
    return target.startswith(rule + "/")


def check_file(root, path, fix, faults):
    with open(os.path.join(root, path), encoding="utf-8") as f:
        lines = f.read().split("\n")
    changed = False
    for number, line in enumerate(lines, 1):
        hit = INCLUDE.match(line)
        if not hit:
            continue
        quote, target = hit.groups()
        where = "%s:%d" % (path, number)
        if quote == "<":
            for folder, forbidden in NO_SYSTEM.items():
                if path.startswith(folder + "/") and forbidden.fullmatch(target):
                    faults.append("%s: <%s>: %s uses no threads, sockets or buses" % (where, target, folder))
            continue
        if not os.path.exists(os.path.join(root, target)):
            beside = os.path.normpath(os.path.join(os.path.dirname(path), target))
            if not os.path.exists(os.path.join(root, beside)):
                faults.append('%s: "%s": no such file from the root of the tree' % (where, target))
                continue
            if fix:
                lines[number - 1] = '#include "%s"' % beside
                changed = True
            else:
                faults.append('%s: "%s": write "%s" (tests/house/includes.py --fix does it)' % (where, target, beside))
            target = beside
        if not path.startswith("tests/") and not allowed(path, target):
            faults.append('%s: "%s": %s may include only its own folder%s' % (
                where, target, folder_rule(path) or os.path.dirname(path),
                "".join(", " + p for p in MAY.get(folder_rule(path), []))))
    if changed:
        with open(os.path.join(root, path), "w", encoding="utf-8") as f:
            f.write("\n".join(lines))


def sources(root):
    for top in ("rig", "drivers", "procedures", "results", "tests"):
        for folder, _, names in os.walk(os.path.join(root, top)):
            for name in sorted(names):
                if name.endswith((".c", ".h")):
                    yield os.path.relpath(os.path.join(folder, name), root)


def main():
    arguments = [a for a in sys.argv[1:] if a != "--fix"]
    root = arguments[0] if arguments else "."
    faults = []
    count = 0
    for path in sources(root):
        count += 1
        check_file(root, path, "--fix" in sys.argv, faults)
    for fault in faults:
        print(fault)
    print("includes: %d files, %d faults" % (count, len(faults)))
    return 1 if faults or count == 0 else 0


if __name__ == "__main__":
    sys.exit(main())
