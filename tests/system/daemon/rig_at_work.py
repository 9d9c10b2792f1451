"""The real programs against each other: endstop-sim plays the bench, endstopd runs it, endstop asks.

Everything lies in a temporary folder; every port is free when asked for. Programs are stopped by their process id.
"""
import functools
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import unittest

SOURCE = os.path.abspath(os.path.join(os.path.dirname(__file__), "..", "..", ".."))
BUILD = os.environ.get("ES_BUILD_DIR", os.path.join(SOURCE, "build"))
ENDSTOP = os.path.join(BUILD, "rig", "client", "endstop")
DAEMON = os.path.join(BUILD, "rig", "daemon", "endstopd")
SIM = os.path.join(BUILD, "rig", "simulator", "endstop-sim")
LIBRARY = os.path.join(SOURCE, "tests", "system", "daemon", "library")
TYPES = os.path.join(SOURCE, "procedures", "types")
TYPE = "linear-single-acting"


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def wait_for(what, condition, seconds=20):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        got = condition()
        if got:
            return got
        time.sleep(0.05)
    raise AssertionError(f"not within {seconds} s: {what}")


class Rig:
    def __init__(self, *sim_options, grace="30 s"):
        self.folder = tempfile.mkdtemp(prefix="endstop-test-")
        self.state = os.path.join(self.folder, "state")
        self.socket = os.path.join(self.folder, "d.sock")
        self.control_path = os.path.join(self.folder, "sim.sock")
        self.bench = os.path.join(self.folder, "bench.json")
        self.grace = grace
        self.daemon = None
        self.sim = None
        self.others = []
        with open(os.path.join(SOURCE, "rig", "bench", "examples", "virtual-bench.json")) as f:
            bench = json.load(f)
        bench["buses"][0]["settings"]["port"] = free_port()
        with open(self.bench, "w") as f:
            json.dump(bench, f)
        try:
            self.start_sim(*sim_options)
            made = self.client("key", "create", "--state", self.state)
            assert made.returncode == 0, made.stderr
            self.start_daemon()
        except BaseException:
            self.close()
            raise

    def start_sim(self, *options):
        ready = os.path.join(self.folder, "sim.ready")
        log = open(os.path.join(self.folder, "sim.log"), "w")
        self.sim = subprocess.Popen(
            [SIM, "--bench", self.bench, "--control", self.control_path, "--ready-file", ready, *options],
            stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        log.close()
        wait_for("endstop-sim is ready", lambda: os.path.exists(ready) or self.died(self.sim, "sim.log"))

    def died(self, process, log):
        if process.poll() is not None:
            with open(os.path.join(self.folder, log)) as f:
                raise AssertionError(f"{log}: ended with {process.returncode}\n{f.read()}")
        return False

    def daemon_command(self, *options):
        return [DAEMON, "--foreground", "--bench", self.bench, "--state", self.state, "--socket", self.socket,
                "--library", LIBRARY, "--types", TYPES, "--grace", self.grace, *options]

    def start_daemon(self, *options):
        log = open(os.path.join(self.folder, "daemon.log"), "a")
        self.daemon = subprocess.Popen(self.daemon_command(*options), stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        log.close()
        wait_for("endstopd answers", lambda: self.answers() or self.died(self.daemon, "daemon.log"))

    def answers(self):
        try:
            with Wire(self) as wire:
                return wire.hello().get("ok")
        except OSError:
            return False

    def log(self):
        with open(os.path.join(self.folder, "daemon.log")) as f:
            return f.read()

    def environment(self):
        env = dict(os.environ, ENDSTOP_SOCKET=self.socket, LC_ALL="C.UTF-8")
        env.pop("COLUMNS", None)
        return env

    def client(self, *arguments, given="", timeout=120):
        return subprocess.run([ENDSTOP, *arguments], input=given, capture_output=True, text=True, timeout=timeout,
                              env=self.environment())

    def start_client(self, *arguments):
        process = subprocess.Popen([ENDSTOP, *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE, text=True, env=self.environment())
        self.others.append(process)
        return process

    def run_arguments(self, serial, plan="short", *more):
        return ["run", "--plan", plan, "--type", TYPE, "--serial", serial, *more]

    def unattended(self, serial, *more, plan="short"):
        return self.run_arguments(serial, plan, "--confirm-cautions", "T. Ester", *more)

    def command(self, text):
        """One command to endstop-sim; gives its answer."""
        with socket.socket(socket.AF_UNIX) as s:
            s.settimeout(5)
            s.connect(self.control_path)
            s.sendall(text.encode() + b"\n")
            s.shutdown(socket.SHUT_WR)
            answer = b""
            while True:
                got = s.recv(4096)
                if not got:
                    return answer.decode()
                answer += got

    def truth(self, role):
        """What a channel really is, as the simulator knows it, in the bench file's unit."""
        values = self.command("show values")
        return float(re.search(rf"^{role} .* is +(\S+)", values, re.M).group(1))

    def station(self):
        with Wire(self) as wire:
            wire.hello()
            return wire.ask({"do": "bench"})["stations"][0]

    def channel(self, role):
        return next(c for c in self.station()["channels"] if c["role"] == role)

    def wait_running(self):
        """Until the run has put air to the unit."""
        wait_for("the supply is on", lambda: (self.channel("supply pressure")["value"] or 0) > 0.7)

    def certificates(self):
        got = self.client("certificate", "list", "--json")
        assert got.returncode == 0, got.stderr
        return json.loads(got.stdout)

    def stop_daemon(self, number=signal.SIGTERM, timeout=30):
        self.daemon.send_signal(number)
        return self.daemon.wait(timeout)

    def close(self):
        for process in [*self.others, self.daemon, self.sim]:
            if process is None:
                continue
            if process.poll() is None:
                process.terminate()
                try:
                    process.wait(20)
                except subprocess.TimeoutExpired:
                    process.kill()
                    process.wait()
            for stream in (process.stdin, process.stdout, process.stderr):
                if stream:
                    stream.close()
        if os.environ.get("ES_KEEP"):
            print("kept:", self.folder, file=sys.stderr)
        else:
            shutil.rmtree(self.folder, ignore_errors=True)


class Wire:
    """The bare socket, for clients that behave and for those that do not."""

    def __init__(self, rig):
        self.socket = socket.socket(socket.AF_UNIX)
        self.socket.settimeout(10)
        try:
            self.socket.connect(rig.socket)
        except OSError:
            self.socket.close()
            raise
        self.rest = b""
        self.events = []
        self.id = 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.socket.close()

    def send(self, data):
        self.socket.sendall(data)

    def line(self):
        while b"\n" not in self.rest:
            got = self.socket.recv(65536)
            if not got:
                raise EOFError("closed by the daemon")
            self.rest += got
        line, self.rest = self.rest.split(b"\n", 1)
        return json.loads(line)

    def ask(self, request):
        self.id += 1
        self.send(json.dumps({"id": self.id, **request}).encode() + b"\n")
        while True:
            message = self.line()
            if message.get("id") == self.id:
                return message
            self.events.append(message)

    def hello(self):
        return self.ask({"do": "hello", "protocol": 1, "program": "test"})

    def event(self, *kinds, seconds=60):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            message = self.events.pop(0) if self.events else self.line()
            if message.get("event") in kinds:
                return message
        raise AssertionError(f"no event {kinds}")

    def closed_within(self, seconds):
        self.socket.settimeout(seconds)
        try:
            while True:
                if not self.socket.recv(65536):
                    return True
        except (ConnectionResetError, BrokenPipeError):
            return True
        except socket.timeout:
            return False


STARVED = "the program missed its own deadline"


def again_when_starved(test):
    """The interlock acts when the daemon itself gets no processor for half a second, and rightly so. On a machine
    that is busy with other tests this says nothing about what is tested: such a test is done once more, and says so.
    """

    @functools.wraps(test)
    def run(self):
        try:
            test(self)
        except AssertionError:
            if STARVED not in self.rig.log():
                raise
            print("the machine left the daemon without time; once more ...", file=sys.stderr)
            self.rig.close()
            self.setUp()
            test(self)

    return run


class RigTest(unittest.TestCase):
    sim_options = ()
    grace = "30 s"

    def __init_subclass__(cls, **named):
        super().__init_subclass__(**named)
        for name, test in list(vars(cls).items()):
            if name.startswith("test_"):
                setattr(cls, name, again_when_starved(test))

    def setUp(self):
        self.rig = Rig(*self.sim_options, grace=self.grace)
        self.addCleanup(self.rig.close)

    def assertMadeSafe(self):
        """Air off and outputs vented, as the simulator itself has it."""
        self.assertEqual(self.rig.truth("supply valve"), 0)
        self.assertEqual(self.rig.truth("output 1 vent valve"), 1)


def main():
    for program in (ENDSTOP, DAEMON, SIM):
        if not os.path.exists(program):
            sys.exit(f"{program} is not built; set ES_BUILD_DIR")
    unittest.main(verbosity=2)
