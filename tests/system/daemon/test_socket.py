"""The local socket: second daemons, clients that mean harm, clients that are slow, and the one that is well-behaved
beside them and must not notice."""
import json
import os
import signal
import socket
import stat
import struct
import subprocess
import time
import unittest

import rig_at_work
from rig_at_work import RigTest, Wire, wait_for

class Socket(RigTest):
    def assertAlive(self, seconds=1.0):
        began = time.monotonic()
        with Wire(self.rig) as wire:
            self.assertTrue(wire.hello()["ok"])
            self.assertTrue(wire.ask({"do": "bench"})["ok"])
        self.assertLess(time.monotonic() - began, seconds)

    def test_a_second_daemon_is_refused(self):
        got = subprocess.run(self.rig.daemon_command(), capture_output=True, text=True, timeout=30)
        self.assertEqual(got.returncode, 3, got.stderr)

        self.assertAlive()

    def test_what_a_start_needs(self):
        command = self.rig.daemon_command()
        command[command.index(self.rig.state)] = os.path.join(self.rig.folder, "other")
        command[command.index(self.rig.socket)] = os.path.join(self.rig.folder, "other.sock")
        got = subprocess.run(command, capture_output=True, text=True, timeout=30)
        self.assertEqual(got.returncode, 2, got.stderr)
        self.assertIn("endstop key create --state", got.stderr)
        got = subprocess.run([rig_at_work.DAEMON, "--bench", __file__, "--state", self.rig.folder + "/x"],
                             capture_output=True, text=True, timeout=30)
        self.assertEqual(got.returncode, 2, "without --foreground the starting command tells it too")
        self.assertRegex(got.stderr, r"test_socket\.py:1:\d+: ")

    def test_in_the_background(self):
        self.rig.stop_daemon()
        command = [c for c in self.rig.daemon_command() if c != "--foreground"]
        got = subprocess.run(command, capture_output=True, text=True, timeout=30)
        self.assertEqual(got.returncode, 0, got.stderr)
        self.assertAlive()
        with open(os.path.join(self.rig.state, "endstopd.log")) as f:
            self.assertNotIn("error", f.read())
        with Wire(self.rig) as wire:
            pid = struct.unpack("3i", wire.socket.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, 12))[0]
        os.kill(pid, signal.SIGTERM)
        wait_for("the daemon has ended", lambda: not os.path.exists(f"/proc/{pid}") or not os.path.exists(self.rig.socket))

    def test_only_its_own_user_gets_in(self):
        mode = os.stat(self.rig.socket).st_mode
        self.assertTrue(stat.S_ISSOCK(mode))
        self.assertEqual(stat.S_IMODE(mode), 0o600)

    def test_strangers_are_refused_even_when_the_file_is_open(self):
        if os.geteuid() != 0:
            self.skipTest("needs root to become somebody else")
        os.chmod(self.rig.folder, 0o755)
        os.chmod(self.rig.socket, 0o666)
        script = ("import os,socket,sys\n"
                  "os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
                  "s=socket.socket(socket.AF_UNIX); s.settimeout(5); s.connect(sys.argv[1])\n"
                  "print(s.recv(1000).decode())\n")
        got = subprocess.run(["/usr/bin/python3", "-c", script, self.rig.socket], capture_output=True, text=True)
        self.assertIn("may not talk", got.stdout, got.stderr)

    def test_hello_comes_first(self):
        with Wire(self.rig) as wire:
            reply = wire.ask({"do": "bench"})
            self.assertFalse(reply["ok"])
            self.assertTrue(wire.closed_within(5))

    def test_another_protocol_is_refused(self):
        with Wire(self.rig) as wire:
            reply = wire.ask({"do": "hello", "protocol": 2, "program": "later"})
            self.assertFalse(reply["ok"])
            self.assertIn("protocol 1", reply["text"])

    def test_garbage(self):
        for junk in (b"\n", b"{}\n", b"\xff\xfe\x00\n", b"[" * 5000 + b"\n", b"GET / HTTP/1.1\r\n\r\n",
                     b'{"id":1,"do":"hello","protocol":1,"program":"' + b"a" * 300 + b'"}\n',
                     b"\x00" * 100 + b"\n"):
            with Wire(self.rig) as wire:
                wire.send(junk)
                reply = wire.line()
                self.assertFalse(reply["ok"], junk[:40])
        self.assertAlive()

    def test_errors_after_hello_keep_the_connection(self):
        with Wire(self.rig) as wire:
            wire.hello()
            for wrong in ({"do": "nonsense"}, {"do": "run"}, {"do": "watch", "station": "7"},
                          {"do": "certificate", "number": "../../keys/bench.pem"}, {"do": "certificate", "number": "x"},
                          {"do": "answer", "station": "1", "question": 1, "answer": "yes"}):
                self.assertFalse(wire.ask(wrong)["ok"], wrong)
            self.assertTrue(wire.ask({"do": "plans"})["ok"])

    def test_a_line_without_end(self):
        with Wire(self.rig) as wire:
            wire.hello()
            try:
                wire.send(b"x" * 100000)
            except (BrokenPipeError, ConnectionResetError):
                pass
            self.assertTrue(wire.closed_within(5))
        self.assertAlive()

    def test_many_requests_and_nobody_reads(self):
        with Wire(self.rig) as wire:
            wire.hello()
            wire.socket.settimeout(1)
            sent = 0
            try:
                while sent < 200000:
                    wire.send(b'{"id":1,"do":"bench"}\n')
                    sent += 1
            except (socket.timeout, BrokenPipeError, ConnectionResetError):
                pass
            self.assertLess(sent, 200000, "the daemon took everything without end")
            self.assertAlive()
            self.assertLess(self.memory(), 200 << 20)

    def memory(self):
        with open(f"/proc/{self.rig.daemon.pid}/status") as f:
            return next(int(line.split()[1]) for line in f if line.startswith("VmRSS")) * 1024

    def test_one_byte_at_a_time(self):
        with Wire(self.rig) as wire:
            for byte in b'{"id":1,"do":"hello","protocol":1,"program":"slow"}\n':
                wire.send(bytes([byte]))
            self.assertTrue(wire.line()["ok"])

    def test_too_many_clients(self):
        wires = []
        try:
            refused = 0
            for _ in range(40):
                wire = Wire(self.rig)
                wires.append(wire)
                reply = wire.hello() if not self.turned_away(wire) else None
                refused += reply is None
            self.assertEqual(refused, 8)
        finally:
            for wire in wires:
                wire.socket.close()
        wait_for("clients are taken again", self.rig.answers, 5)
        self.assertAlive()

    def turned_away(self, wire):
        wire.socket.settimeout(0.3)
        try:
            reply = wire.line()
            return not reply["ok"]
        except socket.timeout:
            wire.socket.settimeout(10)
            return False

    def test_silent_ones_are_sent_home(self):
        with Wire(self.rig) as wire:
            self.assertTrue(wire.closed_within(13))

    def test_only_attending_clients_answer(self):
        with Wire(self.rig) as operator, Wire(self.rig) as onlooker, Wire(self.rig) as stranger:
            for wire in (operator, onlooker, stranger):
                wire.hello()
            order = {"do": "run", "station": "1", "plan": "short", "type": rig_at_work.TYPE, "serial": "W-1",
                     "state": "as left"}
            self.assertTrue(operator.ask(order)["ok"])
            self.assertFalse(stranger.ask(order)["ok"], "the station is taken")
            self.assertTrue(onlooker.ask({"do": "watch", "station": "1", "from": 1})["ok"])
            question = operator.event("question")
            self.assertEqual(onlooker.event("question"), question, "every watcher gets the same events")
            answer = {"do": "answer", "station": "1", "question": question["question"], "answer": "no"}
            self.assertFalse(stranger.ask(answer)["ok"])
            self.assertFalse(onlooker.ask(answer)["ok"])
            self.assertFalse(operator.ask({**answer, "question": 99})["ok"])
            self.assertFalse(operator.ask({**answer, "answer": "number", "number": "3 bar"})["ok"])
            self.assertTrue(operator.ask(answer)["ok"])
            self.assertFalse(operator.ask(answer)["ok"], "answered already")
            ended = onlooker.event("ended")
            self.assertEqual(ended["result"], "not completed")
            numbers = [e["seq"] for e in operator.events if "seq" in e]
            self.assertEqual(numbers, sorted(set(numbers)))

    def test_a_watcher_that_does_not_read_is_dropped_and_the_run_goes_on(self):
        with Wire(self.rig) as lazy:
            lazy.hello()
            lazy.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
            lazy.ask({"do": "watch", "station": "1"})
            done = self.rig.client(*self.rig.unattended("L-1"))
            self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
        self.assertAlive()

if __name__ == "__main__":
    rig_at_work.main()
