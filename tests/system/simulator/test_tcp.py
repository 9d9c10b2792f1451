"""endstop-sim over Modbus TCP from outside: pymodbus (a Modbus stack that is not ours) talks to it.

Usage: test_tcp.py ENDSTOP-SIM SOURCE-FOLDER
"""
import os
import socket
import subprocess
import sys
import time
import unittest

import serial

from served import (COUPLING, OUTPUT_1_FLOW, PANEL, ROOM, SHAFT_ANGLE, SHAFT_DRIVE, SIM, SUPPLY_DEMAND,
                     SUPPLY_PRESSURE, SUPPLY_VALVE, SWITCHES, Served, TRAVEL, float_of, pressure, write_float)


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


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1], verbosity=2)
