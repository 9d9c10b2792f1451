"""What ends a run before its time: ctrl-C, SIGTERM, SIGKILL, the operator's connection gone."""
import json
import os
import signal
import subprocess
import time
import unittest

import rig_at_work
from rig_at_work import RigTest, Wire, wait_for


class Interrupts(RigTest):
    grace = "2 s"

    def test_ctrl_c_waits_for_the_safe_state(self):
        client = self.rig.start_client(*self.rig.unattended("C-1"))
        self.rig.wait_running()
        client.send_signal(signal.SIGINT)
        out, err = client.communicate(timeout=30)
        self.assertEqual(client.returncode, 3, out + err)
        self.assertIn("NOT COMPLETED", out)
        self.assertIn("ctrl-C", out)
        self.assertRegex(out, r"Safe state: reached \d+\.\d+ s after its cause")
        self.assertMadeSafe()
        record = self.rig.certificates()[-1]
        self.assertEqual(record["kind"], "record")
        # The station needs nothing but another order.
        self.assertEqual(self.rig.client(*self.rig.unattended("C-2")).returncode, 0)

    def test_stop_by_another_client(self):
        client = self.rig.start_client(*self.rig.unattended("C-3"))
        self.rig.wait_running()
        stopped = self.rig.client("stop", "--why", "somebody else wants the bench")
        self.assertEqual(stopped.returncode, 0, stopped.stdout + stopped.stderr)
        self.assertIn("Safe state: reached", stopped.stdout)
        out, err = client.communicate(timeout=30)
        self.assertEqual(client.returncode, 3, out + err)
        self.assertIn("somebody else wants the bench", out)
        self.assertEqual(self.rig.client("stop").returncode, 0, "an idle station is made safe all the same")

    def test_sigterm_of_the_daemon(self):
        client = self.rig.start_client(*self.rig.unattended("T-1"))
        self.rig.wait_running()
        self.assertEqual(self.rig.stop_daemon(signal.SIGTERM), 0, self.rig.log())
        out, err = client.communicate(timeout=30)
        self.assertEqual(client.returncode, 3, out + err)
        self.assertMadeSafe()
        self.assertFalse(os.path.exists(self.rig.socket))
        listed = json.loads(
            self.rig.client("certificate", "list", "--state", self.rig.state, "--json").stdout)
        self.assertEqual([c["kind"] for c in listed], ["record"])

    def test_sigkill_then_restart(self):
        client = self.rig.start_client(*self.rig.unattended("K-1"))
        self.rig.wait_running()
        time.sleep(1)
        self.rig.stop_daemon(signal.SIGKILL)
        out, err = client.communicate(timeout=30)
        self.assertEqual(client.returncode, 3, out + err)
        self.assertIn("--rejoin", err)
        self.assertEqual(self.rig.truth("supply valve"), 1, "the air is still on")
        self.rig.start_daemon()
        self.assertMadeSafe()
        self.assertIn("interrupted", self.rig.log())
        listed = self.rig.certificates()
        self.assertEqual([(c["kind"], c["serial"]) for c in listed], [("record", "K-1")])
        shown = self.rig.client("certificate", "show", listed[0]["number"])
        self.assertEqual(shown.returncode, 3)
        self.assertIn("NOT COMPLETED", shown.stdout)
        path = os.path.join(self.rig.state, "certificates", listed[0]["number"] + ".json")
        self.assertEqual(self.rig.client("verify", path, "--state", self.rig.state).returncode, 0)
        # Once only: another start adds nothing.
        self.rig.stop_daemon()
        self.rig.start_daemon()
        self.assertEqual(len(self.rig.certificates()), 1)

    def test_operator_goes_away_and_comes_back(self):
        first = self.rig.start_client(*self.rig.run_arguments("A-1"))
        first.stdin.write("yes\nyes\n")
        first.stdin.flush()
        self.rig.wait_running()
        first.kill()
        first.wait()
        back = self.rig.client("run", "--rejoin")
        self.assertEqual(back.returncode, 0, back.stdout + back.stderr)
        self.assertIn("A-1", back.stdout)

    def test_operator_goes_away_for_good(self):
        first = self.rig.start_client(*self.rig.run_arguments("A-2"))
        first.stdin.write("yes\nyes\n")
        first.stdin.flush()
        self.rig.wait_running()
        first.kill()
        first.wait()
        wait_for("the run has ended", lambda: self.rig.station()["doing"] == "idle")
        self.assertMadeSafe()
        number = self.rig.certificates()[-1]["number"]
        shown = self.rig.client("certificate", "show", number)
        self.assertEqual(shown.returncode, 3)
        self.assertIn("connection was gone for more than 2 s", shown.stdout)

    def test_an_unattended_run_goes_on_alone(self):
        first = self.rig.start_client(*self.rig.unattended("U-1"))
        self.rig.wait_running()
        first.kill()
        first.wait()
        wait_for("the run has ended", lambda: self.rig.station()["doing"] == "idle", 60)
        self.assertEqual([c["verdict"] for c in self.rig.certificates()], ["pass"])


if __name__ == "__main__":
    rig_at_work.main()
