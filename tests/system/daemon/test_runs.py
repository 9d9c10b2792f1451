"""Whole runs: a good unit, a leaking one, questions answered, what the client prints and how it ends."""
import json
import os
import unittest

import rig_at_work
from rig_at_work import RigTest


class Runs(RigTest):
    def run_once(self, serial, *more):
        return self.rig.client(*self.rig.unattended(serial, *more))

    def test_good_then_leaking(self):
        good = self.run_once("G-1", "--tag", "FV-1", "--customer", "Example Refinery (invented)")
        self.assertEqual(good.returncode, 0, good.stdout + good.stderr)
        self.assertRegex(good.stdout.splitlines()[0], r"^✓ PASS: the line that decides passes$")
        self.assertRegex(good.stdout, r"leak of output 1 at minimum supply +-?\d+\.\d+ ± \d+\.\d+ Nl/h +≤ 3 Nl/h")
        self.assertIn("VIRTUAL", good.stdout)
        self.assertIn("Safe state: reached", good.stdout)
        self.assertNotIn("\033", good.stdout + good.stderr)

        self.assertIn("", self.rig.command("set fault relay-seat-leaks-to-output-1 1"))
        bad = self.run_once("B-1", "--json")
        self.assertEqual(bad.returncode, 1, bad.stdout + bad.stderr)
        answer = json.loads(bad.stdout)
        self.assertEqual(answer["result"]["result"], "completed")
        self.assertEqual(answer["certificate"]["verdict"], "fail")
        self.assertEqual(answer["certificate"]["run"]["person"], "T. Ester")
        self.assertFalse(answer["certificate"]["run"]["attended"])
        number = answer["result"]["number"]

        shown = self.rig.client("certificate", "show", number)
        self.assertEqual(shown.returncode, 1)
        self.assertRegex(shown.stdout.splitlines()[0], r"^✗ FAIL: of 1 line that decides 1 fails$")
        self.assertRegex(shown.stdout.splitlines()[2], r"✗ FAIL +leak of output 1 .* Nl/h too high$")
        self.assertEqual(self.rig.client("certificate", "show", "NONE-000001").returncode, 2)
        offline = self.rig.client("certificate", "show", number, "--state", self.rig.state)
        self.assertEqual(offline.stdout, shown.stdout)
        rows = self.rig.client("certificate", "show", number, "--csv").stdout.splitlines()
        self.assertEqual(len(rows), 2)
        self.assertIn("fail", rows[1])

        self.check_list()
        self.check_verify(number)
        self.check_log_and_archive()
        left = [f for _, _, files in os.walk(os.path.join(self.rig.state, "runs")) for f in files]
        self.assertEqual(sorted(set(left)), ["end.json", "run.json"], "journals go when the paper is durable")
        self.assertMadeSafe()

    def check_list(self):
        listed = self.rig.certificates()
        self.assertEqual([c["serial"] for c in listed], ["G-1", "B-1"])
        self.assertEqual([c["verdict"] for c in listed], ["pass", "fail"])
        only = json.loads(self.rig.client("certificate", "list", "--serial", "B-1", "--json").stdout)
        self.assertEqual([c["serial"] for c in only], ["B-1"])
        table = self.rig.client("certificate", "list", "--state", self.rig.state)
        self.assertEqual(table.returncode, 0)
        self.assertEqual(len(table.stdout.splitlines()), 3)

    def check_log_and_archive(self):
        audit = self.rig.client("audit", "integrity", "--state", self.rig.state, "--json")
        self.assertEqual(audit.returncode, 0, audit.stdout + audit.stderr)
        self.assertEqual(json.loads(audit.stdout)["entries"], 2)

        def sent():
            found = self.rig.client("archive", "find", "--state", self.rig.state, "--json")
            return found.returncode == 0 and len(json.loads(found.stdout)) == 2
        rig_at_work.wait_for("the archive has both", sent)

    def check_verify(self, number):
        path = os.path.join(self.rig.state, "certificates", number + ".json")
        key = os.path.join(self.rig.state, "keys", "bench.pub.pem")
        self.assertEqual(self.rig.client("verify", path, "--key", key).returncode, 0)
        self.assertEqual(self.rig.client("verify", path, "--state", self.rig.state, "--quiet").stdout, "")
        self.assertEqual(self.rig.client("verify", path).returncode, 1, "no key is trusted")
        with open(path, "rb") as f:
            data = f.read()
        altered = os.path.join(self.rig.folder, "altered.json")
        with open(altered, "wb") as f:
            f.write(data.replace(b'"fail"', b'"pass"'))
        got = self.rig.client("verify", altered, "--key", key)
        self.assertEqual(got.returncode, 1)
        self.assertIn("NOT VALID", got.stdout)
        both = self.rig.client("verify", path, altered, "--key", key, "--json")
        self.assertEqual(both.returncode, 1)
        lines = self.rig.client("verify", path, altered, os.path.join(self.rig.folder, "nothing.json"), "--key", key)
        self.assertEqual(lines.returncode, 2)
        self.assertRegex(lines.stdout, r"(?m)^\S*" + number + r"\.json +VALID +fail, serial B-1, ")
        self.assertRegex(lines.stdout, r"(?m)^\S*altered\.json +NOT VALID +altered$")
        self.assertTrue(lines.stdout.endswith("3 files: 1 valid, 2 not; one given alone is told at length\n"), lines.stdout)
        self.assertEqual([v["valid"] for v in json.loads(both.stdout)], [True, False])

    def test_questions_are_asked_and_answered(self):
        # Two cautions, then: a number first refused (wrong unit), a choice by word, a confirmation.
        given = "yes\nyes\n3 mm\n1.4\ngreen\nyes\n"
        got = self.rig.client(*self.rig.run_arguments("Q-1", "ask", "--person", "P. Erson"), given=given)
        self.assertEqual(got.returncode, 0, got.stdout + got.stderr)
        self.assertIn("Test caution: compressed air stores energy.", got.stderr)
        self.assertIn("Read the gauge of the supply.", got.stderr)
        self.assertIn("bar", got.stderr)
        number = self.rig.certificates()[0]["number"]
        certificate = json.loads(self.rig.client("certificate", "show", number, "--json").stdout)
        self.assertTrue(certificate["run"]["attended"])
        answers = [c["answer"] for c in certificate["confirmations"]]
        self.assertIn("green", " ".join(answers))
        self.assertTrue(all(c["person"] == "P. Erson" for c in certificate["confirmations"]))

    def test_a_refused_caution_moves_nothing(self):
        got = self.rig.client(*self.rig.run_arguments("N-1"), given="no\n")
        self.assertEqual(got.returncode, 3, got.stdout + got.stderr)
        self.assertIn("NOT COMPLETED", got.stdout)
        self.assertMadeSafe()
        end_of_input = self.rig.client(*self.rig.run_arguments("N-2"), given="")
        self.assertEqual(end_of_input.returncode, 3, end_of_input.stdout + end_of_input.stderr)
        self.assertIn("No answer can be read", end_of_input.stderr)

    def test_wrong_orders_are_refused_before_anything_moves(self):
        cases = [
            (["run", "--plan", "nosuch", "--type", rig_at_work.TYPE, "--serial", "1"],
             'no test plan "nosuch"; there are "ask" and "short"'),
            (["run", "--plan", "../short", "--type", rig_at_work.TYPE, "--serial", "1"], "not given as paths"),
            (["run", "--plan", "short", "--type", "nosuch", "--serial", "1"],
             'no type sheet "nosuch"; there are "'),
            (["run", "--plan", "short", "--type", rig_at_work.TYPE], "--serial"),
            (["run", "--plan", "short", "--type", rig_at_work.TYPE, "--serial", "1", "--station", "9"], "no station"),
            (["run", "--plan", "short", "--typ", "x"], "did you mean --type?"),
        ]
        for arguments, words in cases:
            got = self.rig.client(*arguments)
            self.assertEqual(got.returncode, 2, f"{arguments}: {got.stdout}{got.stderr}")
            self.assertIn(words, got.stderr)
        self.assertEqual(self.rig.certificates(), [])

    def test_bench_shows_every_channel(self):
        got = self.rig.client("bench")
        self.assertEqual(got.returncode, 0, got.stdout + got.stderr)
        self.assertIn("Everything answers, nothing is overdue.", got.stdout)
        self.assertRegex(got.stdout, r"(?m)^supply valve +shut +good$")
        self.assertRegex(got.stdout, r"(?m)^emergency stop +healthy +good ")
        self.assertEqual([line for line in got.stdout.splitlines() if line.endswith(" ")], [])
        for words in ("supply pressure", "emergency stop", "loop source", "trusted", "Calibration due"):
            self.assertIn(words, got.stdout)
        rows = self.rig.client("bench", "--csv").stdout.splitlines()
        self.assertGreater(len(rows), 15)
        self.assertEqual(json.loads(self.rig.client("bench", "--json").stdout)["bench"], "Virtual bench")


if __name__ == "__main__":
    rig_at_work.main()
