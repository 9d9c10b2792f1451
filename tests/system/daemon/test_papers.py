"""One unit's visit with the daemon running: job, as found, as left, release into the log, a correction, a key that is revoked."""
import json
import os

import rig_at_work
from rig_at_work import RigTest


class Papers(RigTest):
    def ok(self, *words, status=0):
        got = self.rig.client(*words)
        self.assertEqual(got.returncode, status, got.stdout + got.stderr)
        return got.stdout + got.stderr

    def run_for(self, serial, *more):
        got = self.rig.client(*self.rig.unattended(serial, "--json", *more))
        self.assertIn(got.returncode, (0, 1), got.stdout + got.stderr)
        return json.loads(got.stdout)["certificate"]

    def verify(self, path, status):
        return self.ok("verify", os.path.join(self.rig.state, "certificates", path), "--state", self.rig.state, status=status)

    def test_a_visit_with_its_release_and_a_correction(self):
        state = ("--state", self.rig.state)
        key = os.path.join(self.rig.folder, "b.pem")
        self.ok("key", "create", "--key", key)
        self.ok("key", "trust", key.replace(".pem", ".pub.pem"), "--name", "B. Example", *state)
        job = self.ok("job", "open", "--serial", "J-8", "--lot", "L-12", "--supplier", "Example Spares", "--reference", "PO 77",
                      "--customer", "Example Quarry", "--contact", "quarry@example.test", "--received", "2026-02-01", *state).strip()
        self.assertIn("is of unit J-8", self.ok(*self.rig.unattended("OTHER", "--job", job), status=3))
        found = self.run_for("J-8", "--job", job, "--as-found")
        self.assertEqual(found["job"], {"number": job, "received": "2026-02-01"})
        self.assertEqual((found["customer"], found["customer_contact"]), ("Example Quarry", "quarry@example.test"))
        self.assertEqual((found["unit"]["lot"], found["unit"]["supplier"], found["customer_reference"]), ("L-12", "Example Spares", "PO 77"))
        self.assertIn("condition on receipt", found["not_given"])
        self.assertNotIn("date of receipt", found["not_given"])

        # The next one is as left, and corrects it: another unit's, or without a reason, is refused before anything moves.
        order = ("--replaces", found["number"])
        self.assertIn("--because", self.ok(*self.rig.unattended("J-8", *order), status=2))
        self.assertIn("is of unit J-8", self.ok(*self.rig.unattended("J-9", *order, "--because", "x"), status=3))
        self.assertIn("there is no certificate", self.ok(*self.rig.unattended("J-8", "--replaces", "NONE-000001", "--because", "x"), status=2))
        left = self.run_for("J-8", "--job", job, "--lot", "L-13", *order, "--because", "the wrong lot stood in it")
        self.assertEqual(left["unit"]["lot"], "L-13", "the order's own word counts")
        self.assertEqual((left["before"]["number"], left["before"]["state"], left["before"]["verdict"]), (found["number"], "as found", found["verdict"]))
        self.assertEqual((left["replaces"], left["replaces_because"]), (found["number"], "the wrong lot stood in it"))
        self.assertIn(f"replaced by {left['number']}", self.verify(found["number"] + ".json", 1))
        self.assertIn(f"was replaced by {left['number']} already", self.ok(*self.rig.unattended("J-8", *order, "--because", "again"), status=3))
        self.assertIn("VALUES AS RECORDED", self.ok("verify", f"{self.rig.state}/certificates/{left['number']}.json", *state, "--recompute"))
        table = self.ok("certificate", "show", left["number"])
        self.assertRegex(table, rf"Before, as found \({found['number']}\): pass")
        self.assertRegex(table, r"leak of output 1 at minimum supply +\S+ ± \S+ Nl/h +pass +\S+ ± \S+ Nl/h +pass")
        shown = json.loads(self.ok("job", "show", job, "--json", *state))
        self.assertEqual([line["what"] for line in shown["lines"]], ["opened", "run", "run"])

        # The daemon enters the release in its log before the client tells of it.
        released = self.ok("certificate", "release", left["number"], *state, "--key", key, "--name", "B. Example")
        self.assertIn("in the log", released)
        signed = os.path.join(self.rig.state, "certificates", "signed", left["number"] + ".2")
        self.assertTrue(os.path.exists(signed + ".seal.json"))
        text = self.verify(f"signed/{left['number']}.2.json", 0)
        self.assertIn("the seal beside it holds: entry 3 ", text)
        self.assertIn("released by B. Example", self.ok("verify", signed + ".json", *state))
        self.assertEqual(json.loads(self.ok("audit", "integrity", "--json", *state))["findings"], [])

        # A word of the goods-in was wrong: issued anew without a test, by the bench's key, and not released any more.
        amend = ("certificate", "amend", left["number"], "--because", "wrong lot on the order", "--person", "C. Example")
        self.assertIn("--set", self.ok(*amend, status=2))
        self.assertIn("takes a new run", self.ok(*amend, "--set", "serial=J-9", status=2))
        self.assertIn("says all of that already", self.ok(*amend, "--set", "lot=L-13", status=2))
        self.assertIn("there is no certificate", self.ok("certificate", "amend", "NONE-000001", *amend[3:], "--set", "lot=x", status=2))
        self.assertIn(f"amends {left['number']}", self.ok(*amend, "--set", "lot=L-14", "--set", "condition on receipt=dented"))
        again = json.loads(self.ok("certificate", "show", max(c["number"] for c in self.rig.certificates()), "--json"))
        self.assertEqual((again["replaces"], again["unit"]["lot"], again["job"]["condition"]), (left["number"], "L-14", "dented"))
        self.assertEqual([c["what"] for c in again["amended"]], ["lot", "condition on receipt"])
        self.assertEqual((again["lines"], again["verdict"], again["run"]), (left["lines"], left["verdict"], left["run"]))
        self.assertIn(f"was replaced by {again['number']} already", self.ok(*amend, "--set", "lot=L-15", status=3))
        path = f"{self.rig.state}/certificates/{again['number']}.json"
        self.assertIn("VALUES AS RECORDED", self.ok("verify", path, *state, "--recompute"))
        self.assertNotIn("released by", self.ok("verify", path, *state))
        self.assertIn(f"replaced by {again['number']}", self.verify(f"signed/{left['number']}.2.json", 1))
        self.assertIn("lot: L-14, was L-13", self.ok("certificate", "show", again["number"]))
        shown = json.loads(self.ok("job", "show", job, "--json", *state))
        self.assertEqual(shown["lines"][-1]["text"], f"certificate {again['number']} amends {left['number']}: wrong lot on the order")
        self.assertEqual(json.loads(self.ok("audit", "integrity", "--json", *state))["findings"], [])

        # A key that is revoked while the daemon runs issues nothing more, and no daemon starts with it.
        self.ok("key", "revoke", os.path.join(self.rig.state, "keys", "bench.pub.pem"), "--reason", "copied by a stranger", *state)
        text = self.ok(*self.rig.unattended("J-8"), status=3)
        self.assertIn("copied by a stranger", text)
        self.assertIn("nothing was moved", text)
        self.assertIn("copied by a stranger", self.ok("certificate", "amend", again["number"], *amend[3:], "--set", "lot=L-16", status=3))
        self.assertEqual(len(self.rig.certificates()), 3)
        text = self.verify(found["number"] + ".json", 1)  # what it signed before stays checkable
        self.assertIn("as signed by key", text)
        self.assertIn("replaced by", text)
        self.rig.stop_daemon()
        for more in ([], ["--key", os.path.join(self.rig.state, "keys", "bench.pem")]):
            got = rig_at_work.subprocess.run(self.rig.daemon_command(*more), capture_output=True, text=True, timeout=60)
            self.assertEqual(got.returncode, 3, got.stderr)
            self.assertIn("copied by a stranger", got.stderr)


if __name__ == "__main__":
    rig_at_work.main()
