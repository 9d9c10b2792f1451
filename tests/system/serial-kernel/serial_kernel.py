#!/usr/bin/python3
"""The serial transport on a kernel's real serial drivers, which a pseudo-terminal cannot stand for: settings,
exchange, unplugging found within a second, coming back under another name.

Debian packages: qemu-system-x86 busybox-static cpio kmod python3, and a kernel image that is fetched with
`apt-get download` and unpacked beside the build, not installed. Neither KVM nor root is needed; some 15 s.
Skipped (exit status 77) only when the kernel image cannot be had.

use: serial_kernel.py PROGRAM WORK_DIR        PROGRAM: serial_kernel, built
"""
import glob
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time

HERE = os.path.dirname(os.path.abspath(__file__))
MODULES = ["xhci-pci", "ftdi_sio"]  # with what they need: usb-common, usbcore, xhci-hcd, usbserial
SKIP = 77
GIVE_UP = 240  # s; on a busy machine without KVM


def skip(why):
    print(f"skipped: {why}")
    sys.exit(SKIP)


def run(*command, **more):
    return subprocess.run(command, check=True, text=True, stdout=subprocess.PIPE, **more).stdout


def kernel_root(work):
    """A folder with /boot/vmlinuz-* and /lib/modules/*, unpacked once."""
    root = os.path.join(work, "kernel")
    if glob.glob(root + "/boot/vmlinuz-*"):
        return root
    try:
        depends = run("apt-cache", "depends", "linux-image-amd64")
    except (OSError, subprocess.CalledProcessError) as e:
        skip(f"the kernel image's name cannot be asked for ({e})")
    names = re.findall(r"Depends: (linux-image-\S+)", depends)
    if not names:
        skip("apt knows no kernel image; run apt-get update")
    with tempfile.TemporaryDirectory(dir=work) as download:
        got = subprocess.run(["apt-get", "download", names[0]], cwd=download, text=True, stdout=subprocess.PIPE,
                             stderr=subprocess.STDOUT)
        packages = glob.glob(download + "/*.deb")
        if got.returncode != 0 or not packages:
            skip(f"the kernel image cannot be fetched: {got.stdout.strip()[-300:]}")
        run("dpkg-deb", "-x", packages[0], root + ".part")
    os.rename(root + ".part", root)
    return root


def module_files(root):
    version = os.listdir(root + "/lib/modules")[0]
    if not os.path.exists(f"{root}/lib/modules/{version}/modules.dep.bin"):
        run("/sbin/depmod", "-b", root, version)
    files = []
    for module in MODULES:
        text = run("/sbin/modprobe", "-d", root, "-S", version, "--show-depends", module)
        files += [f for f in re.findall(r"insmod (\S+)", text) if f not in files]
    return files


def shared_objects(program):
    text = run("ldd", program)
    return re.findall(r"(/\S+) \(0x", text)


def make_initramfs(program, root, work):
    tree = os.path.join(work, "initramfs")
    shutil.rmtree(tree, ignore_errors=True)
    for folder in ("bin", "modules"):
        os.makedirs(f"{tree}/{folder}")
    shutil.copy("/bin/busybox", tree + "/bin/busybox")
    os.symlink("busybox", tree + "/bin/sh")
    shutil.copy(HERE + "/init", tree + "/init")
    os.chmod(tree + "/init", 0o755)
    shutil.copy(program, tree + "/serial_kernel")
    for path in shared_objects(program):
        os.makedirs(tree + os.path.dirname(path), exist_ok=True)
        shutil.copy(path, tree + path)
    with open(tree + "/modules.list", "w") as f:
        for path in module_files(root):
            shutil.copy(path, tree + "/modules")
            f.write(f"/modules/{os.path.basename(path)}\n")
    image = os.path.join(work, "initramfs.cpio")
    names = run("find", ".", cwd=tree)
    with open(image, "wb") as f:
        subprocess.run(["cpio", "-o", "-H", "newc", "--quiet"], cwd=tree, check=True, input=names.encode(), stdout=f)
    return image


def crc(data):
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ 0xA001 if value & 1 else value >> 1
    return bytes([value & 0xFF, value >> 8])


class Line(threading.Thread):
    """The other end of one line: text in capitals, a Modbus instrument (unit 1, register a holds 555 for 107)."""

    def __init__(self, path, hand=None):
        super().__init__(daemon=True)
        self.hand = hand
        self.socket = socket.socket(socket.AF_UNIX)
        self.socket.connect(path)

    def run(self):
        data = b""
        while True:
            try:
                piece = self.socket.recv(4096)
            except OSError:
                return
            if not piece:
                return
            data = self.answer(data + piece)

    def answer(self, data):
        if data[:1] < b" ":  # a Modbus frame: unit 1 or 9
            if len(data) < 8:
                return data
            request, rest = data[:8], data[8:]
            if request[0] == 1 and crc(request[:6]) == request[6:] and request[1] == 3:
                first, count = request[2] << 8 | request[3], request[4] << 8 | request[5]
                words = [555 if a == 107 else 0 for a in range(first, first + count)]
                body = bytes([1, 3, 2 * count]) + b"".join(w.to_bytes(2, "big") for w in words)
                time.sleep(0.005)  # the emulated line does not pace
                self.socket.sendall(body + crc(body))
            return rest
        while b"\n" in data:
            line, data = data.split(b"\n", 1)
            for byte in line.upper() + b"\n":
                self.socket.sendall(bytes([byte]))
                time.sleep(0.001)
            if self.hand and line.startswith(b"hand: "):
                self.hand(line[6:].decode())
        return data


class Monitor:
    """QEMU's QMP socket."""

    def __init__(self, path):
        self.socket = socket.socket(socket.AF_UNIX)
        self.socket.connect(path)
        self.socket.settimeout(60)
        self.file = self.socket.makefile("r")
        self.plugged = "usb0"
        self.count = 0
        self.deleted = set()
        self.read()
        self.ask("qmp_capabilities")

    def read(self):
        line = self.file.readline()
        if not line:
            raise EOFError("the virtual machine has ended")
        message = json.loads(line)
        if message.get("event") == "DEVICE_DELETED":
            self.deleted.add(message["data"].get("device"))
        return message

    def ask(self, command, **arguments):
        self.socket.sendall(json.dumps({"execute": command, "arguments": arguments}).encode())
        while True:
            answer = self.read()
            if "return" in answer or "error" in answer:
                return answer

    def unplug(self):
        """Done only when the machine says so: until then the device holds its line."""
        answer = self.ask("device_del", id=self.plugged)
        while "return" in answer and self.plugged not in self.deleted:
            self.read()
        return answer

    def plug(self):
        """The device that has gone gives its line back a moment after it is said to be deleted."""
        self.count += 1
        self.plugged = f"usb{self.count}"
        until = time.monotonic() + 60
        while True:
            answer = self.ask("device_add", driver="usb-serial", chardev="usb", id=self.plugged, serial="ES-1")
            if "return" in answer or time.monotonic() > until:
                return answer
            time.sleep(0.05)

    def hand(self, order):
        if order == "unplug":
            time.sleep(0.5)
            print("hand: unplug", self.unplug(), flush=True)
        elif order == "plug":
            print("hand: plug", self.plug(), flush=True)


def connect(make, path, until):
    while True:
        try:
            return make(path)
        except (FileNotFoundError, ConnectionRefusedError):
            if time.monotonic() > until:
                raise
            time.sleep(0.05)


def play(kernel, image):
    with tempfile.TemporaryDirectory(prefix="es-serial-") as sockets:
        command = ["qemu-system-x86_64", "-accel", "tcg", "-m", "256", "-nodefaults", "-no-reboot", "-display", "none",
                   "-kernel", kernel, "-initrd", image,
                   "-append", "console=ttyS0 quiet panic=-1 rdinit=/init 8250.nr_uarts=4",
                   "-chardev", "stdio,id=console", "-serial", "chardev:console",
                   "-chardev", f"socket,id=second,path={sockets}/second,server=on,wait=off",
                   "-serial", "chardev:second",
                   "-device", "qemu-xhci,id=xhci",
                   "-chardev", f"socket,id=usb,path={sockets}/usb,server=on,wait=off",
                   "-device", "usb-serial,chardev=usb,id=usb0,serial=ES-1",
                   "-qmp", f"unix:{sockets}/monitor,server=on,wait=off"]
        qemu = subprocess.Popen(command, text=True, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                stderr=subprocess.STDOUT, errors="replace")
        timer = threading.Timer(GIVE_UP, qemu.kill)
        timer.start()
        try:
            until = time.monotonic() + 20
            monitor = connect(Monitor, sockets + "/monitor", until)
            connect(lambda p: Line(p, monitor.hand), sockets + "/second", until).start()
            connect(Line, sockets + "/usb", until).start()
            status = None
            for line in qemu.stdout:
                print(line.rstrip(), flush=True)
                found = re.search(r"SERIAL-KERNEL: exit status (\d+)", line)
                if found:
                    status = int(found.group(1))
            return status
        finally:
            timer.cancel()
            qemu.kill()
            qemu.wait()


def main():
    program, work = sys.argv[1], sys.argv[2]
    for tool in ("qemu-system-x86_64", "cpio", "/sbin/modprobe", "/bin/busybox"):
        if not shutil.which(tool):
            print(f"{tool} is missing: install qemu-system-x86 busybox-static cpio kmod")
            return 1
    os.makedirs(work, exist_ok=True)
    root = kernel_root(work)
    image = make_initramfs(program, root, work)
    started = time.monotonic()
    status = play(glob.glob(root + "/boot/vmlinuz-*")[0], image)
    print(f"{time.monotonic() - started:.1f} s, exit status {status}")
    return 0 if status == 0 else 1


if __name__ == "__main__":
    sys.exit(main())
