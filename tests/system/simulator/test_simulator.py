"""endstop-sim from outside over Modbus RTU and text lines, with several stations and other layouts, and how it ends.

Usage: test_simulator.py ENDSTOP-SIM SOURCE-FOLDER
"""
import os
import signal
import struct
import subprocess
import sys
import tempfile
import time
import unittest

import serial

from served import PANEL, SIM, SUPPLY_DEMAND, SUPPLY_VALVE, SWITCHES, Served, Sim, example, write_float
from pymodbus.client import ModbusSerialClient  # after served, which stands in for a module that it wants


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
