"""The interlock in the middle of a run: whatever trips it, the run ends as not completed with its safe state."""
import re
import unittest

import rig_at_work
from rig_at_work import RigTest, wait_for


class Interlock(RigTest):
    def trip(self, serial, command, words, within=2.0):
        client = self.rig.start_client(*self.rig.unattended(serial))
        self.rig.wait_running()
        self.rig.command(command)
        out, err = client.communicate(timeout=60)
        self.assertEqual(client.returncode, 3, out + err)
        self.assertIn("NOT COMPLETED", out)
        self.assertRegex(out, words)
        found = re.search(r"Safe state: reached (\d+\.\d+) s after its cause", out)
        self.assertTrue(found, out)
        self.assertLess(float(found.group(1)), within)
        return out

    def reset(self):
        wait_for("the reset is accepted", lambda: self.rig.client("reset").returncode == 0, 15)

    def test_emergency_stop(self):
        self.trip("E-1", "set emergency stop 0", "(?i)emergency stop")
        self.assertMadeSafe()
        refused = self.rig.client(*self.rig.unattended("E-2"))
        self.assertEqual(refused.returncode, 3, "runs while the emergency stop is pressed")
        self.assertEqual(self.rig.client("reset").returncode, 3, "the cause is still there")
        self.rig.command("set emergency stop 1")
        self.reset()
        again = self.rig.client(*self.rig.unattended("E-3"))
        self.assertEqual(again.returncode, 0, again.stdout + again.stderr)

    def test_guard(self):
        self.trip("G-1", "set guard 0", "(?i)guard")
        self.assertMadeSafe()
        self.rig.command("set guard 1")
        self.reset()

    def test_a_bus_falls_silent(self):
        # The loop source's line: the air side can still be made safe, and is.
        client = self.rig.start_client(*self.rig.unattended("S-1"))
        self.rig.wait_running()
        self.rig.command("silence loop-line 30")
        out, err = client.communicate(timeout=60)
        self.assertEqual(client.returncode, 3, out + err)
        self.assertIn("NOT COMPLETED", out)
        self.assertRegex(out, "(?i)safe state")
        self.assertMadeSafe()

    def test_garbled_and_refused_answers(self):
        for serial, command in (("B-1", "corrupt panel 3"), ("B-2", "refuse panel 3"), ("B-3", "delay panel 3 by 1")):
            client = self.rig.start_client(*self.rig.unattended(serial))
            self.rig.wait_running()
            self.rig.command(command)
            out, err = client.communicate(timeout=60)
            self.assertEqual(client.returncode, 3, command + out + err)
            self.assertIn("NOT COMPLETED", out)
            self.reset()
            self.assertMadeSafe()
        self.assertEqual([c["kind"] for c in self.rig.certificates()], ["record"] * 3)

    def test_the_main_bus_hangs_up_and_comes_back(self):
        client = self.rig.start_client(*self.rig.unattended("H-1"))
        self.rig.wait_running()
        self.rig.command("disconnect panel 1")
        out, err = client.communicate(timeout=60)
        self.assertEqual(client.returncode, 3, out + err)
        self.assertIn("NOT COMPLETED", out)
        tripped = self.rig.client("bench")
        self.assertEqual(tripped.returncode, 1, "a bench that has tripped is not well")
        for form in "--json", "--csv":
            self.assertEqual(self.rig.client("bench", form).returncode, 1, form)
        self.assertRegex(tripped.stdout, r"Needs attention:\n(  ! .*\n(    .*\n)*)*?  ! station 1: the interlock has tripped")
        wait_for("the bus is trusted again",
                 lambda: '! bus "' not in self.rig.client("bench").stdout, 30)
        self.reset()
        self.assertMadeSafe()


if __name__ == "__main__":
    rig_at_work.main()
