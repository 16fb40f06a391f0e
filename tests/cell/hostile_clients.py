# SPDX-License-Identifier: Apache-2.0
"""Modbus clients that no polite peer would be: they stall, spew, lie and never read, and come back when thrown out."""
import random
import socket
import struct
import threading
import time


def header(length, protocol=0):
    return struct.pack(">HHHB", 1, protocol, length, 1)


MANNERS = {
    "one byte, then silence": lambda s, r: (s.sendall(b"\x00"), time.sleep(0.5)),
    "half a request": lambda s, r: (s.sendall(header(6) + b"\x03\x00"), time.sleep(0.5)),
    "garbage": lambda s, r: s.sendall(r.randbytes(600)),
    "wrong protocol": lambda s, r: s.sendall(header(6, protocol=7) + b"\x03\x00\x00\x00\x01"),
    "length 1": lambda s, r: s.sendall(header(1)),
    "unknown function": lambda s, r: (s.sendall(header(6) + b"\x2b\x00\x00\x00\x01"), s.recv(64)),
    "too many registers": lambda s, r: (s.sendall(header(6) + b"\x03\x00\x00\x00\x7e"), s.recv(64)),
    "a write into the cell's block": lambda s, r: (s.sendall(header(6) + b"\x06\x00\x64\xa5\xc3"), s.recv(64)),
    "never reads": lambda s, r: s.sendall((header(6) + b"\x04\x00\x00\x00\x4b") * 200),
    "connects and leaves": lambda s, r: None,
}


class HostileClients:
    """`count` of them at a time until close()."""

    def __init__(self, port, count, seed=1):
        self.port, self.stopping, self.attacks, self.lock = port, False, 0, threading.Lock()
        self.threads = [threading.Thread(target=self.attack, args=(random.Random(seed * 1000 + i),), daemon=True)
                        for i in range(count)]
        for thread in self.threads:
            thread.start()

    def attack(self, chance):
        while not self.stopping:
            manner = chance.choice(list(MANNERS))
            try:
                with socket.create_connection(("127.0.0.1", self.port), timeout=1) as peer:
                    MANNERS[manner](peer, chance)
                    time.sleep(chance.uniform(0.0, 0.2))
            except OSError:
                pass  # thrown out: what they are there for
            with self.lock:
                self.attacks += 1
            time.sleep(0.05)

    def close(self):
        self.stopping = True
        for thread in self.threads:
            thread.join(timeout=5)
