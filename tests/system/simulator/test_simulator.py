"""endstop-sim from outside: pymodbus (a Modbus stack that is not ours) and pyserial talk to it.

Usage: test_simulator.py ENDSTOP-SIM SOURCE-FOLDER
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

import serial

try:
    import serial_asyncio  # noqa: F401
except ImportError:  # only pymodbus's asynchronous half needs it, and Debian's package does not bring it
    sys.modules["serial_asyncio"] = types.SimpleNamespace(create_serial_connection=None)
from pymodbus.client import ModbusSerialClient, ModbusTcpClient

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


class Tcp(Served):
    options = ("--speed", "10")

    def wait_for(self, condition, text, seconds=20):
        end = time.monotonic() + seconds
        while not condition():
            self.assertLess(time.monotonic(), end, text)
            time.sleep(0.02)

    def test_room_is_as_it_should_be(self):
        registers = self.sim.tcp().read_input_registers(18, 8, slave=ROOM).registers
        self.assertAlmostEqual(float_of(registers[0:2]), 20.0, delta=1.5)
        self.assertAlmostEqual(float_of(registers[2:4]), 1013.25, delta=3)
        self.assertAlmostEqual(float_of(registers[4:6]), 45, delta=8)
        self.assertAlmostEqual(float_of(registers[6:8]), -20, delta=5)

    def test_air_comes_and_goes(self):
        client = self.sim.tcp()
        self.assertAlmostEqual(pressure(client, SUPPLY_PRESSURE), 0, delta=0.02)
        write_float(client, SUPPLY_DEMAND, 4.0)
        self.assertFalse(client.write_coil(SUPPLY_VALVE, True, slave=SWITCHES).isError())
        self.wait_for(lambda: abs(pressure(client, SUPPLY_PRESSURE) - 4) < 0.05, "supply pressure does not come")
        self.assertAlmostEqual(float_of(client.read_holding_registers(SUPPLY_DEMAND, 2, slave=PANEL).registers), 4.0)
        self.assertEqual(client.read_coils(SUPPLY_VALVE, 3, slave=SWITCHES).bits[:3], [True, False, True])
        client.write_coils(SUPPLY_VALVE, [False, True, True], slave=SWITCHES)
        self.wait_for(lambda: pressure(client, SUPPLY_PRESSURE) < 0.02, "supply pressure does not go")

    def test_loop_source_moves_the_actuator(self):
        client = self.sim.tcp()
        write_float(client, SUPPLY_DEMAND, 4.0)
        client.write_coils(SUPPLY_VALVE, [True, True, False], slave=SWITCHES)
        with serial.Serial(os.path.join(self.sim.folder, "loop-source"), 115200, timeout=2) as loop:
            loop.write(b"*IDN?\n")
            self.assertTrue(loop.readline().endswith(b"\n"))
            loop.write(b"SOUR:CURR 20.0000\n")
            self.wait_for(lambda: pressure(client, TRAVEL) > 29, "the actuator does not move")
            loop.write(b"MEAS:CURR?\n")
            self.assertAlmostEqual(float(loop.readline()), 20.0, delta=0.01)
            loop.write(b"MEAS:VOLT?\n")
            self.assertTrue(8 < float(loop.readline()) < 11)
            loop.write(b"SOUR:CURR 4.0000\n")
            self.wait_for(lambda: pressure(client, TRAVEL) < 0.5, "the actuator does not come back")

    def test_shaft_motor(self):
        client = self.sim.tcp()
        client.write_coil(COUPLING, True, slave=SWITCHES)
        for angle in (-40.0, 35.0):
            write_float(client, SHAFT_DRIVE, angle)
            self.wait_for(lambda a=angle: abs(pressure(client, SHAFT_ANGLE) - a) < 0.1, "the shaft does not turn")

    def test_unknown_addresses_are_refused(self):
        client = self.sim.tcp()
        self.assertEqual(client.read_input_registers(5000, 2, slave=PANEL).exception_code, 2)
        self.assertEqual(client.read_input_registers(18, 4, slave=PANEL).exception_code, 2)
        self.assertEqual(client.write_register(0, 1, slave=PANEL).exception_code, 2)
        self.assertEqual(client.write_coil(99, True, slave=SWITCHES).exception_code, 2)
        self.assertEqual(client.read_coils(0, 1, slave=77).exception_code, 11)
        self.assertFalse(client.read_input_registers(0, 18, slave=PANEL).isError())

    def test_several_clients(self):
        clients = [self.sim.tcp() for _ in range(8)]
        for _ in range(5):
            for client in clients:
                self.assertFalse(client.read_input_registers(0, 18, slave=PANEL).isError())

    def test_half_a_request_holds_nobody_up(self):
        with socket.create_connection(("127.0.0.1", self.sim.port)) as half:
            half.sendall(b"\x00\x01\x00\x00\x00\x06\x01")
            begin = time.monotonic()
            self.assertFalse(self.sim.tcp().read_input_registers(0, 2, slave=PANEL).isError())
            self.assertLess(time.monotonic() - begin, 0.5)
            half.sendall(b"\x04\x00\x00\x00\x02")
            half.settimeout(2)
            self.assertEqual(half.recv(64)[:9], b"\x00\x01\x00\x00\x00\x07\x01\x04\x04")

    def test_garbage_ends_only_its_own_connection(self):
        with socket.create_connection(("127.0.0.1", self.sim.port)) as bad:
            bad.sendall(b"GET / HTTP/1.1\r\n\r\n")
            bad.settimeout(2)
            self.assertEqual(bad.recv(64), b"")
        self.assertFalse(self.sim.tcp().read_input_registers(0, 2, slave=PANEL).isError())

    def test_fault_shows_while_it_runs(self):
        client = self.sim.tcp()
        write_float(client, SUPPLY_DEMAND, 4.0)
        client.write_coils(SUPPLY_VALVE, [True, False, True], slave=SWITCHES)
        self.wait_for(lambda: pressure(client, SUPPLY_PRESSURE) > 3.9, "no supply")
        self.wait_for(lambda: pressure(client, OUTPUT_1_FLOW) < 5, "a good unit leaks")
        self.assertEqual(self.sim.do("set fault relay-seat-leaks-to-output-1 0.5"), "ok\n")
        self.wait_for(lambda: pressure(client, OUTPUT_1_FLOW) > 50, "the leak does not show")
        self.assertEqual(self.sim.do("set fault relay seat leaks to output 1 0"), "ok\n")
        self.wait_for(lambda: pressure(client, OUTPUT_1_FLOW) < 5, "the leak does not go")

    def test_emergency_stop_and_guard(self):
        client = self.sim.tcp()
        inputs = lambda: client.read_discrete_inputs(0, 2, slave=SWITCHES).bits[:2]
        self.assertEqual(inputs(), [True, True])
        self.sim.process.stdin.write("set emergency stop 0\nset guard 0\n")
        self.sim.process.stdin.flush()
        self.wait_for(lambda: inputs() == [False, False], "standard input is not heard")
        self.assertEqual(self.sim.do("set emergency-stop 1"), "ok\n")
        self.assertEqual(inputs(), [True, False])

    def test_commands_answer_clearly(self):
        for wrong in ("set fault no-such 1", "set fault spool worn 2", "set travel 1 mm", "silence nothing 1", "jump",
                      "silence panel", "delay panel 1", "mount something 1", "show", "set guard 5", "after x stop",
                      "silence panel 1 2", "disconnect measuring-panel", "heal nobody", "set mains 5 mA", "set mains -1 bar",
                      "set mains 5 bar 0", "mount part-turn-double-acting 7 with feedback", "set fault slow-bus"):
            self.assertTrue(self.sim.do(wrong).startswith("error: "), wrong)
        self.assertIn("spool worn", self.sim.do("show faults"))
        self.assertIn("supply pressure", self.sim.do("show values"))
        self.assertIn("panel", self.sim.do("show buses"))
        self.assertIn("Commands", self.sim.do("help"))
        self.assertEqual(self.sim.do("mount part-turn-double-acting 7"), "ok\n")
        self.assertEqual(self.sim.do("station 1 set guard 1"), "ok\n")

    def ask(self, unit=PANEL, patience=5):
        """The answer's bytes to one request; b"" when none comes."""
        with socket.create_connection(("127.0.0.1", self.sim.port)) as raw:
            raw.settimeout(patience)
            raw.sendall(b"\x00\x07\x00\x00\x00\x06" + bytes([unit]) + b"\x04\x00\x12\x00\x02" if unit == ROOM
                        else b"\x00\x07\x00\x00\x00\x06" + bytes([unit]) + b"\x04\x00\x00\x00\x02")
            try:
                return raw.recv(64)
            except TimeoutError:
                return b""

    def do(self, command):
        self.assertEqual(self.sim.do(command), "ok\n", command)

    def test_troubles_of_a_bus(self):
        """Each lasts until it is healed: nothing here depends on how fast the machine is."""
        self.do("silence panel 600")
        self.assertEqual(self.ask(patience=0.3), b"")
        self.assertIn("silence for another", self.sim.do("show buses"))
        self.do("heal panel")
        self.assertEqual(len(self.ask()), 13)
        self.do("refuse panel 600")
        self.assertEqual(self.ask()[7:9], b"\x84\x04")
        self.do("heal")
        self.do("corrupt panel 600")
        self.assertEqual(self.ask()[7], 0x04 ^ 0x55)
        self.do("heal")
        self.do("cut panel 600")
        self.assertEqual(len(self.ask()), 7)
        self.do("heal")
        self.do("delay panel 600 by 0.25")
        begin = time.monotonic()
        self.assertEqual(len(self.ask()), 13)
        self.assertGreater(time.monotonic() - begin, 0.24)
        self.do("silence panel 0.05")  # ends by itself
        self.wait_for(lambda: self.ask(patience=0.5) != b"", "it stays silent")

    def test_trouble_of_one_instrument_leaves_the_others_alone(self):
        self.do("refuse measuring-panel 600")
        self.do("silence loop-source 600")
        self.assertEqual(self.ask()[7:9], b"\x84\x04")
        self.assertEqual(len(self.ask(ROOM)), 13)
        with serial.Serial(os.path.join(self.sim.folder, "loop-source"), 115200, timeout=0.3) as loop:
            loop.write(b"*IDN?\n")
            self.assertEqual(loop.readline(), b"")
            self.do("heal loop-line")
            loop.write(b"*IDN?\n")
            loop.timeout = 5
            self.assertNotEqual(loop.readline(), b"")
        self.assertEqual(self.ask()[7:9], b"\x84\x04")

    def test_text_lines_refuse_with_an_error_in_the_queue(self):
        self.do("refuse loop-source 600")
        with serial.Serial(os.path.join(self.sim.folder, "loop-source"), 115200, timeout=0.3) as loop:
            loop.write(b"MEAS:CURR?\n")
            self.assertEqual(loop.readline(), b"")

    def test_trouble_hits_its_share_of_the_requests(self):
        self.do("refuse panel 600 0.3")
        client = self.sim.tcp(timeout=5)
        refused = sum(client.read_input_registers(0, 2, slave=PANEL).isError() for _ in range(400))
        self.assertTrue(85 <= refused <= 155, refused)  # 120 expected, 9.2 standard deviation

    def test_told_from_a_shell(self):
        tell = lambda *words: subprocess.run([SIM, "--tell", self.sim.control_path, *words], capture_output=True,
                                             text=True, check=False, timeout=20)
        done = tell("set", "fault", "spool-worn", "0.4")
        self.assertEqual((done.returncode, done.stdout, done.stderr), (0, "", ""))
        done = tell("show faults")
        self.assertEqual(done.returncode, 0)
        self.assertRegex(done.stdout, r"spool worn +unit +0\.4 ")
        self.assertNotIn("ok\n", done.stdout)
        done = tell("set fault spool-worn 4")
        self.assertEqual(done.returncode, 3)
        self.assertIn("between 0 and 1", done.stderr)
        done = subprocess.run([SIM, "--tell", self.sim.control_path + "x", "help"], capture_output=True, text=True,
                              check=False)
        self.assertEqual(done.returncode, 3)
        self.assertIn("--control", done.stderr)
        self.assertEqual(tell().returncode, 2)

    def test_another_unit_finds_the_bench_as_it_was(self):
        self.do("set fault flow-sensor-drifted 0.5")
        self.do("set fault spool-worn 0.5")
        self.do("mount relay-module-double-acting 3")
        said = self.sim.do("show faults")
        self.assertRegex(said, r"flow sensor drifted +bench +0\.5 ")
        self.assertRegex(said, r"spool worn +unit +0 ")
        self.assertNotIn("sensor track worn", said)
        self.do("mount part-turn-double-acting 3 without feedback with shut-down")

    def test_disconnect(self):
        client = self.sim.tcp()
        self.assertFalse(client.read_input_registers(0, 2, slave=PANEL).isError())
        self.assertEqual(self.sim.do("disconnect panel 600"), "ok\n")
        with self.assertRaises(OSError):
            socket.create_connection(("127.0.0.1", self.sim.port), timeout=1).close()
        self.assertIn("hung up", self.sim.do("show buses"))
        self.do("heal panel")
        self.wait_for(self.can_connect, "the bus does not come back")
        self.assertFalse(self.sim.tcp().read_input_registers(0, 2, slave=PANEL).isError())

    def can_connect(self):
        try:
            socket.create_connection(("127.0.0.1", self.sim.port), timeout=1).close()
            return True
        except OSError:
            return False

    def test_serial_line_hangs_up_and_comes_back(self):
        device = os.path.join(self.sim.folder, "loop-source")
        with serial.Serial(device, 115200, timeout=0.5) as loop:
            self.assertEqual(self.sim.do("disconnect loop-line"), "ok\n")
            with self.assertRaises(OSError):  # pyserial's own error is one
                loop.write(b"*IDN?\n")
                if not loop.readline():
                    raise OSError("silent")
        with serial.Serial(device, 115200, timeout=2) as loop:
            loop.write(b"*IDN?\n")
            self.assertNotEqual(loop.readline(), b"")

    def test_later(self):
        client = self.sim.tcp()
        begin = time.monotonic()
        self.assertEqual(self.sim.do("after 1 set guard 0"), "ok\n")
        shut = client.read_discrete_inputs(1, 1, slave=SWITCHES).bits[0]
        if time.monotonic() - begin < 0.9:  # else the machine stood still for so long
            self.assertTrue(shut)
        self.wait_for(lambda: not client.read_discrete_inputs(1, 1, slave=SWITCHES).bits[0], "never done")

    def test_stop_command(self):
        self.sim.do("stop")
        self.assertEqual(self.sim.process.wait(5), 0)


class DigitalChannel(Served):
    bench_name = "virtual-bench-digital.json"
    options = ("--speed", "50")

    def test_the_unit_answers_on_a_third_line(self):
        client = self.sim.tcp()
        write_float(client, SUPPLY_DEMAND, 4.0)
        client.write_coils(SUPPLY_VALVE, [True, True, False], slave=SWITCHES)
        with serial.Serial(os.path.join(self.sim.folder, "loop-source-digital"), 115200, timeout=10) as loop:
            loop.write(b"SOUR:CURR 12.0000\nMEAS:CURR?\n")
            self.assertTrue(loop.readline())
        with serial.Serial(os.path.join(self.sim.folder, "unit-channel"), 115200, timeout=10) as unit:
            def say(line):
                unit.write(line.encode() + b"\n")
                return unit.readline().decode().strip()
            say("WHO?")
            end = time.monotonic() + 30
            while abs(float(say("RATIO?").removeprefix("ratio=")) - 50) > 4:
                self.assertLess(time.monotonic(), end, "the unit does not go to its middle")
            self.assertEqual(say("ADJUST=ON"), "ADJUST=ON")
            self.assertEqual(say("ADJUST?"), "ON")
            low = high = 50.0
            while low > 32 or high < 68:  # it goes to both ends: 28 % and 72 %
                ratio = float(say("RATIO?").removeprefix("ratio="))
                low, high = min(low, ratio), max(high, ratio)
                self.assertLess(time.monotonic(), end, (low, high))


class TwoStations(Served):
    bench_name = "virtual-bench-two.json"
    options = ("--speed", "10", "--unit", "2=part-turn-double-acting", "--without", "feedback")

    def bench(self):
        return example(self.bench_name)

    def test_each_has_its_own_unit_and_both_the_same_air(self):
        self.assertIn('station "1": linear-single-acting', self.ready_text())
        self.assertIn('station "2": part-turn-double-acting', self.ready_text())
        self.assertIn("header 7.5", self.sim.do("show supply"))
        self.assertEqual(self.sim.do("set mains 6 bar 0.002"), "ok\n")  # a line as narrow as a needle
        for command in ("set supply demand 5 bar", "set supply valve 1", "set loop demand 20 mA"):
            self.assertEqual(self.sim.do("station 2 " + command), "ok\n")
        lowest, end = 10.0, time.monotonic() + 20
        while lowest > 3.5:
            self.assertLess(time.monotonic(), end, f"the header falls to {lowest} bar only")
            lowest = min(lowest, float(self.sim.do("show supply").split("header")[1].split()[0]))
        self.sim.do("set mains 9 bar 20")
        while float(self.sim.do("show supply").split("header")[1].split()[0]) < 8.9:
            self.assertLess(time.monotonic(), end, "the header does not fill")

    def ready_text(self):
        with open(self.sim.ready, encoding="utf-8") as f:
            return f.read()


class Rtu(Served):
    bench_name = "virtual-bench-rtu.json"

    def test_rtu(self):
        device = os.path.join(self.sim.folder, "panel-line")
        client = ModbusSerialClient(device, baudrate=115200, parity="N", timeout=1)
        self.assertTrue(client.connect())
        supply = lambda: client.read_input_registers(0, 1, slave=PANEL).registers[0] * 0.0005
        self.assertAlmostEqual(supply() if supply() < 30 else supply() - 32.768, 0, delta=0.02)
        self.assertFalse(client.write_register(100, 6000, slave=PANEL).isError())
        self.assertFalse(client.write_coil(SUPPLY_VALVE, True, slave=SWITCHES).isError())
        end = time.monotonic() + 5
        while abs(supply() - 3) > 0.05:
            self.assertLess(time.monotonic(), end)
        self.assertEqual(client.read_input_registers(5000, 1, slave=PANEL).exception_code, 2)
        client.close()

    def test_wrong_checksum_and_other_unit_get_silence(self):
        with serial.Serial(os.path.join(self.sim.folder, "panel-line"), 115200, timeout=0.3) as line:
            good = bytes.fromhex("010400000002 71cb".replace(" ", ""))
            line.write(good[:-1] + b"\x00")
            self.assertEqual(line.read(9), b"")
            line.write(good)
            answer = line.read(9)
            self.assertEqual(answer[:3], b"\x01\x04\x04")
            line.write(bytes.fromhex("09040000000270b3"))  # unit 9 is not there (and its checksum is wrong too)
            self.assertEqual(line.read(9), b"")
            time.sleep(0.1)
            line.write(good)
            self.assertEqual(line.read(9)[:3], b"\x01\x04\x04")


class OtherLayouts(Served):
    """Scale, table of points, word orders, integers and bits of registers, turned round."""
    options = ("--speed", "20")

    def bench(self):
        bench = example("virtual-bench.json")
        for c in bench["stations"][0]["channels"]:
            if c["role"] == "supply pressure":
                c["address"] = {"table": "input register", "address": 200, "type": "uint16"}
                c["scale"] = {"factor": 0.0005, "offset": -1.0}
            elif c["role"] == "supply demand":
                c["address"] = {"table": "holding register", "address": 300, "type": "int32", "word order": "low first"}
                c["scale"] = {"table": [[0, 0], [1000, 2], [100000, 8]]}
            elif c["role"] == "shaft angle":
                c["address"] = {"table": "input register", "address": 204, "type": "float64", "word order": "low first"}
            elif c["role"] == "guard":
                c["address"] = {"table": "input register", "address": 210, "type": "bit", "bit": 5}
        return bench

    def test_layouts(self):
        client = self.sim.tcp()
        low, high = 34000 & 0xFFFF, 34000 >> 16  # 2 + (34000 - 1000)/99000 * 6 = 4 bar
        self.assertFalse(client.write_registers(300, [low, high], slave=PANEL).isError())
        client.write_coil(SUPPLY_VALVE, True, slave=SWITCHES)
        end = time.monotonic() + 5
        while abs(client.read_input_registers(200, 1, slave=PANEL).registers[0] * 0.0005 - 1 - 4) > 0.03:
            self.assertLess(time.monotonic(), end)
        self.assertEqual(client.read_holding_registers(300, 2, slave=PANEL).registers, [low, high])
        words = client.read_input_registers(204, 4, slave=PANEL).registers
        angle = struct.unpack(">d", struct.pack(">4H", *reversed(words)))[0]
        self.assertTrue(-28 < angle < -24, angle)
        self.assertEqual(client.read_input_registers(210, 1, slave=SWITCHES).registers[0], 1 << 5)
        self.sim.do("set guard 0")
        self.assertEqual(client.read_input_registers(210, 1, slave=SWITCHES).registers[0], 0)


class Ends(unittest.TestCase):
    """How it begins and ends."""

    def left_over(self, folder):
        return sorted(set(os.listdir(folder)) - {"bench.json"})

    def test_signals_leave_nothing_behind(self):
        for how in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            sim = Sim(example("virtual-bench.json")).wait_ready()
            self.assertEqual(self.left_over(sim.folder), ["control", "loop-source", "ready"])
            code, _, err = sim.stop(how)
            self.assertEqual((code, err), (0, ""))
            self.assertEqual(self.left_over(sim.folder), [])

    def test_works_over_what_a_killed_one_left(self):
        sim = Sim(example("virtual-bench.json")).wait_ready()
        sim.stop(signal.SIGKILL)
        self.assertEqual(self.left_over(sim.folder), ["control", "loop-source", "ready"])
        os.unlink(sim.ready)
        again = Sim(example("virtual-bench.json"), folder=sim.folder).wait_ready()
        self.assertEqual(again.stop()[0], 0)
        self.assertEqual(self.left_over(sim.folder), [])

    def refused(self, bench, folder, text, *options, prepare=None):
        sim = Sim(bench, *options, folder=folder)
        code, _, err = sim.stop(0) if sim.process.wait(10) is None else (sim.process.returncode, *sim.process.communicate())
        self.assertNotEqual(code, 0)
        self.assertIn(text, err)

    def test_touches_nothing_that_is_not_its_own(self):
        folder = tempfile.mkdtemp()
        device = os.path.join(folder, "loop-source")
        with open(device, "w", encoding="utf-8") as f:
            f.write("precious")
        self.refused(example("virtual-bench.json"), folder, "not touched")
        with open(device, encoding="utf-8") as f:
            self.assertEqual(f.read(), "precious")
        os.unlink(device)
        os.symlink("/etc/hostname", device)
        self.refused(example("virtual-bench.json"), folder, "not touched")
        self.assertEqual(os.readlink(device), "/etc/hostname")

    def test_two_of_them_do_not_share_a_line(self):
        first = Sim(example("virtual-bench.json")).wait_ready()
        target = os.readlink(os.path.join(first.folder, "loop-source"))
        self.refused(example("virtual-bench.json"), first.folder, "already serves")
        self.assertEqual(os.readlink(os.path.join(first.folder, "loop-source")), target)
        self.assertEqual(first.stop()[0], 0)

    def test_real_benches_and_real_devices_are_refused(self):
        bench = example("virtual-bench.json")
        del bench["virtual"]
        self.refused(bench, None, "real bench")
        bench = example("virtual-bench.json")
        bench["buses"][1]["settings"]["device"] = "/dev/ttyS9"
        self.refused(bench, None, "where real devices are")

    def test_wrong_use(self):
        for options, text in ((["--fault", "x=1"], "no fault"), (["--fault", "spool worn=2"], "SEVERITY"),
                              (["--unit", "x"], "--unit"), (["--seed", "-1"], "--seed"), (["--speed", "0"], "--speed"),
                              (["--station", "9"], "no station"), (["--command", "jump"], "not a command"),
                              (["--unit", "7=part-turn-double-acting"], "no station"), (["--with", "feedback"], "--with"),
                              (["--fault", "lever-too-short=1", "--unit", "part-turn-double-acting"], "cannot have")):
            self.refused(example("virtual-bench.json"), None, text, *options)
        done = subprocess.run([SIM], capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 2)
        self.assertIn("--bench", done.stderr)
        done = subprocess.run([SIM, "--help"], capture_output=True, text=True, check=False)
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        self.assertIn("--fault NAME=SEVERITY", done.stdout)
        with open("/dev/full", "w", encoding="utf-8") as full:
            done = subprocess.run([SIM, "--faults"], stdout=full, stderr=subprocess.PIPE, text=True, check=False)
        self.assertEqual(done.returncode, 3)
        self.assertIn("No space left", done.stderr)

    def test_same_seed_same_unit(self):
        def first_ratio(seed):
            sim = Sim(example("virtual-bench.json"), "--seed", seed, "--speed", "0.01").wait_ready()
            said = [l for l in sim.do("show values").splitlines() if l.startswith("sensor ratio")]
            sim.stop()
            return said[0].split("is")[-1]
        self.assertEqual(first_ratio("5"), first_ratio("5"))
        self.assertNotEqual(first_ratio("5"), first_ratio("6"))


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1], verbosity=2)
