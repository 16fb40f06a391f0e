#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""The far ends of a cell's outputs, in a process of their own that outlives the daemon: a relay box on a serial port that
holds its last state, a Modbus I/O block with a watchdog of its own, and a PLC that a cell writes its registers into.
Written over plain sockets and a pseudo-terminal, so that nothing is shared with the daemon or its libraries.

Each keeps a file whose first byte is "1" while its accept light is lit (for the PLC: while a careful program would accept).

Usage: devices.py FOLDER; prints "coils PORT registers PORT" and ends on SIGTERM or when its parent is gone."""
import os
import pathlib
import select
import signal
import socket
import struct
import sys
import threading
import time
import tty

WATCHDOG_S = 0.4  # of the I/O block: without a write this long it drops its coils
HEARTBEAT_S = 2.0


class LightFile:
    def __init__(self, path):
        self.descriptor = os.open(path, os.O_CREAT | os.O_RDWR | os.O_TRUNC, 0o644)
        self.lit = None
        self.set(False)

    def set(self, lit):
        if lit != self.lit:
            self.lit = lit
            os.pwrite(self.descriptor, b"1" if lit else b"0", 0)


class Relay(threading.Thread):
    """Three relays, "R1 ON" / "R1 OFF" and so on, each answered by "DONE 1". They stay as they are told."""

    def __init__(self, path, light):
        super().__init__(daemon=True)
        self.master, self.slave = os.openpty()  # the slave stays open here: the box does not go away with the daemon
        tty.setraw(self.slave)
        path.unlink(missing_ok=True)
        path.symlink_to(os.ttyname(self.slave))
        self.light, self.states, self.mute = light, [False] * 3, False

    def run(self):
        line = b""
        while True:
            line += os.read(self.master, 256)
            while b"\r\n" in line:
                command, line = line.split(b"\r\n", 1)
                words = command.split()
                if len(words) == 2 and words[0] in (b"R1", b"R2", b"R3") and words[1] in (b"ON", b"OFF"):
                    number = words[0][1] - ord("1")
                    self.states[number] = words[1] == b"ON"
                    self.light.set(self.states[0])
                    os.write(self.master, b"DONE %d\r\n" % (number + 1))


class ModbusDevice(threading.Thread):
    """Serves one table; `written(function, address, values)` after each write."""

    def __init__(self):
        super().__init__(daemon=True)
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]

    def run(self):
        while True:
            client, _ = self.listener.accept()
            threading.Thread(target=self.serve, args=(client,), daemon=True).start()

    def serve(self, client):
        with client:
            while True:
                head = self.take(client, 7)
                if head is None:
                    return
                transaction, _, length, unit = struct.unpack(">HHHB", head)
                body = self.take(client, length - 1)
                if body is None:
                    return
                answer = self.answer(body)
                client.sendall(struct.pack(">HHHB", transaction, 0, len(answer) + 1, unit) + answer)

    @staticmethod
    def take(client, size):
        data = b""
        while len(data) < size:
            try:
                piece = client.recv(size - len(data))
            except OSError:
                return None
            if not piece:
                return None
            data += piece
        return data


class IoBlock(ModbusDevice):
    def __init__(self, light):
        super().__init__()
        self.light, self.coils, self.heard, self.lock = light, [False] * 16, 0.0, threading.Lock()
        threading.Thread(target=self.watch, daemon=True).start()

    def watch(self):
        while True:
            time.sleep(0.005)
            with self.lock:
                if time.monotonic() - self.heard > WATCHDOG_S:
                    self.coils = [False] * 16
                    self.light.set(False)

    def answer(self, body):
        function, address, count = struct.unpack_from(">BHH", body)
        with self.lock:
            if function == 15 and address + count <= 16:
                for i in range(count):
                    self.coils[address + i] = bool(body[6 + i // 8] >> (i % 8) & 1)
                self.heard = time.monotonic()
                self.light.set(self.coils[4])
                return body[:5]
            if function == 1 and address + count <= 16:
                packed = bytearray((count + 7) // 8)
                for i in range(count):
                    packed[i // 8] |= self.coils[address + i] << (i % 8)
                return bytes([1, len(packed)]) + bytes(packed)
        return bytes([function | 0x80, 1])


class OtherPlc(ModbusDevice):
    """Reads the cell's block as its page says: all signs agree, the block is whole, the heartbeat moved within 2 s."""

    def __init__(self, light):
        super().__init__()
        self.light, self.block, self.heartbeat, self.moved = light, [0] * 75, None, 0.0
        threading.Thread(target=self.watch, daemon=True).start()

    def watch(self):
        while True:
            time.sleep(0.005)
            block = self.block
            fresh = time.monotonic() - self.moved < HEARTBEAT_S
            agrees = block[5] >> 2 & 0b1111 == 0b0011 and block[6] == 0xA5C3 and block[0] == block[74]
            self.light.set(fresh and agrees)

    def answer(self, body):
        function, address, count = struct.unpack_from(">BHH", body)
        if function == 16 and address == 200 and count == 75:
            self.block = list(struct.unpack_from(">75H", body, 6))
            if self.block[2] != self.heartbeat:
                self.heartbeat, self.moved = self.block[2], time.monotonic()
            return body[:5]
        return bytes([function | 0x80, 2])


def main():
    folder = pathlib.Path(sys.argv[1])
    Relay(folder / "relay", LightFile(folder / "relay.accept")).start()
    coils = IoBlock(LightFile(folder / "coils.accept"))
    registers = OtherPlc(LightFile(folder / "registers.accept"))
    coils.start()
    registers.start()
    print(f"coils {coils.port} registers {registers.port}", flush=True)
    signal.signal(signal.SIGTERM, lambda *_: os._exit(0))
    parent = os.getppid()
    while os.getppid() == parent:
        select.select([], [], [], 0.5)


if __name__ == "__main__":
    main()
