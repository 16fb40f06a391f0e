#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""An independent witness: samples the PLC's and the cell's registers and the lamp 200 times a second, in a process of
its own, and follows the ledger with a reader written from its format page. It decides what a wrong green is.

Green is what a careful reader would take for one: result valid, the accept bit and word agree, the block is whole, the
heartbeat moved within 2 s, the socket stands. It is wrong unless, at that moment,
  - the PLC's block says that a part is present and asks with the request that the cell echoes, for the same part id;
  - the ledger holds a judgement "accept" with the same sequence number and part id.
The lamp is wrong when its last line says ACCEPT for a part for longer than LAMP_GRACE_S while the registers do not
accept that part. A terminal keeps its last line when the daemon dies, and says so (falls_by_itself); so the lamp is
held against the registers only while the socket stands.
Every other accept light is wrong when it is lit for longer than LIGHT_GRACE_S (or its own grace, NAME:SECONDS) without
the registers' accept: also, and above all, when nobody serves the registers any more.

Usage: witness.py HOST PORT LEDGER LAMP_FILE [--by-hand] [--light NAME[:SECONDS]=FILE ...]; ends on SIGTERM with a summary, exit 1
when anything was wrong. --by-hand: a bench without a PLC, where nobody tells whether a part is present.
"""
import argparse
import os
import pathlib
import signal
import socket
import struct
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "protocol"))
from read_ledger import END, MARKER, read_header, whole_entry  # noqa: E402

PERIOD_S = 1 / 200
HEARTBEAT_S = 2.0
LAMP_GRACE_S = 0.25
LIGHT_GRACE_S = 0.6  # what is promised is 0.5 s; the rest is the look of both sides, 200 times a second
ACCEPT = 0xA5C3


def varint(data, at):
    value = shift = 0
    while True:
        byte = data[at]
        value |= (byte & 0x7F) << shift
        at, shift = at + 1, shift + 7
        if byte < 0x80:
            return value, at


def fields(data):
    """(number, value) of each field of a protobuf message; enough of the wire format for what is looked at here."""
    at = 0
    while at < len(data):
        key, at = varint(data, at)
        number, kind = key >> 3, key & 7
        if kind == 0:
            value, at = varint(data, at)
        elif kind == 2:
            length, at = varint(data, at)
            value, at = data[at:at + length], at + length
        else:
            size = 8 if kind == 1 else 4
            value, at = data[at:at + size], at + size
        yield number, value


class LedgerFollower:
    """Accepted (sequence, part id) pairs, read as the segments grow. Bodies of other kinds are passed over."""

    def __init__(self, directory):
        self.directory, self.segment, self.at, self.owner = pathlib.Path(directory), 1, 64, None
        self.accepts = set()

    def follow(self):
        while True:
            path = self.directory / f"{self.segment:06d}.ledger"
            if not path.exists():
                return
            with open(path, "rb") as file:
                if self.owner is None:
                    header = read_header(file.read(64))
                    if header is None:
                        return
                    self.owner = header[2] + struct.pack("<I", self.segment)
                file.seek(self.at)
                data = file.read()
            at, sealed = 0, False
            while len(data) - at >= 24 and data[at:at + 4] == MARKER:
                length, _, kind = struct.unpack_from("<IQB", data, at + 4)
                end = at + 24 + (length + 7) // 8 * 8
                if end > len(data):
                    break
                if kind == 2:
                    entry = whole_entry(data, at, self.owner, None)
                    if entry is None:
                        break
                    self.judgement(entry[2])
                at = end
                if kind == END:
                    sealed = True
                    break
            self.at += at
            if not sealed or not (self.directory / f"{self.segment + 1:06d}.ledger").exists():
                return
            self.segment, self.at, self.owner = self.segment + 1, 64, None

    def judgement(self, body):
        values = dict(fields(body))
        if values.get(10) == 2:  # VERDICT_ACCEPT
            identity = dict(fields(values.get(2, b"")))
            self.accepts.add((values.get(7, 0) & 0xFFFF, identity.get(1, b"").decode("utf-8")))


class Modbus:
    """Reads only, over a plain socket: a third implementation of that much of the protocol."""

    def __init__(self, host, port):
        self.address, self.socket, self.transaction = (host, port), None, 0

    def read(self, function, address, count):
        try:
            if self.socket is None:
                self.socket = socket.create_connection(self.address, timeout=1)
            self.transaction = (self.transaction + 1) & 0xFFFF
            self.socket.sendall(struct.pack(">HHHBBHH", self.transaction, 0, 6, 1, function, address, count))
            head = self.take(9)
            transaction, _, _, _, answered, size = struct.unpack(">HHHBBB", head)
            if transaction != self.transaction or answered != function or size != 2 * count:
                raise OSError("an answer to something else")
            return struct.unpack(f">{count}H", self.take(size))
        except OSError:
            self.close()
            return None

    def take(self, size):
        data = b""
        while len(data) < size:
            piece = self.socket.recv(size - len(data))
            if not piece:
                raise OSError("closed")
            data += piece
        return data

    def close(self):
        if self.socket:
            self.socket.close()
        self.socket = None


def text(registers):
    return struct.pack(f">{len(registers)}H", *registers).split(b"\0")[0].decode("ascii", "replace")


class Light:
    """An accept light as the device itself sees it: "1" is the first byte of its file while it is lit."""

    def __init__(self, name, path):
        self.name, _, grace = name.partition(":")
        self.grace_s = float(grace or LIGHT_GRACE_S)
        self.path, self.wrong_since, self.samples = pathlib.Path(path), None, 0

    def lit(self):
        try:
            with open(self.path, "rb") as file:
                return file.read(1) == b"1"
        except FileNotFoundError:
            return False


class Witness:
    def __init__(self, host, port, ledger, lamp, by_hand=False, lights=()):
        self.by_hand = by_hand
        self.lights = [Light(*entry.split("=", 1)) for entry in lights]
        self.modbus, self.ledger, self.lamp_path = Modbus(host, port), LedgerFollower(ledger), pathlib.Path(lamp)
        self.offences, self.samples, self.heard, self.greens, self.seen = [], 0, 0, 0, set()
        self.heartbeat, self.heartbeat_at = None, 0.0
        self.lamp_wrong_since = None
        self.lamp_size, self.lamp_line = -1, ""

    def offence(self, what):
        self.offences.append(f"{time.time():.3f} {what}")
        print(f"WRONG GREEN {self.offences[-1]}", flush=True)

    def sample(self):
        self.samples += 1
        plc = self.modbus.read(3, 0, 64)  # first: what the PLC says now the cell has seen when it answers next
        cell = self.modbus.read(4, 0, 75)
        now = time.monotonic()
        if plc is None or cell is None:
            self.heartbeat = None
            self.lamp_wrong_since = None
            self.check_lights(None, now)
            return
        self.heard += 1
        if cell[2] != self.heartbeat:
            self.heartbeat, self.heartbeat_at = cell[2], now
        accepted = self.accepted_part(plc, cell, now - self.heartbeat_at < HEARTBEAT_S)
        self.check_lamp(accepted, now)
        self.check_lights(accepted, now)

    def accepted_part(self, plc, cell, fresh):
        """The part id that a careful reader would accept now, or None."""
        valid, accept, reject, none = (bool(cell[5] >> bit & 1) for bit in (2, 3, 4, 5))
        says_accept = accept or cell[6] == ACCEPT
        if not says_accept:
            return None
        part = text(cell[34:50])
        if not (valid and accept and cell[6] == ACCEPT and not reject and not none and cell[0] == cell[74]):
            self.offence(f"{part}: the signs of an accept contradict each other: flags {cell[5]:04x} word {cell[6]:04x}")
            return None
        if not fresh:
            return None
        self.greens += 1
        if not plc[2] & 1 and not self.by_hand:
            self.offence(f"{part}: no part is present")
        if plc[1] != cell[4]:
            self.offence(f"{part}: request {plc[1]} is answered with the result of {cell[4]}")
        if text(plc[16:32]) not in (part, ""):  # empty: another source names the parts
            self.offence(f"{part}: the part asked for is {text(plc[16:32])}")
        key = (cell[0], part)
        if key not in self.seen:
            self.ledger.follow()
            if key not in self.ledger.accepts:
                self.offence(f"{part}: sequence {cell[0]} is no accept in the ledger")
            self.seen.add(key)
        return part

    def check_lights(self, accepted, now):
        for light in self.lights:
            if not light.lit():
                light.wrong_since = None
                continue
            light.samples += 1
            if accepted is not None:
                light.wrong_since = None
            elif light.wrong_since is None:
                light.wrong_since = now
            elif now - light.wrong_since > light.grace_s:
                self.offence(f"{light.name} shows accept {now - light.wrong_since:.3f} s after the registers ceased to")
                light.wrong_since = now

    def check_lamp(self, accepted, now):
        try:
            size = os.stat(self.lamp_path).st_size
            if size != self.lamp_size:
                self.lamp_size = size
                lines = [line for line in self.lamp_path.read_text(encoding="utf-8", errors="replace").splitlines()
                         if line[:1] != "{"]
                self.lamp_line = lines[-1] if lines else ""
        except FileNotFoundError:
            return
        if not self.lamp_line.startswith("ACCEPT"):
            self.lamp_wrong_since = None
            return
        part = self.lamp_line.split()[1].rstrip(":")
        if accepted == part:
            self.lamp_wrong_since = None
        elif self.lamp_wrong_since is None:
            self.lamp_wrong_since = now
        elif now - self.lamp_wrong_since > LAMP_GRACE_S:
            self.offence(f"the lamp is green for {part}, the registers accept {accepted}")
            self.lamp_wrong_since = None


def main():
    parser = argparse.ArgumentParser()
    for name in ("host", "port", "ledger", "lamp"):
        parser.add_argument(name)
    parser.add_argument("--by-hand", action="store_true")
    parser.add_argument("--light", action="append", default=[])
    told = parser.parse_args()
    witness = Witness(told.host, int(told.port), told.ledger, told.lamp, told.by_hand, told.light)
    asked = []
    signal.signal(signal.SIGTERM, lambda *_: asked.append(True))
    deadline = time.monotonic() + 10
    while not witness.heard and time.monotonic() < deadline and not asked:
        witness.sample()
    print("watching", flush=True)
    next_at = time.monotonic()
    while not asked:
        witness.sample()
        next_at = max(next_at + PERIOD_S, time.monotonic() - 0.5)
        time.sleep(max(0.0, next_at - time.monotonic()))
    print(f"{witness.samples} samples, {witness.heard} of them heard, {witness.greens} of them green, "
          f"{len(witness.seen)} accepts seen, {len(witness.offences)} wrong"
          + "".join(f", {light.name} {light.samples} lit" for light in witness.lights), flush=True)
    return 1 if witness.offences or not witness.heard else 0  # who heard nothing cannot say that nothing was wrong


if __name__ == "__main__":
    sys.exit(main())
