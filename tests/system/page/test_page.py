"""The printed page, read by others: poppler for text, boxes and pixels, zbar for the code, an XML parser for SVG."""
import copy
import html
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree

from made import Key, document, line, signed

ENDSTOP = pathlib.Path(os.environ["ES_BUILD_DIR"]) / "rig/client/endstop"
PROBE = pathlib.Path(os.environ["ES_BUILD_DIR"]) / "tests/system/page/page_probe"
FOLDER = pathlib.Path(tempfile.mkdtemp(prefix="es-page-"))
POINT = 25.4 / 72
faults = []
BENCH, OTHER = Key(), Key()


def check(ok, what):
    if not ok:
        faults.append(what)
        print("FAULT:", what)


def run(*command, **more):
    return subprocess.run([str(c) for c in command], capture_output=True, **more)


def squeeze(text):
    """Readers disagree on where blanks and line ends are; the letters and their order are what counts."""
    return re.sub(r"\s+", "", text)


def trusted(key, name="bench.pub.json"):
    path = FOLDER / name
    path.write_text(key.jwk.export_public())
    return path


class Page:
    """One certificate drawn as PDF, and what poppler reads in it."""

    def __init__(self, name, doc, signers=None, trust=True):
        self.file = FOLDER / (name + ".json")
        data, self.digest = signed(doc, signers or [(BENCH, "bench", {})])
        self.file.write_bytes(data)
        self.draw(name, ["--key", trusted(BENCH)] if trust else [])

    @classmethod
    def of(cls, name, file, key):
        page = cls.__new__(cls)
        page.file = file
        page.draw(name, key)
        return page

    def draw(self, name, key):
        self.pdf = FOLDER / (name + ".pdf")
        self.pdf.unlink(missing_ok=True)
        self.ran = run(ENDSTOP, "page", self.file, "--output", self.pdf, *key)
        self.drawn = self.ran.returncode == 0
        check(self.drawn, "%s: drawn (%s)" % (name, self.ran.stderr.decode()))
        self.name = name
        self.text = squeeze(run("pdftotext", "-raw", self.pdf, "-").stdout.decode(errors="replace")) if self.drawn else ""
        info = run("pdfinfo", self.pdf).stdout.decode(errors="replace") if self.drawn else ""
        found = re.search(r"Pages:\s+(\d+)", info)
        self.pages = int(found.group(1)) if found else 0
        self.info = info

    def has(self, *texts):
        for text in texts:
            check(squeeze(text) in self.text, "%s: says %r" % (self.name, text))

    def words(self):
        """(page, x0, y0, x1, y1 in mm, word) of every word."""
        out, page = [], 0
        for row in run("pdftotext", "-bbox", self.pdf, "-").stdout.decode(errors="replace").splitlines():
            if "<page " in row:
                page += 1
            hit = re.search(r'xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*)</word>', row)
            if hit:
                out.append((page, *(float(v) * POINT for v in hit.groups()[:4]), html.unescape(hit.group(5))))
        return out

    def check_layout(self, most_pages):
        """Nothing leaves the print area, nothing stands on something else, every page carries its marks."""
        words = self.words()
        check(len(words) > 20, self.name + ": poppler finds its words")
        check(1 <= self.pages <= most_pages, "%s: %d pages, at most %d" % (self.name, self.pages, most_pages))
        for word in words:
            inside = 12 <= word[1] and word[3] <= 198.5 and 10 <= word[2] and word[4] <= 292
            check(inside, "%s: %r lies outside the print area: %s" % (self.name, word[5], word[:5]))
        for page in range(1, self.pages + 1):
            on = [w for w in words if w[0] == page]
            check("page %d of %d" % (page, self.pages) in " ".join(w[5] for w in on), "%s: page %d counted" % (self.name, page))
            self.check_apart(on)

    def check_apart(self, words):
        """Boxes hold the line's whole height: a third of the smaller one in common means one printed over the other."""
        words = sorted(words, key=lambda w: w[2])
        for i, a in enumerate(words):
            for b in words[i + 1:]:
                if b[2] > a[4]:
                    break
                wide = min(a[3], b[3]) - max(a[1], b[1])
                tall = min(a[4], b[4]) - max(a[2], b[2])
                least = min((a[3] - a[1]) * (a[4] - a[2]), (b[3] - b[1]) * (b[4] - b[2]))
                check(wide <= 0 or tall <= 0 or wide * tall < 0.34 * least,
                      "%s: %r and %r stand on one another" % (self.name, a[5], b[5]))


def code_of(page, dpi=150):
    """What an outside reader sees in the page's code, printed at `dpi`."""
    for n in range(page.pages, 0, -1):
        image = FOLDER / ("%s-%d" % (page.name, n))
        run("pdftoppm", "-r", dpi, "-f", n, "-l", n, "-gray", "-singlefile", "-png", page.pdf, image)
        seen = run("zbarimg", "-q", "--raw", "-Sdisable", "-Sqrcode.enable", str(image) + ".png").stdout.decode(errors="replace")
        if seen.strip():
            return seen.strip()
    return ""


def test_content():
    doc = document(BENCH)
    page = Page("content", doc)
    page.check_layout(2)
    page.has("EX-000042", "SN-77-0815", "FV-101", "PASS", "Certificate of a test", "Example laboratory (invented)",
             "1 Invented Road", "Place of test: Hall 7", "Example customer", "as left", "returned", "relay",
             "2026-02-03 10:11:12 UTC", "Plan title", "Type sheet title", "First procedure", "A. Example", "pressure gauge",
             "EX-P-1", "2027-01-02", "Keep hands away.", "confirmed by A. Example", "Statement 5 of the test.", "k = 2.10",
             "guarded acceptance", "all 4 lines that decide pass", BENCH.thumbprint, page.digest, "25.0 %",
             "End of certificate EX-000042", "limit of travel: invented for the test")
    # values as JCGM 100 7.2.6 rounds them, beside their limits
    page.has("29.8126 ± 0.0071 mm", "29.4 to 30.6", "0.19 ± 0.12 Nl/h", "≤ 3", "955.8 ± 9.9 Nl/h", "≥ 400",
             "-0.500 ± 0.040 °", "-1 to 1", "ambient temperature 20.12 ± 0.39 °C")
    check("VIRTUAL" not in page.text, "a real bench is not called virtual")
    for dpi in (150, 200, 300):
        expected = "certificate EX-000042\ncontent sha256 %s\nsigner %s" % (page.digest, BENCH.thumbprint)
        check(code_of(page, dpi) == expected, "the code reads as documented at %d dpi" % dpi)


def test_same_bytes():
    page = Page("same", document(BENCH))
    again = FOLDER / "again.pdf"
    strange = dict(os.environ, TZ="Asia/Kathmandu", HOME=str(FOLDER), LC_ALL="C", FONTCONFIG_FILE="/nonexistent")
    run(ENDSTOP, "page", page.file, "--key", trusted(BENCH), "--output", again, env=strange)
    check(page.pdf.read_bytes() == again.read_bytes(), "the same certificate gives the same bytes")
    check(re.search(r"CreationDate:.* Feb +3 .*2026", page.info) is not None, "dated as the certificate: " + page.info)
    out = run(ENDSTOP, "page", page.file, "--key", trusted(BENCH), "--output", "-")
    check(out.stdout == page.pdf.read_bytes(), "standard output takes the same bytes")
    here = FOLDER / "here"
    here.mkdir()
    made = run(ENDSTOP, "page", page.file, cwd=here)
    check(made.stdout == b"EX-000042.pdf\n" and (here / "EX-000042.pdf").exists(), "named by its number without --output")


def test_svg():
    doc = document(BENCH)
    doc["unit"]["serial"] = "A<b>&\"c"
    page = Page("svg", doc)
    drawn = FOLDER / "svg.svg"
    for _ in range(2):
        check(run(ENDSTOP, "page", page.file, "--output", drawn).returncode == 0, "SVG drawn")
        first = drawn.read_bytes() if _ == 0 else first
    check(first == drawn.read_bytes(), "the same SVG twice")
    root = xml.etree.ElementTree.parse(drawn).getroot()
    space = {"s": "http://www.w3.org/2000/svg"}
    check(root.find("s:title", space).text == "Certificate of a test", "SVG has a title")
    words = squeeze(root.find("s:desc", space).text)
    check("A<b>&\"c" in words and "29.8126" in words and "page1of" in words, "SVG carries its words")


def test_letter():
    page = Page("letter", document(BENCH))
    drawn = FOLDER / "letter-us.pdf"
    check(run(ENDSTOP, "page", page.file, "--paper", "letter", "--output", drawn).returncode == 0, "letter drawn")
    info = run("pdfinfo", drawn).stdout.decode()
    check("612" in info and "792" in info, "612 x 792 points, ANSI/ASME Y14.1 size A: " + info)
    check("595.2" in page.info and "841.8" in page.info, "ISO 216 A4 else: " + page.info)
    ran = run(ENDSTOP, "page", page.file, "--paper", "b5", "--output", FOLDER / "b5.pdf")
    check(ran.returncode == 2 and b"a4 or letter" in ran.stderr, "a paper that is neither")


def check_sources(page):
    """Every limit stands once, and every part of its source; what several sources share may stand once."""
    for source in json.loads(page.file.read_text())["limit_sources"]:
        page.has(", ".join(source["limits"]), *re.split(r": |; ", source["source"]))


def test_sources():
    """What sources share stands once, at the head of theirs; none gets another's."""
    doc = document(BENCH)
    common, figure = "common practice, no published source", "figure: invented: nobody knows"
    doc["limit_sources"] = [{"limits": names, "source": text} for names, text in (
        (["a1", "a2"], "%s: air comes; %s" % (common, figure)), (["b"], "a handbook, table 3"), (["c"], "%s: it stays; %s" % (common, figure)),
        (["d"], common), (["e"], "%s: it holds; figure: 0.3 bar" % common), (["f"], "a: b"), (["g"], "a: c"), (["h"], ""),
        (["i"], "one; two: three; four"), (["j"], ": ; "), (["k"], "%s: ; %s" % (common, figure)), (["l"], "%s: " % common))]
    page = Page("sources", doc)
    page.check_layout(2)
    dot = "  \u00b7  "
    page.has("%s; %s \u2014 " % (common, figure) + dot.join(("a1, a2: air comes", "c: it stays", "k")),
             common + " \u2014 " + dot.join(("d", "e: it holds; figure: 0.3 bar", "l")),
             dot.join(("b: a handbook, table 3", "f: a: b", "g: a: c", "h", "i: one; two: three; four", "j: : ; ")))
    check(page.text.count(squeeze(common)) == 2, "said once for each group, not %d times" % page.text.count(squeeze(common)))


def test_shipped_plans():
    """Runs of shipped plans on the virtual bench; how many pages each may take."""
    leak = ["relay seat leaks to output 1", "0.5"]
    for name, most, sheet, plan, fault in (
            ("swap", 2, "linear-single-acting", "after-relay-swap", []), ("leak", 2, "linear-single-acting", "after-relay-swap", leak),
            ("double", 2, "part-turn-double-acting", "after-relay-swap", []),
            ("double-leak", 2, "part-turn-double-acting", "after-relay-swap", leak),
            ("double-linear", 2, "linear-double-acting", "after-relay-swap", []),
            ("module", 2, "relay-module-double-acting", "incoming-relay-module", leak),
            ("complete", 3, "part-turn-double-acting", "incoming-complete-unit", []),
            ("self-proof", 2, "self-proof-block", "bench-self-proof", [])):
        folder = FOLDER / "shipped"
        folder.mkdir(exist_ok=True)
        made = run(PROBE, folder, name, sheet, plan, *fault)
        check(made.returncode == 0, "%s: made (%s)" % (name, made.stderr.decode()))
        page = Page.of(name, folder / (name + ".json"), ["--key", folder / "bench.pub.pem", "--key", folder / "person.pub.pem"])
        page.check_layout(most)
        page.has("Released by Rosa Example", "EX-2231-07", "hunts about half stroke")
        check(code_of(page).startswith("certificate EX-000118"), name + ": the code reads")
        check_sources(page)
        whole = run("qpdf", "--check", page.pdf)
        check(whole.returncode == 0, "%s: qpdf finds no fault: %s" % (name, whole.stdout.decode()))
        if fault:
            page.has("FAIL", "What did not pass", "leak of output 1 at nominal supply", "is above the upper limit")


def test_trust():
    doc = document(BENCH)
    page = Page("trusted", doc, [(BENCH, "bench", {}), (OTHER, "release", {"name": "R. Example"})])
    page.has("Checked: the signature holds, with a key that was trusted", "bench.pub.json", "Signed as release", "R. Example",
             OTHER.thumbprint, "Whose key this is was not checked")
    page = Page("untrusted", doc, trust=False)
    page.has("Whose key this is was not checked")
    check("Checked:" not in page.text, "nothing is called checked without a key")


def test_refused():
    data, _ = signed(document(BENCH), [(BENCH, "bench", {})])
    cases = {"altered": (data.replace(b"SN-77-0815", b"SN-77-0816"), 1), "foreign": (b'{"a":1}', 2), "text": (b"hello", 2),
             "spaced": (data.replace(b'"bench":', b'"bench": ', 1), 1)}
    for name, (content, status) in cases.items():
        file, out = FOLDER / ("bad-%s.json" % name), FOLDER / ("bad-%s.pdf" % name)
        file.write_bytes(content)
        ran = run(ENDSTOP, "page", file, "--output", out)
        check(ran.returncode == status and not out.exists() and ran.stderr, "%s: refused with %d, not %d" % (
            name, status, ran.returncode))
    good = FOLDER / "good.json"
    good.write_bytes(data)
    out = FOLDER / "other.pdf"
    ran = run(ENDSTOP, "page", good, "--key", trusted(OTHER, "other.json"), "--output", out)
    check(ran.returncode == 1 and not out.exists(), "signed by another key than the trusted one")
    ran = run(ENDSTOP, "page", good, "--output", FOLDER / "page.png")
    check(ran.returncode == 2 and b".pdf or .svg" in ran.stderr, "an ending that is neither")
    check(run(ENDSTOP, "page", FOLDER / "missing.json").returncode == 2, "a missing file")


def test_verdicts():
    for verdict, word in (("fail", "FAIL"), ("conditional pass", "CONDITIONAL PASS"), ("conditional fail", "CONDITIONAL FAIL"),
                          ("not tested", "NOT TESTED")):
        doc = document(BENCH)
        doc["verdict"] = verdict
        doc["lines"] = [line("bad one", 5.0, 0.1, None, 2, verdict), line("good one")]
        page = Page("verdict-" + verdict.replace(" ", "-"), doc)
        page.check_layout(2)
        page.has(word, "because of the test", "bad one", "1 %s, 1 pass, of 2 lines that decide" % verdict)


def test_record():
    doc = document(BENCH)
    doc.update(kind="record", title="Record of a test that was not completed")
    del doc["verdict"]
    doc["run"].update(completed=False, ended_because="the interlock acted: guard open", safe_state_after_s=0.21)
    for item in doc["lines"]:
        for name in ("verdict", "guard_band", "false_acceptance"):
            del item[name]
    page = Page("record", doc)
    page.check_layout(2)
    page.has("NOT COMPLETED", "the interlock acted: guard open", "judges nothing", "safe state 0.21 s", "29.8126")
    check("Risk" not in page.text and "≤ 3" not in page.text, "a record is not held against limits")


def test_virtual_and_void():
    doc = document(BENCH)
    doc["bench"]["virtual"] = True
    page = Page("virtual", doc)
    check(page.text.count("VIRTUALBENCH") >= page.pages + 1, "every page of a virtual bench says so")
    page = Page("void", document(BENCH), [(BENCH, "bench", {}), (OTHER, "void", {"name": "V. Example", "reason": "wrong unit"})])
    page.has("VOID: taken out of force on 2026-02-03 by V. Example: wrong unit")


def thirty_lines(doc):
    doc["procedures"] = [dict(doc["procedures"][0], name="p%d" % p, title="Procedure number %d" % p) for p in range(5)]
    doc["lines"] = [line("measurand number %d of the long list" % n, 1 + n / 100, 0.05, procedure="p%d" % (n // 6)) for n in range(30)]
    doc["curves"] = [dict(doc["curves"][0], recording="recording %d" % n) for n in range(6)]
    doc["instruments"] = [dict(doc["instruments"][0], name="instrument %d" % n) for n in range(8)]
    return 2


def long_names(doc):
    tail = " with a name that goes on and on because somebody wrote down everything that came to mind"
    doc["laboratory"] = {"name": "Laboratory" + tail, "address": "Road" + tail, "place_of_test": "Hall" + tail}
    doc["unit"] = {"serial": "S" * 70, "tag": "T-" * 30, "type": "Type" + tail}
    doc.update(customer="Customer" + tail, reason="Reason" + tail, parts_replaced="Parts" + tail, title="Title" + tail)
    doc["lines"] = [line("Measurand %d" % n + tail, 123456.789, 0.001, -1e9, 1e9, unit="l/min ANR") for n in range(12)]
    doc["instruments"] = [{"name": "Instrument" + tail, "identity": "Identity" + tail, "calibration": "Calibration" + tail}]
    doc["procedures"][0]["title"] = "Procedure" + tail
    doc["curves"][0].update(recording="Recording" + tail, series="Series" + tail)
    return 3


SCRIPTS = {"Cyrillic": "Позиционер Пример", "Greek": "Εργαστήριο Παράδειγμα", "CJK": "示例工場株式会社", "Korean": "예시작업장",
           "Arabic": "ورشة المثال", "Hebrew": "בית מלאכה", "accents": "Zażółć gęślą jaźń ÅÄÖ ñ", "Thai": "ตัวอย่าง"}


def other_scripts(doc):
    doc["customer"] = " / ".join(SCRIPTS[s] for s in ("Cyrillic", "Greek", "CJK", "Korean", "accents"))
    doc["laboratory"]["name"] = SCRIPTS["Greek"]
    doc["unit"]["tag"] = SCRIPTS["CJK"]
    doc["run"]["person"] = SCRIPTS["Cyrillic"]
    doc["lines"].append(line(SCRIPTS["Arabic"]))
    doc["lines"].append(line(SCRIPTS["Hebrew"]))
    doc["lines"].append(line("прогиб " + SCRIPTS["CJK"]))
    return 2


def missing_values(doc):
    for name in ("laboratory", "customer", "state", "reason", "parts_replaced", "environment", "confirmations", "curves"):
        doc.pop(name, None)
    doc["unit"] = {"serial": "1"}
    doc["instruments"] = []
    doc["lines"] = [line("only one", None, None, verdict="not tested"), line("no U", 1.0, 0),
                    line("huge", 1e300, 1e299, None, 1e301), line("tiny", 1e-300, 1e-301, -1e-299, 1e-299)]
    doc["verdict"] = "not tested"
    return 2


def hostile(doc):
    nasty = "\u202eevil\u2066 \u0007\u001b[31m %s%n <script>&amp; \u200b\ufeff \\ \" ' \u0300\u0301\u0302"
    doc["unit"] = {"serial": nasty, "tag": "\n\n\n", "type": "\u0301" * 200}
    doc.update(customer=nasty * 30, reason="x" * 3000, title=nasty, parts_replaced="\t" * 50)
    doc["lines"] = [line(nasty + str(n), 1e308, 1e-308, -1e308, 1e308) for n in range(3)]
    doc["lines"] += [line("w" * 2000, -5, 0, None, 0), line("equal limits", 1, 0.1, 1, 1), line("turned limits", 1, 0.1, 3, 2)]
    doc["statements"] = [nasty * 20] * 6
    doc["curves"] = [{"recording": nasty, "series": nasty, "unit": nasty, "t_s": [0, 0, 0], "y": [1e308, -1e308, 0]},
                     {"recording": "one", "series": "s", "unit": "", "t_s": [5], "y": [5]},
                     {"recording": "none", "series": "s", "unit": "", "t_s": [], "y": []}]
    return 4


def trials(doc):
    """Thirty lines, so that they stand in two columns, some of them with intervals by Monte Carlo."""
    thirty_lines(doc)
    doc["lines"][3]["monte_carlo"] = {"low": 0.93, "high": 1.48, "u": 0.1, "trials": 20000, "stable": True}
    doc["lines"][4]["monte_carlo"] = {"low": 0.99, "high": 1.09, "u": 0.025, "trials": 20000, "stable": True}
    doc["lines"][5].update(verdict="fail", reason="it is too much", k=2.57)
    doc["lines"][6]["limit"]["required"] = False
    doc["lines"][7]["unit"] = "dm3/(s bar)"
    for n in range(12, 18):
        del doc["lines"][n]["value"]
        doc["lines"][n].update(verdict="not tested", reason="nobody was there")
    return 2


def causes(doc):
    doc["verdict"] = "fail"
    doc["lines"][0].update(verdict="fail", reason="too long")
    doc["interpretation"] = {
        "about": "likely causes", "no_fault": 0.001, "learned_from": "study of 2000 units", "assumptions": ["One fault at a time."],
        "causes": [{"cause": "relay seat leaks", "place": "unit", "probability": 0.91, "evidence": ["leak failed: so in 98 %"]},
                   {"cause": "fitting leaks", "place": "mounting", "probability": 0.062}],
        "next_check": {"do": "repeat with a blind plug", "caution": "Vent before loosening a fitting.", "minutes": 4}}
    return 2


def test_stress():
    for make in (thirty_lines, long_names, other_scripts, missing_values, hostile, causes, trials):
        doc = copy.deepcopy(document(BENCH))
        most = make(doc)
        page = Page("stress-" + make.__name__, doc)
        if not page.drawn:
            continue
        page.check_layout(most)
        check(code_of(page).startswith("certificate EX-000042"), make.__name__ + ": the code reads")
        if make is thirty_lines:
            page.has(*["measurand number %d of the long list" % n for n in range(30)])
            page.has(*["recording %d" % n for n in range(6)], *["instrument %d" % n for n in range(8)])
        elif make is other_scripts:
            page.has(*[SCRIPTS[s] for s in ("Cyrillic", "Greek", "CJK", "Korean", "accents")], "прогиб")
            fonts = run("pdffonts", page.pdf).stdout.decode(errors="replace")
            check("OpenSans" in fonts and "DejaVuSans" in fonts and "WenQuanYi" in fonts, "fonts for all scripts: " + fonts)
        elif make is missing_values:
            page.has("Laboratory not stated", "only one", "not tested")
        elif make is hostile:
            page.has("\\u{202E}evil", "\\u{001B}[31m", "%s%n <script>&amp;")
        elif make is trials:
            page.has("What did not pass", "it is too much", "6 lines of “Procedure number 2”: nobody was there", "all its 6 lines",
                     "+0.450 −0.100 mm", "± 0.050 mm", "MC", "Monte Carlo trials (JCGM 101)", "2.57", "(≤ 2)", "dm3/(s bar)",
                     "Passed, but close to a limit", "All results", "k = 2.10 where no other k stands beside it")
        elif make is causes:
            page.has("Likely causes", "91 %", "relay seat leaks (unit)", "6.2 %", "repeat with a blind plug (about 4 min)",
                     "Caution: Vent before loosening a fitting.", "An interpretation, no result.")


for name, test in list(globals().items()):
    if name.startswith("test_"):
        test()
print("page: %d faults%s" % (len(faults), ", see %s" % FOLDER if faults else ""))
if not faults:
    shutil.rmtree(FOLDER)
sys.exit(1 if faults else 0)
