"""What people read about the programs is what the programs do: manual pages, --help, and the commands in the documents."""
import os
import re
import shutil
import subprocess
import sys
import tempfile
import unittest

SOURCE = os.path.abspath(os.path.join(os.path.dirname(__file__), "..", "..", ".."))
BUILD = os.environ["ES_BUILD_DIR"]
PROGRAMS = {"endstop": "rig/client/endstop", "endstopd": "rig/daemon/endstopd", "endstop-sim": "rig/simulator/endstop-sim"}
MANUALS = {"endstop": "endstop.1", "endstopd": "endstopd.8", "endstop-sim": "endstop-sim.1"}


def run(program, *arguments):
    return subprocess.run([os.path.join(BUILD, PROGRAMS[program]), *arguments], capture_output=True, text=True, timeout=30)


def options_of_help(program, *verb):
    """Names of all options that --help lists, --help itself aside."""
    text = run(program, *verb, "--help").stdout
    return set(re.findall(r"^ {1,4}--([a-z-]+)", text, re.M)) - {"help", "version"}


VERBS = re.findall(r"^  ([a-z]+) {2,}", run("endstop", "--help").stdout, re.M)
OPTIONS = {verb: options_of_help("endstop", verb) for verb in VERBS}


def manual(name):
    with open(os.path.join(SOURCE, "docs", "man", name + ".scd")) as f:
        return f.read()


def rendered(path):
    """A page as man shows it, and what groff complained about (-ww)."""
    shown = subprocess.run(["man", "--warnings", "-E", "UTF-8", "-l", path], capture_output=True, text=True,
                           env=dict(os.environ, MANWIDTH="100", MAN_KEEP_FORMATTING="", PAGER="cat"))
    return re.sub(r".\x08", "", shown.stdout), shown.stderr


class Pages(unittest.TestCase):
    def setUp(self):
        temporary = tempfile.TemporaryDirectory(prefix="endstop-man-")
        self.addCleanup(temporary.cleanup)
        self.folder = temporary.name

    def test_each_verb_has_a_page_with_the_options_of_its_help(self):
        self.assertGreater(len(VERBS), 10)
        for verb in VERBS:
            with self.subTest(verb=verb):
                made = run("endstop", "manual", verb)
                self.assertEqual(made.returncode, 0, made.stderr)
                path = os.path.join(self.folder, f"endstop-{verb}.1")
                with open(path, "w") as f:
                    f.write(made.stdout)
                text, complaints = rendered(path)
                self.assertEqual(complaints, "")
                self.assertEqual(set(re.findall(r"^ {7}--([a-z-]+)", text, re.M)) - {"help"}, OPTIONS[verb])
                self.assertIn(f"NAME endstop-{verb} - ", " ".join(text.split()))

    @unittest.skipUnless(shutil.which("scdoc"), "scdoc is not installed")
    def test_pages_by_hand_render_without_complaint(self):
        for name in MANUALS.values():
            with self.subTest(page=name):
                made = subprocess.run(["scdoc"], input=manual(name), capture_output=True, text=True)
                self.assertEqual(made.returncode, 0, made.stderr)
                path = os.path.join(self.folder, name)
                with open(path, "w") as f:
                    f.write(made.stdout)
                text, complaints = rendered(path)
                self.assertEqual(complaints, "")
                self.assertIn("NAME", text)

    def test_the_first_page_knows_every_verb_and_no_option_that_is_not_there(self):
        verbs = manual("endstop.1").split("# VERBS")[1].split("\n# ")[0]
        told = {}
        for entry in re.split(r"\n(?=\*)", verbs):
            head = re.match(r"\s*\*([a-z]+)", entry)
            if head:
                told[head.group(1)] = told.get(head.group(1), "") + entry
        self.assertEqual(set(told), set(VERBS))
        for verb, entry in told.items():
            own = entry.replace("*run --job*", "")
            named = {o for o in re.findall(r"\*--([a-z-]+)", own)}
            self.assertLessEqual(named, OPTIONS[verb] | {"help"}, verb)
            self.assertIn(f"endstop-{verb}*(1)", manual("endstop.1"))

    def test_the_other_programs_pages_have_the_options_of_their_help(self):
        for program in ("endstopd", "endstop-sim"):
            section = manual(MANUALS[program]).split("# OPTIONS")[1].split("\n# ")[0]
            told = {o for row in re.findall(r"^\*--.*", section, re.M) for o in re.findall(r"\*--([a-z-]+)", row)}
            self.assertEqual(told - {"help", "version"}, options_of_help(program), program)


def commands(path):
    """(line number, words) of every command of ours in a document's sh blocks, continued lines joined."""
    with open(path) as f:
        rows = f.read().split("\n")
    inside, command, began = False, "", 0
    for n, row in enumerate(rows, 1):
        stripped = row.strip()
        if re.match(r"(\d+\. |- )?```", stripped):
            inside = stripped.rstrip().endswith("```sh")
            continue
        if not inside:
            continue
        command, began = (command, began) if command else ("", n)
        command += " " + stripped.rstrip("\\")
        if stripped.endswith("\\"):
            continue
        words = re.sub(r"'[^']*'|\"[^\"]*\"", "TEXT", command.split(" #")[0]).split()
        command = ""
        while words and (words[0] in ("sudo", "-u", "runuser", "--", "env") or words[0].startswith(("_", "endstop=")) or "=" in words[0]):
            words = words[1:]
        if words and words[0] in PROGRAMS:
            yield began, words


class Documents(unittest.TestCase):
    def test_every_command_in_them_is_one_that_the_programs_know(self):
        files = [os.path.join(SOURCE, n) for n in ("README.md", "DEVELOPERS.md")]
        files += [os.path.join(SOURCE, "docs", n) for n in sorted(os.listdir(os.path.join(SOURCE, "docs"))) if n.endswith(".md")]
        seen = 0
        for path in files:
            for line, words in commands(path):
                seen += 1
                with self.subTest(file=os.path.relpath(path, SOURCE), line=line):
                    self.check(words)
        self.assertGreater(seen, 25, "the documents' commands are found")

    def check(self, words):
        used = {w[2:].split("=")[0] for w in words[1:] if w.startswith("--") and len(w) > 2} - {"help", "version"}
        if words[0] != "endstop":
            self.assertLessEqual(used, options_of_help(words[0]), words)
            return
        verb = words[1]
        if verb.startswith("-"):
            return
        self.assertIn(verb, VERBS, words)
        self.assertLessEqual(used, OPTIONS[verb], words)
        if verb == "measure":
            self.assertTrue(used & {"measure", "list"}, words)
        if verb == "run" and "rejoin" not in used:
            self.assertLessEqual({"plan", "type", "serial"} - ({"type", "serial"} if "job" in used else set()), used, words)


if __name__ == "__main__":
    sys.exit(unittest.main())
