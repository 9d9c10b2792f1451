"""What the workshop found: `endstop certificate found`, and the likely causes as the client shows them, on real certificates."""
import json
import os
import re
import subprocess
import sys
import tempfile
import unittest

SOURCE = os.path.abspath(os.path.join(os.path.dirname(__file__), "..", "..", ".."))
BUILD = os.environ["ES_BUILD_DIR"]
ENDSTOP = os.path.join(BUILD, "rig", "client", "endstop")
PROBE = os.path.join(BUILD, "tests", "system", "page", "page_probe")
TABLE = os.path.join(SOURCE, "procedures", "judgement", "detection.json")
NUMBER = "EX-000118"
LEAK = "relay seat leaks to output 1"


def endstop(*arguments, **environment):
    env = dict(os.environ, LC_ALL="C.UTF-8", **environment)
    return subprocess.run([ENDSTOP, *arguments], capture_output=True, text=True, timeout=60, env=env, stdin=subprocess.DEVNULL)


class State(unittest.TestCase):
    """A state folder with the certificate of a unit whose relay seat leaks."""

    def setUp(self):
        temporary = tempfile.TemporaryDirectory(prefix="endstop-found-")
        self.addCleanup(temporary.cleanup)
        self.state = temporary.name
        certificates = os.path.join(self.state, "certificates")
        os.mkdir(certificates)
        subprocess.run([PROBE, certificates, NUMBER, "linear-single-acting", "after-relay-swap", LEAK, "0.5"], check=True,
                       stdout=subprocess.DEVNULL)
        with open(os.path.join(certificates, NUMBER + ".json")) as f:
            self.certificate = json.load(f)

    def found(self, *arguments, table=TABLE):
        return endstop("certificate", "found", *arguments, "--state", self.state, "--table", table)

    def book(self):
        path = os.path.join(self.state, "repairs.jsonl")
        if not os.path.exists(path):
            return []
        with open(path) as f:
            return [json.loads(row) for row in f]


class Found(State):
    def test_a_cause_is_kept_with_person_and_note(self):
        done = self.found(NUMBER, LEAK, "--person", "B. Example", "--note", "seat eroded")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn(f"kept: {NUMBER}: {LEAK}, found by B. Example; 1 finding in the book", done.stdout)
        row = self.book()[-1]
        self.assertEqual({k: row[k] for k in ("number", "found", "person", "note")},
                         {"number": NUMBER, "found": LEAK, "person": "B. Example", "note": "seat eroded"})
        self.assertRegex(row["when"], r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d")

    def test_a_later_finding_stands_in_the_earlier_ones_place(self):
        self.assertEqual(self.found(NUMBER, LEAK).returncode, 0)
        again = self.found(NUMBER, "no fault found")
        self.assertIn("1 finding in the book", again.stdout)
        self.assertEqual([row["found"] for row in self.book()], [LEAK, "no fault found"], "nothing is taken out of the book")

    def test_what_no_table_knows_is_refused_and_nothing_kept(self):
        for arguments, words in (((NUMBER, "relay seat leaks to output"), f'did you mean "{LEAK}"?'), ((NUMBER, "banana"), "no fault found"),
                                 (("EX-000999", LEAK), "no certificate EX-000999"), (("../../etc/passwd", LEAK), "not a certificate's number"),
                                 ((NUMBER,), "what was found"), ((), "what was found")):
            with self.subTest(arguments=arguments):
                done = self.found(*arguments)
                self.assertEqual(done.returncode, 2, done.stderr)
                self.assertIn(words, done.stderr)
                self.assertEqual(self.book(), [])
        done = endstop("certificate", "found", NUMBER, LEAK, "--table", TABLE)
        self.assertEqual(done.returncode, 2)
        self.assertIn("--state DIR", done.stderr)
        done = self.found(NUMBER, LEAK, table=os.path.join(self.state, "none.json"))
        self.assertEqual(done.returncode, 2)
        self.assertIn("none.json", done.stderr)


class Causes(State):
    def show(self, *arguments, **environment):
        return endstop("certificate", "show", NUMBER, "--state", self.state, *arguments, **environment)

    def test_the_cause_its_evidence_and_the_next_check_are_shown(self):
        shown = self.show()
        self.assertEqual(shown.returncode, 1, "a unit that fails: " + shown.stderr)
        text = re.sub(r"\s+", " ", shown.stdout)
        said = self.certificate["interpretation"]
        self.assertIn("Likely causes (an interpretation, no result):", text)
        self.assertIn(LEAK + " (unit)", text)
        for evidence in said["causes"][0]["evidence"]:
            self.assertIn(evidence, text)
        self.assertIn("Next: " + said["next_check"]["do"], text)
        self.assertIn("Caution: " + said["next_check"]["caution"], text)
        self.assertLess(text.index("FAIL leak of output 1"), text.index("Unit serial"), "what failed comes first")
        self.assertLess(text.index("Unit serial"), text.index("Likely causes"), "an interpretation comes after the results")

    def test_piped_it_has_neither_colour_nor_movement(self):
        shown = self.show()
        self.assertNotIn("\x1b", shown.stdout + shown.stderr)
        self.assertEqual(shown.stderr, "")

    def test_in_a_plain_locale_it_is_plain(self):
        env = dict(os.environ, LC_ALL="C")
        shown = subprocess.run([ENDSTOP, "certificate", "show", NUMBER, "--state", self.state], capture_output=True, env=env, timeout=60)
        self.assertEqual([b for b in shown.stdout if b > 126], [])
        self.assertIn(b"+-", shown.stdout)
        self.assertIn(b"X FAIL", shown.stdout)

    def test_json_is_the_document(self):
        self.assertEqual(json.loads(self.show("--json").stdout), self.certificate)


if __name__ == "__main__":
    sys.exit(unittest.main())
