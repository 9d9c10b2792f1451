#!/usr/bin/python3
"""What the object files say about two rules. Usage: symbols.py BUILD_DIR

1. procedures/measures, procedures/judgement and results/statistics do no I/O, ask no clock, start no thread: their objects import none of the
   functions below. (Reading a document from a file is es_document_load's business, in rig/base, and may be asked for.)
2. No global mutable state: no object outside a program's own main file defines anything in .data or .bss.

Run it on a build without sanitizers or coverage: those add variables of their own."""

import os
import re
import subprocess
import sys

PURE = ("procedures/measures", "procedures/judgement", "results/statistics")
FORBIDDEN = re.compile(
    r"(f?open|fdopen|freopen|openat|creat|read|pread|readv|write|pwrite|writev|close|f?close|fread|fwrite|fputs|fputc|puts|"
    r"putchar|v?f?printf|__v?f?printf_chk|fgets|fgetc|getc|getline|f?scanf|fflush|perror|stdin|stdout|stderr|"
    r"f?stat|lstat|access|unlink|rename|mkdir|opendir|socket|connect|bind|send|recv|poll|select|ioctl|"
    r"time|clock|clock_gettime|gettimeofday|localtime(_r)?|nanosleep|clock_nanosleep|usleep|sleep|"
    r"s?rand(om)?|drand48|getrandom|randombytes.*|getenv|system|popen|fork|exec.*|exit|abort|"
    r"pthread_.*|es_clock_.*|es_file_.*|es_appender_.*|es_folder_.*|es_log)(64)?(@.*)?$")

# The only mutable objects allowed at file scope: what a signal handler of a program's main file sets.
MAIN_HAS = re.compile(r"\bmain$")


def objects(build):
    for top in ("rig", "drivers", "procedures", "results"):
        for folder, _, names in os.walk(os.path.join(build, top)):
            for name in sorted(names):
                if name.endswith(".c.o"):
                    yield os.path.relpath(os.path.join(folder, name), build)


def table(build, path, *options):
    command = [options[0], *options[1:], os.path.join(build, path)]
    return subprocess.run(command, stdout=subprocess.PIPE, check=True).stdout.decode().splitlines()


def source_of(path):
    """procedures/measures/CMakeFiles/es_measures.dir/x.c.o -> procedures/measures/x.c"""
    return re.sub(r"CMakeFiles/[^/]+\.dir/", "", path)[:-2]


def imported(build, path):
    return [line.split()[-1] for line in table(build, path, "nm", "--undefined-only", "--no-sort")]


def mutable(build, path):
    """Names of sized objects in writable sections (constants with pointers in them are in .data.rel.ro)."""
    names, has_main = [], False
    for line in table(build, path, "objdump", "-t"):
        hit = re.match(r"^[0-9a-f]+ (.{7}) (\S+)\s+([0-9a-f]+)(?: \.hidden)? (\S+)$", line)
        if not hit:
            continue
        flags, section, size, name = hit.groups()
        has_main = has_main or (name == "main" and "F" in flags)
        if "O" in flags and int(size, 16) > 0 and re.fullmatch(r"\.bss.*|\.data(?!\.rel\.ro).*|\*COM\*|\.t(bss|data).*", section):
            names.append(name)
    return [] if has_main else names


def main():
    if len(sys.argv) != 2:
        print("usage: symbols.py BUILD_DIR")
        return 2
    build = sys.argv[1]
    faults = []
    pure = everything = 0
    for path in objects(build):
        everything += 1
        source = source_of(path)
        if source.startswith(PURE):
            pure += 1
            for name in imported(build, path):
                if FORBIDDEN.match(name):
                    faults.append("%s uses %s: measures, judgement and statistics do no input, output, clock, chance or threads" % (
                        source, name))
        for name in mutable(build, path):
            faults.append("%s: '%s' is global mutable state" % (source, name))
    for fault in faults:
        print(fault)
    print("symbols: %d objects, %d of them pure, %d faults" % (everything, pure, len(faults)))
    if pure == 0:
        print("no object of procedures/measures or procedures/judgement found under %s: build first" % build)
    return 1 if faults or pure == 0 else 0


if __name__ == "__main__":
    sys.exit(main())
