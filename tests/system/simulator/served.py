"""What the tests of endstop-sim share: the program under test and clients that are not ours.

The command line of a test: ENDSTOP-SIM SOURCE-FOLDER
"""
import json
import os
import signal
import socket
import struct
import subprocess
import sys
import tempfile
import time
import types
import unittest

try:
    import serial_asyncio  # noqa: F401
except ImportError:  # only pymodbus's asynchronous half needs it, and Debian's package does not bring it
    sys.modules["serial_asyncio"] = types.SimpleNamespace(create_serial_connection=None)
from pymodbus.client import ModbusTcpClient  # noqa: E402

SIM, SOURCE = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
EXAMPLES = os.path.join(SOURCE, "rig", "bench", "examples")
PANEL, ROOM, SWITCHES = 1, 2, 3
SUPPLY_PRESSURE, OUTPUT_1_PRESSURE, OUTPUT_1_FLOW, TRAVEL, SHAFT_ANGLE = 0, 2, 6, 10, 12
SUPPLY_VALVE, ISOLATING_1, VENT_1, COUPLING = 0, 1, 2, 5
SUPPLY_DEMAND, SHAFT_DRIVE = 100, 102


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def example(name):
    with open(os.path.join(EXAMPLES, name), encoding="utf-8") as f:
        return json.load(f)


def float_of(registers):
    return struct.unpack(">f", struct.pack(">HH", *registers))[0]


class Sim:
    """A simulator on its own folder and port."""

    def __init__(self, bench, *options, folder=None):
        self.folder = folder or tempfile.mkdtemp()
        self.path = os.path.join(self.folder, "bench.json")
        self.ready = os.path.join(self.folder, "ready")
        self.control_path = os.path.join(self.folder, "control")
        self.port = None
        for bus in bench["buses"]:
            if bus["settings"].get("mode") == "tcp":
                bus["settings"]["port"] = self.port = free_port()
        with open(self.path, "w", encoding="utf-8") as f:
            json.dump(bench, f)
        self.process = subprocess.Popen(
            [SIM, "--bench", self.path, "--ready-file", self.ready, "--control", self.control_path, *options],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)

    def wait_ready(self):
        end = time.monotonic() + 10
        while not os.path.exists(self.ready):
            if self.process.poll() is not None or time.monotonic() > end:
                raise AssertionError("not ready: " + self.process.stderr.read())
            time.sleep(0.01)
        return self

    def do(self, command):
        with socket.socket(socket.AF_UNIX) as s:
            s.settimeout(5)
            s.connect(self.control_path)
            s.sendall(command.encode() + b"\n")
            said = b""
            while not (said.endswith(b"ok\n") or b"error: " in said):
                more = s.recv(65536)
                if not more:
                    break
                said += more
            return said.decode()

    def tcp(self, timeout=1):
        client = ModbusTcpClient("127.0.0.1", port=self.port, timeout=timeout, retries=0)
        assert client.connect()
        return client

    def stop(self, how=signal.SIGTERM):
        if self.process.poll() is None:
            self.process.send_signal(how)
        out, err = self.process.communicate(timeout=5)
        return self.process.returncode, out, err


def pressure(client, address):
    return float_of(client.read_input_registers(address, 2, slave=PANEL).registers)


def write_float(client, address, value):
    answer = client.write_registers(address, list(struct.unpack(">HH", struct.pack(">f", value))), slave=PANEL)
    assert not answer.isError(), answer


class Served(unittest.TestCase):
    bench_name = "virtual-bench.json"
    options = ()

    def setUp(self):
        self.sim = Sim(self.bench(), *self.options).wait_ready()
        self.addCleanup(self.sim.stop)

    def bench(self):
        return example(self.bench_name)
