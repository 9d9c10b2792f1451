#!/usr/bin/python3
"""rig/base against independent readers: Python's json module (accept, refuse, value), and the constants of
scipy.constants (which quotes CODATA and NIST) for units.

    base_against_python.py PROBE [SEED]

Where the project is stricter than RFC 8259 the oracle here is told so, one rule a line (see `ours`)."""

import json
import math
import random
import subprocess
import sys

import scipy.constants as si

FAULTS = []


def expect(holds, what):
    if not holds:
        FAULTS.append(what)
        print("FAIL", what)


# ---- What a document means, by Python ----

class Refused(Exception):
    pass


def strict_number(text):
    if len(text) > 63:
        raise Refused("number longer than 63 characters")
    value = float(text)
    if math.isinf(value):
        raise Refused("number too large")
    return value


def no_constant(text):
    raise Refused(text)  # NaN, Infinity: Python would take them, RFC 8259 does not


def no_doubles(pairs):
    if len({name for name, _ in pairs}) != len(pairs):
        raise Refused("a name twice")
    return dict(pairs)


def ours(value, depth=1):
    """Rules beyond RFC 8259: depth, NUL, unpaired surrogates (which cannot be UTF-8)."""
    if isinstance(value, str):
        if "\0" in value:
            raise Refused("NUL")
        value.encode("utf-8")
    elif isinstance(value, (list, dict)):
        if depth > 64:
            raise Refused("deeper than 64")
        if isinstance(value, dict):
            for name in value:
                ours(name)
        for part in value.values() if isinstance(value, dict) else value:
            ours(part, depth + 1)


def meaning(data):
    """('taken', value) or ('refused', reason)."""
    try:
        text = data.decode("utf-8", errors="strict")
        if text.startswith("\ufeff"):
            raise Refused("byte order mark")
        value = json.loads(text, parse_float=strict_number, parse_int=strict_number,
                           parse_constant=no_constant, object_pairs_hook=no_doubles)
        ours(value)
        return "taken", value
    except (Refused, ValueError, RecursionError) as reason:
        return "refused", str(reason)


# ---- Documents ----

ODD = ["", "0", "-0", "00", "01", "-01", "1.", ".1", "1.0", "1e5", "1E+05", "1e-5", "1e", "1e+", "+1", "- 1", "--1",
       "1_0", "0x1", "1e308", "1e309", "-1e309", "1e-400", "5e-324", "0.1e1", "9007199254740993", "NaN", "Infinity",
       "-Infinity", "nan", "true", "True", "tru", "truee", "null", "nul", "false", "[]", "{}", "[", "]", "{", "}", "[]]",
       "[1,]", "[,1]", "[1,,2]", "[1 2]", "{\"a\":1,}", "{\"a\":1 \"b\":2}", "{\"a\"}", "{\"a\":}", "{:1}", "{a:1}",
       "{'a':1}", "{\"a\":1,\"a\":2}", "{\"a\":1,\"\\u0061\":2}", "{\"a\":{\"a\":1}}", "{\"\":0}", "\"\"", "\"a",
       "\"\\\"", "\"\\\\\"", "\"\\x\"", "\"\\u12\"", "\"\\u00e9\"", "\"\\u0000\"", "\"\\uD800\"", "\"\\uDC00\"",
       "\"\\uD83D\\uDE00\"", "\"\\uD83D\\uD83D\"", "\"\\uD83Dx\"", "\"\\ud83d\\ude00\"", "\"\t\"", "\"\n\"", "\"\x1f\"",
       "\"\x7f\"", "\"\u0080\"", "\"\u2028\"", "\"\U0001F600\"", "'a'", " 1 ", "\t1", "\n1\r", "\f1", "\v1", "\u00a01",
       "1 2", "1//x", "/*x*/1", "#", "[1]x", "\ufeff1", "1\0", "\0", "[" * 64 + "]" * 64, "[" * 65 + "]" * 65,
       "{\"a\":" * 64 + "1" + "}" * 64, "{\"a\":" * 65 + "1" + "}" * 65, "1" * 63, "1" * 64, "0." + "3" * 61,
       "0." + "3" * 62, "[" + ",".join(["1"] * 1000) + "]", "\"" + "x" * 5000 + "\""]

BYTES = [b'"\xff"', b'"\xc3"', b'"\xc0\xaf"', b'"\xed\xa0\x80"', b'"\xf4\x90\x80\x80"', b'"\xe2\x82\xac"', b'"\xe2\x82"',
         b'\xff', b'"\xf0\x8f\xbf\xbf"', b'"\xf0\x90\x80\x80"', b'"\x80"', b'\xef\xbb\xbf', b'\xfe\xff\x001']


def random_text(rng):
    pool = ["a", "b", " ", "\"", "\\", "/", "\b", "\n", "\t", "\x01", "\x7f", "\u00e9", "\u20ac", "\U0001F600", "0"]
    return "".join(rng.choice(pool) for _ in range(rng.randrange(8)))


def random_value(rng, depth=0):
    kind = rng.randrange(9 if depth < 5 else 6)
    if kind == 0:
        return rng.choice([True, False, None])
    if kind in (1, 2):
        return rng.choice([rng.randrange(-1000, 1000), rng.uniform(-1, 1), rng.uniform(-1, 1) * 10.0 ** rng.randrange(-300, 300)])
    if kind in (3, 4, 5):
        return random_text(rng)
    if kind in (6, 7):
        return {random_text(rng): random_value(rng, depth + 1) for _ in range(rng.randrange(5))}
    return [random_value(rng, depth + 1) for _ in range(rng.randrange(5))]


def broken(rng, data):
    """One or two small accidents of the kinds that hands and disks make."""
    data = bytearray(data)
    for _ in range(rng.randrange(1, 3)):
        at = rng.randrange(len(data) + 1)
        kind = rng.randrange(4)
        if kind == 0 and at < len(data):
            del data[at]
        elif kind == 1:
            data[at:at] = rng.choice([b",", b":", b"\"", b"]", b"}", b"[", b"{", b"0", b"-", b".", b"e", b"\\", b" ", b"\xc3"])
        elif kind == 2 and at < len(data):
            data[at] = rng.randrange(256)
        else:
            del data[at:]
    return bytes(data)


def documents(seed):
    rng = random.Random(seed)
    out = [text.encode("utf-8") for text in ODD] + [b"[" + text.encode("utf-8") + b"]" for text in ODD] + BYTES
    for _ in range(400):
        good = json.dumps(random_value(rng), ensure_ascii=rng.random() < 0.5,
                          indent=rng.choice([None, None, 1, 3])).encode("utf-8")
        out.append(good)
        out.append(broken(rng, good))
        out.append(broken(rng, good))
    return out


def same(a, b):
    """Equal, with the same kinds, the same order of members, and -0 told from 0."""
    if isinstance(a, dict):
        return isinstance(b, dict) and list(a) == list(b) and all(same(a[n], b[n]) for n in a)
    if isinstance(a, list):
        return isinstance(b, list) and len(a) == len(b) and all(same(x, y) for x, y in zip(a, b))
    if isinstance(a, float) and isinstance(b, float):
        return a == b and math.copysign(1, a) == math.copysign(1, b)
    return type(a) is type(b) and a == b


def check_documents(probe, seed):
    all_documents = documents(seed)
    given = b"".join(b"%d\n" % len(d) + d for d in all_documents)
    answer = subprocess.run([probe, "json"], input=given, stdout=subprocess.PIPE, check=True, timeout=60).stdout
    lines = answer.decode("utf-8").split("\n")[:-1]
    expect(len(lines) == len(all_documents), "an answer for each document: %d of %d" % (len(lines), len(all_documents)))
    count = {"taken": 0, "refused": 0}
    for data, line in zip(all_documents, lines):
        verdict, wanted = meaning(data)
        got, _, rest = line.partition(" ")
        count[got] += 1
        expect(got == verdict, "%r: Python %s (%s), we %s" % (data[:80], verdict, wanted, line[:120]))
        if got == verdict == "taken":
            expect(same(json.loads(rest, parse_int=float), wanted), "%r: another value: %s" % (data[:80], rest[:120]))
        if got == "refused":
            expect(rest.startswith("not acceptable: document"), "%r: no reason: %s" % (data[:80], line[:120]))
    print("documents: %d taken, %d refused, seed %d" % (count["taken"], count["refused"], seed))
    expect(count["taken"] > 300 and count["refused"] > 300, "both answers must be exercised")


# ---- Units ----

def check_units(probe):
    answer = subprocess.run([probe, "units"], stdout=subprocess.PIPE, check=True, timeout=60).stdout.decode()
    ours_by_name = {}
    for line in answer.splitlines():
        dimension, name, factor, offset = line.split("\t")
        ours_by_name[dimension, name] = float(factor), float(offset)
    scipy = {
        ("pressure", "bar"): si.bar, ("pressure", "psi"): si.psi, ("pressure", "kgf/cm2"): si.kgf / si.centi ** 2,
        ("length", "in"): si.inch, ("length", "um"): si.micron, ("volume", "l"): si.litre,
        ("volume", "in3"): si.inch ** 3, ("volume", "ft3"): si.foot ** 3, ("angle", "deg"): si.degree,
        ("time", "min"): si.minute, ("time", "h"): si.hour, ("time", "d"): si.day,
        ("rate of angle", "deg/s"): si.degree, ("rate of pressure", "psi/s"): si.psi,
        ("rate of pressure", "mbar/min"): si.milli * si.bar / si.minute,
        ("conductance", "dm3/(s bar)"): si.litre / si.bar,
    }
    for key, wanted in scipy.items():
        got = ours_by_name[key][0]
        expect(math.isclose(got, wanted, rel_tol=1e-14), "%s %s: %.17g, scipy %.17g" % (*key, got, wanted))
    for name, scale in (("degC", "Celsius"), ("degF", "Fahrenheit")):
        factor, offset = ours_by_name["temperature", name]
        for written in (-40.0, 0.0, 20.0, 100.0):
            wanted = si.convert_temperature(written, scale, "Kelvin")
            expect(math.isclose(written * factor + offset, wanted, rel_tol=1e-14), "%g %s" % (written, name))

    def amount(pressure, kelvin):
        return pressure / 100e3 * 293.15 / kelvin

    states = {
        "ANR": 1.0, "N": amount(si.atm, si.zero_Celsius), "ISO 2533": amount(si.atm, si.zero_Celsius + 15),
        "scf": amount(si.atm, si.convert_temperature(60.0, "Fahrenheit", "Kelvin")),
    }
    gas = {
        "l/h ANR": states["ANR"] * si.litre / si.hour, "Nl/h": states["N"] * si.litre / si.hour,
        "Nl/min": states["N"] * si.litre / si.minute, "Nm3/h": states["N"] / si.hour,
        "l/min ISO 2533": states["ISO 2533"] * si.litre / si.minute, "scfh": states["scf"] * si.foot ** 3 / si.hour,
        "scfm": states["scf"] * si.foot ** 3 / si.minute,
        "mbar l/s (20 degC)": si.milli * si.bar * si.litre / 100e3,
    }
    for name, wanted in gas.items():
        got = ours_by_name["flow", name][0]
        expect(math.isclose(got, wanted, rel_tol=1e-13), "%s: %.17g, from the states %.17g" % (name, got, wanted))
    print("units: %d against scipy.constants, of %d" % (len(scipy) + len(gas) + 2, len(ours_by_name)))


def main():
    probe = sys.argv[1]
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 20260203
    check_documents(probe, seed)
    check_units(probe)
    print("%d faults" % len(FAULTS))
    return 1 if FAULTS else 0


if __name__ == "__main__":
    sys.exit(main())
