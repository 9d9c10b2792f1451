"""The canonical form against writers that we did not write: Python's json (numbers by repr, the shortest text that reads back, brought
into ECMAScript's shape) and, where node is installed, ECMAScript itself. Seeded; the seed is printed."""
import json
import random
import shutil
import struct
import subprocess
import sys

probe = sys.argv[1]
seed = int(sys.argv[2]) if len(sys.argv) > 2 else random.SystemRandom().randrange(2**32)
print("seed", seed)
rng = random.Random(seed)


def number():
    kind = rng.randrange(6)
    if kind == 0:
        return float(rng.randrange(-(10**6), 10**6))
    if kind == 1:
        return round(rng.uniform(-1000, 1000), rng.randrange(8))
    if kind == 2:
        return float(f"{rng.randrange(1, 10)}e{rng.randrange(-30, 30)}")
    if kind == 3:
        return float(2.0 ** rng.randrange(-1074, 1023)) * rng.choice([1, -1])
    while True:
        value = struct.unpack("<d", rng.randbytes(8))[0]
        if value == value and abs(value) != float("inf"):
            return value


def text():
    ranges = [(1, 0x1F), (0x20, 0x7F), (0x80, 0x2FF), (0x2028, 0x2029), (0xE000, 0xFFFF), (0x10000, 0x10FFFF)]
    return "".join(chr(rng.randint(*rng.choice(ranges))) for _ in range(rng.randrange(8)))


def value(depth):
    kind = rng.randrange(8 if depth < 4 else 5)
    if kind == 0:
        return rng.choice([True, False, None])
    if kind in (1, 2):
        return number()
    if kind in (3, 4):
        return text()
    if kind == 5:
        return [value(depth + 1) for _ in range(rng.randrange(6))]
    return {text(): value(depth + 1) for _ in range(rng.randrange(8))}


def es_number(x):
    """ECMAScript's Number::toString from repr's digits and exponent."""
    if x == 0:
        return "0"
    mantissa, exponent = f"{abs(x)!r}".split("e") if "e" in repr(x) else (repr(abs(x)), "0")
    whole, _, fraction = mantissa.partition(".")
    if fraction == "0":
        fraction = ""
    n = len(whole) + int(exponent)
    digits = whole + fraction
    stripped = digits.lstrip("0")
    n -= len(digits) - len(stripped)
    digits = stripped.rstrip("0")
    k = len(digits)
    if k <= n <= 21:
        out = digits + "0" * (n - k)
    elif 0 < n <= 21:
        out = digits[:n] + "." + digits[n:]
    elif -6 < n <= 0:
        out = "0." + "0" * -n + digits
    else:
        out = digits[0] + ("." + digits[1:] if k > 1 else "") + f"e{n - 1:+d}"
    return ("-" if x < 0 else "") + out


def canonical(v):
    if isinstance(v, bool) or v is None:
        return json.dumps(v)
    if isinstance(v, float):
        return es_number(v)
    if isinstance(v, str):
        return json.dumps(v, ensure_ascii=False)
    if isinstance(v, list):
        return "[" + ",".join(map(canonical, v)) + "]"
    members = sorted(v.items(), key=lambda m: m[0].encode("utf-16-be"))
    return "{" + ",".join(json.dumps(n, ensure_ascii=False) + ":" + canonical(x) for n, x in members) + "}"


document = [value(0) for _ in range(400)] + [number() for _ in range(4000)]
source = json.dumps(document, indent=1).encode()
result = subprocess.run([probe, "canonical"], input=source, capture_output=True)
assert result.returncode == 0, result.stderr
want = canonical(document).encode()
# Python leaves U+007F alone as RFC 8785 does
assert result.stdout == want, "differs from Python at byte %d" % next(
    i for i, (a, b) in enumerate(zip(result.stdout + b"\0", want + b"\0")) if a != b)
assert len(want) > 50000

node = shutil.which("node")
if node:
    script = """
const sort = v => Array.isArray(v) ? '[' + v.map(sort).join(',') + ']' : v && typeof v === 'object'
  ? '{' + Object.keys(v).sort().map(k => JSON.stringify(k) + ':' + sort(v[k])).join(',') + '}' : JSON.stringify(v);
process.stdout.write(sort(JSON.parse(require('fs').readFileSync(0, 'utf8'))));"""
    result2 = subprocess.run([node, "-e", script], input=source, capture_output=True, check=True)
    assert result2.stdout == result.stdout, "differs from node"
    print("python and node agree on", len(want), "bytes")
else:
    print("python agrees on", len(want), "bytes; node is not installed")
