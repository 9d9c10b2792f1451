"""On a terminal: the block that is redrawn, questions typed by a person, widths, colour only there."""
import fcntl
import os
import pty
import re
import select
import struct
import subprocess
import termios
import time
import unittest

import rig_at_work
from rig_at_work import RigTest, ENDSTOP

ESCAPE = re.compile(r"\033\[[0-9;]*[A-Za-z]")


class Terminal:
    def __init__(self, rig, arguments, columns, **environment):
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
        env = dict(rig.environment(), TERM="xterm", **environment)
        self.process = subprocess.Popen([ENDSTOP, *arguments], stdin=slave, stdout=slave, stderr=slave, env=env,
                                        start_new_session=True, preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0))
        os.close(slave)
        self.seen = ""

    def read_until(self, pattern, seconds=60):
        end = time.monotonic() + seconds
        while not re.search(pattern, self.seen):
            if time.monotonic() > end:
                raise AssertionError(f"not seen: {pattern}\n{self.seen}")
            if not select.select([self.master], [], [], 0.5)[0]:
                continue
            try:
                data = os.read(self.master, 4096)
            except OSError:
                data = b""
            if not data:
                raise AssertionError(f"ended without: {pattern}\n{self.seen}")
            self.seen += data.decode()

    def type(self, text):
        os.write(self.master, text.encode())

    def finish(self):
        """Reads to the end; gives the exit status."""
        while True:
            try:
                data = os.read(self.master, 4096)
            except OSError:  # the other end is closed
                break
            if not data:
                break
            self.seen += data.decode()
        os.close(self.master)
        return self.process.wait(30)


class OnATerminal(RigTest):
    def test_progress_is_redrawn_and_fits(self):
        for columns in (60, 100):
            terminal = Terminal(self.rig, self.rig.unattended(f"P-{columns}"), columns)
            status = terminal.finish()
            self.assertEqual(status, 0, terminal.seen)
            self.assertIn("\033[1A\033[2K", terminal.seen, "the block is redrawn")
            self.assertRegex(terminal.seen, r"left at most +short leak")
            self.assertRegex(terminal.seen, r"output 1 flow -?\d+\.\d+ Nl/h +supply pressure -?\d+\.\d+ bar",
                             "the recording's values")
            self.assertNotIn("output 2 pressure", terminal.seen, "nothing that does not matter here")
            self.assertRegex(terminal.seen, r"\033\[1;32m✓ PASS")
            for line in ESCAPE.sub("", terminal.seen).splitlines():
                self.assertLessEqual(len(line), columns, line)

    def test_no_colour_when_it_is_not_wanted(self):
        terminal = Terminal(self.rig, self.rig.unattended("N-1", "--quiet"), 80, NO_COLOR="1")
        self.assertEqual(terminal.finish(), 0, terminal.seen)
        self.assertNotIn("\033", terminal.seen)

    def test_a_person_answers_and_then_presses_ctrl_c(self):
        terminal = Terminal(self.rig, self.rig.run_arguments("C-1"), 80)
        terminal.read_until(r"CAUTION 1 of 2\S*\r\n +Test caution: shafts move without warning[\s\S]*If no: .*nothing has been[\s\S]*yes or no: $")
        terminal.type("perhaps\n")
        terminal.read_until(r"type yes or no[\s\S]*yes or no: $")
        terminal.type("y\n")
        terminal.read_until(r"CAUTION 2 of \d[\s\S]*air stores energy[\s\S]*yes or no: $")
        terminal.type("yes\n")
        terminal.read_until(r"left at most")
        self.rig.wait_running()
        terminal.type("\x03")
        status = terminal.finish()
        self.assertEqual(status, 3, terminal.seen)
        self.assertIn("NOT COMPLETED", terminal.seen)
        self.assertRegex(terminal.seen, r"Safe state: reached \d")
        self.assertMadeSafe()


if __name__ == "__main__":
    rig_at_work.main()
