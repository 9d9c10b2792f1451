#!/usr/bin/python3
"""The checks of the house against small trees made right and made wrong on purpose: a check that lets a fault pass is
worse than none. Usage: checks_can_fail.py C_COMPILER"""

import os
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
FAULTS = []

GOOD = {
    "rig/base/error.h": "int es_fine(void);\n",
    "rig/base/error.c": '#include "rig/base/error.h"\n\nint es_fine(void)\n{\n    return 1;\n}\n',
    "procedures/judgement/judge.c": '#include "rig/base/error.h"\n\n/* [rule:one] */\nstatic const char *const words[] = {"a", "b"};\n\n'
                                    "const char *es_word(int i)\n{\n    return words[i & 1];\n}\n",
    "tests/unit/judge_test.c": "/* [rule:one] */\n",
}


def long_function(lines, comment=""):
    return comment + "int es_long(int i)\n{\n" + "    i++;\n" * (lines - 4) + "    return i;\n}\n"


# check, files that replace or join the good ones, what must be said (None: must pass)
CASES = [
    ("includes.py", {}, None),
    ("includes.py", {"drivers/a.c": '#include "procedures/judgement/judge.c"\n'}, "may include only"),
    ("includes.py", {"rig/base/x.c": '#include "drivers/driver.h"\n', "drivers/driver.h": "\n"}, "may include only"),
    ("includes.py", {"drivers/modbus/x.c": '#include "drivers/line/y.h"\n', "drivers/line/y.h": "\n"}, "may include only"),
    ("includes.py", {"procedures/judgement/x.c": "#include <pthread.h>\n"}, "no threads"),
    ("includes.py", {"procedures/judgement/x.c": '#include "rig/base/none.h"\n'}, "no such file"),
    ("includes.py", {"rig/base/x.c": '#include "error.h"\n'}, 'write "rig/base/error.h"'),
    ("includes.py", {"rig/client/x.c": '#include "rig/daemon/office.h"\n', "rig/daemon/office.h": "\n"}, "may include only"),
    ("sizes.py", {"rig/base/x.c": long_function(70)}, None),
    ("sizes.py", {"rig/base/x.c": long_function(121)}, "121 lines"),
    ("sizes.py", {"rig/base/x.c": "int i;\n" * 1000}, "at most 999"),
    ("sizes.py", {"rig/base/%s.c" % c: long_function(80) for c in "abcdefgh"}, "95 of 100"),
    ("rules.py", {}, None),
    ("rules.py", {"tests/unit/judge_test.c": "\n"}, "has no test"),
    ("rules.py", {"tests/unit/more_test.c": "/* [rule:two] */\n"}, "no code carries"),
    ("rules.py", {"procedures/judgement/judge.c": "\n", "tests/unit/judge_test.c": "\n"}, "carries no rule"),
    ("symbols.py", {}, None),
    ("symbols.py", {"procedures/judgement/x.c": "#include <time.h>\nlong es_t(void)\n{\n    return time(0);\n}\n"}, "uses time"),
    ("symbols.py", {"procedures/measures/x.c": "#include <stdio.h>\nvoid es_p(void)\n{\n    puts(\"some words\");\n}\n"}, "uses puts"),
    ("symbols.py", {"procedures/measures/x.c": "long es_clock_now(void);\nlong es_t(void)\n{\n    return es_clock_now();\n}\n"},
     "uses es_clock_now"),
    ("symbols.py", {"rig/base/x.c": "int es_f(void)\n{\n    static int calls;\n    return ++calls;\n}\n"}, "global mutable state"),
    ("symbols.py", {"rig/base/x.c": "int es_counter = 3;\n"}, "global mutable state"),
    ("symbols.py", {"rig/base/x.c": "static int stop;\nint main(void)\n{\n    return ++stop;\n}\n"}, None),
]


def build(compiler, root):
    """Objects where CMake would put them."""
    for folder, _, names in list(os.walk(root)):
        for name in names:
            source = os.path.relpath(os.path.join(folder, name), root)
            if not name.endswith(".c") or source.startswith("tests/"):
                continue
            out = os.path.join(root, os.path.dirname(source), "CMakeFiles", "part.dir", name + ".o")
            os.makedirs(os.path.dirname(out), exist_ok=True)
            subprocess.run([compiler, "-O1", "-fPIC", "-I", root, "-c", os.path.join(root, source), "-o", out], check=True)


def run_case(compiler, check, files, wanted):
    with tempfile.TemporaryDirectory() as root:
        for path, text in {**GOOD, **files}.items():
            full = os.path.join(root, path)
            os.makedirs(os.path.dirname(full), exist_ok=True)
            with open(full, "w", encoding="utf-8") as f:
                f.write(text)
        if check == "symbols.py":
            build(compiler, root)
        done = subprocess.run([sys.executable, os.path.join(HERE, check), root], stdout=subprocess.PIPE, timeout=60)
        said = done.stdout.decode()
        good = done.returncode == 0 if wanted is None else done.returncode == 1 and wanted in said
        if not good:
            FAULTS.append(check)
            print("FAIL %s with %s: status %d, wanted %s, said:\n%s" % (
                check, list(files), done.returncode, wanted or "a pass", said))


def main():
    for check, files, wanted in CASES:
        run_case(sys.argv[1], check, files, wanted)
    print("%d cases, %d faults" % (len(CASES), len(FAULTS)))
    return 1 if FAULTS else 0


if __name__ == "__main__":
    sys.exit(main())
