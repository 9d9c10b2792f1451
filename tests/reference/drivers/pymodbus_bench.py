#!/usr/bin/python3
"""A small bench played by pymodbus (Debian's python3-pymodbus), a Modbus stack that is not libmodbus: its frames, its
data store, its coding of numbers. Every type, word order and byte order, all four tables, reads and writes, RTU on a
pseudo-terminal and TCP. Only the transports are ours (pymodbus's own need further packages).

use: pymodbus_bench.py MODBUS_CHECK"""
import math
import os
import pty
import select
import socket
import struct
import subprocess
import sys
import threading
import tty

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.factory import ServerDecoder
from pymodbus.framer.rtu_framer import ModbusRtuFramer
from pymodbus.framer.socket_framer import ModbusSocketFramer
from pymodbus.payload import BinaryPayloadBuilder
from pymodbus.constants import Endian

UNIT = 17
SIZE = 4000


def store():
    """A layout unlike that of the other tests: unit 17, zero-based addresses from 1000 and 3000."""
    def block():
        return ModbusSequentialDataBlock(0, [0] * SIZE)
    slave = ModbusSlaveContext(di=block(), co=block(), hr=block(), ir=block(), zero_mode=True)
    return slave, ModbusServerContext(slaves={UNIT: slave}, single=False)


def serve(framer, context, receive, send):

    def execute(request):
        response = request.execute(context[request.unit_id])
        response.transaction_id = request.transaction_id
        response.unit_id = request.unit_id
        send(framer.buildPacket(response))
    while True:
        data = receive()
        if not data:
            return
        framer.processIncomingPacket(data, execute, [UNIT], single=False)


def serve_rtu(context):
    master, slave = pty.openpty()
    tty.setraw(slave)
    framer = ModbusRtuFramer(ServerDecoder(), None)

    def receive():
        select.select([master], [], [])
        return os.read(master, 512)
    threading.Thread(target=serve, args=(framer, context, receive, lambda b: os.write(master, b)), daemon=True).start()
    return os.ttyname(slave), slave


def serve_tcp(context):
    listener = socket.create_server(("127.0.0.1", 0))

    def run():
        while True:
            connection, _ = listener.accept()
            framer = ModbusSocketFramer(ServerDecoder(), None)
            threading.Thread(target=serve, args=(framer, context, lambda: connection.recv(512), connection.sendall),
                             daemon=True).start()
    threading.Thread(target=run, daemon=True).start()
    return str(listener.getsockname()[1]), listener


NUMBERS = {
    "int16": ("add_16bit_int", "h", [0, 1, -1, -32768, 32767, -12345]),
    "uint16": ("add_16bit_uint", "H", [0, 1, 65535, 54321]),
    "int32": ("add_32bit_int", "i", [0, -1, -2**31, 2**31 - 1, 19088743]),
    "uint32": ("add_32bit_uint", "I", [0, 2**32 - 1, 0x01020304]),
    "float32": ("add_32bit_float", "f", [0.0, -1.5, 3.1415927410125732, 2.0 ** -140, -3.4028234663852886e38]),
    "float64": ("add_64bit_float", "d", [0.0, math.pi, -1e300, 2.5e-308]),
}


def words_by_pymodbus(kind, value, wordorder):
    builder = BinaryPayloadBuilder(byteorder=Endian.Big, wordorder=wordorder)
    getattr(builder, NUMBERS[kind][0])(value)
    return [struct.unpack(">H", r)[0] for r in builder.build()]


def words_by_digits(kind, value, digits):
    raw = struct.pack(">" + NUMBERS[kind][1], value)
    words = [struct.unpack(">H", raw[i:i + 2])[0] for i in range(0, len(raw), 2)]
    return [words[int(d) - 1] for d in digits]


def swapped(words):
    return [(w & 0xff) << 8 | w >> 8 for w in words]


def cases():
    """(type, word order for the driver, byte order, value, registers)"""
    for kind, (_, code, values) in NUMBERS.items():
        for value in values:
            forms = [("-", words_by_pymodbus(kind, value, Endian.Big)),
                     ("low-first", words_by_pymodbus(kind, value, Endian.Little))]
            size = struct.calcsize(code) // 2
            if size == 2:
                forms += [(d, words_by_digits(kind, value, d)) for d in ("12", "21")]
            if size == 4:
                forms += [(d, words_by_digits(kind, value, d)) for d in ("2143", "3412", "4321", "3142")]
            for order, words in forms:
                yield kind, order, "high", value, words
                yield kind, order, "low", value, swapped(words)


HOLDING, INPUT, COIL, DISCRETE = 3, 4, 1, 2  # function codes by which pymodbus names its tables


def orders_for_reads(slave):
    lines, at = [], {"holding": 1000, "input": 3000}
    for index, (kind, order, byte_order, value, words) in enumerate(cases()):
        table = "holding" if index % 2 else "input"
        slave.setValues(HOLDING if table == "holding" else INPUT, at[table], words)
        lines.append(f"read {table} {at[table]} {kind} {order} {byte_order} -1 {value!r}")
        at[table] += len(words) + index % 3 * 3  # some neighbours touch, some do not
    slave.setValues(INPUT, 2000, words_by_pymodbus("float32", math.nan, Endian.Big))
    lines.append("read input 2000 float32 - high -1 none")
    slave.setValues(HOLDING, 2000, [0b0000010000000001])
    lines += [f"read holding 2000 bit - high {b} {int(b in (0, 10))}" for b in (0, 1, 10, 15)]
    for a in range(40, 61):
        slave.setValues(COIL, a, [a % 3 == 0])
        slave.setValues(DISCRETE, a + 100, [a % 4 == 1])
        lines.append(f"read coil {a} bit - high -1 {int(a % 3 == 0)}")
        lines.append(f"read discrete {a + 100} bit - high -1 {int(a % 4 == 1)}")
    return lines


def orders_for_writes():
    lines, checks, at = [], [], 200
    for kind, order, byte_order, value, words in cases():
        lines.append(f"write holding {at} {kind} {order} {byte_order} -1 {value!r}")
        checks.append((HOLDING, at, words))
        at += len(words)
    for a in (5, 6, 7):
        lines.append(f"write coil {a} bit - high -1 {a % 2}")
        checks.append((COIL, a, [bool(a % 2)]))
    return lines, checks


def play(program, mode):
    slave, context = store()
    where, keep = (serve_rtu if mode == "rtu" else serve_tcp)(context)
    reads = orders_for_reads(slave)
    writes, checks = orders_for_writes()
    done = subprocess.run([program, mode, where, str(UNIT)], input="\n".join(writes + reads) + "\n", text=True,
                          stdout=subprocess.PIPE, timeout=100)
    bad = [(table, at, slave.getValues(table, at, len(words)), words) for table, at, words in checks
           if list(slave.getValues(table, at, len(words))) != words]
    for table, at, found, expected in bad:
        print(f"{mode}: function {table} address {at} holds {found}, expected {expected}")
    print(f"{mode}: {len(writes)} writes, {len(reads)} reads: {done.stdout.strip()}")
    del keep
    return done.returncode == 0 and not bad


def main():
    good = [play(sys.argv[1], mode) for mode in ("rtu", "tcp")]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())
