#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Reads a ledger. Written from protocol/ledger/FORMAT.md alone, to prove that the page is enough.

Usage: read_ledger.py [--records GENERATED] LEDGER...

Prints the records, the damaged spans and the counts of each ledger directory. With --records it also prints a few
fields of each body, with the protobuf code that protoc generated into the folder GENERATED.
"""
import hashlib
import os
import re
import struct
import sys

TABLE = []
for i in range(256):
    for _ in range(8):
        i = (i >> 1) ^ (0x82F63B78 if i & 1 else 0)
    TABLE.append(i)


def crc32c(data):
    crc = 0xFFFFFFFF
    for byte in data:
        crc = TABLE[(crc ^ byte) & 0xFF] ^ (crc >> 8)
    return crc ^ 0xFFFFFFFF


assert crc32c(b"123456789") == 0xE3069283

KINDS = {1: "traverse", 2: "judgement", 3: "event", 4: "document"}
END = 127
MARKER = b"\xE5CGR"
MAX_BODY = 16777216


def read_header(data):
    """(first number, ledger id), or None when the header is damaged."""
    if len(data) < 64 or data[:8] != b"\xD7CGLD1\r\n":
        return None
    version, segment, first, created = struct.unpack_from("<IIQq", data, 8)
    if crc32c(data[:60]) != struct.unpack_from("<I", data, 60)[0] or version != 1 or data[48:60] != bytes(12):
        return None
    return segment, first, data[32:48]


def whole_entry(data, at, owner, expected):
    """(number, kind, body, padding) of the whole entry at `at`, or None."""
    if len(data) - at < 24 or data[at:at + 4] != MARKER:
        return None
    length, number, kind = struct.unpack_from("<IQB", data, at + 4)
    if kind == 0 or data[at + 17:at + 20] != bytes(3) or length > MAX_BODY:
        return None
    if number > 2**63 - 1 or (number == 0 and kind != END):
        return None
    padded = (length + 7) // 8 * 8
    if padded > len(data) - at - 24:
        return None
    body = data[at + 24:at + 24 + length]
    if crc32c(owner + data[at:at + 20] + body) != struct.unpack_from("<I", data, at + 20)[0]:
        return None
    if expected is not None and number < (expected - 1 if kind == END else expected):
        return None
    if kind == END and length != 16:
        return None
    return number, kind, body, data[at + 24 + length:at + 24 + padded]


class Ledger:
    def __init__(self, directory):
        self.directory = directory
        self.lines, self.damage, self.unknown, self.unfinished = [], [], 0, 0
        self.bodies = []
        self.expected = None

    def damaged(self, segment, at, length, first=0, last=0):
        self.damage.append(f"damaged segment {segment} at {at} {length} bytes lost {first} to {last}")

    def read(self):
        names = [n for n in os.listdir(self.directory) if re.fullmatch(r"\d{6,}\.ledger", n)]
        numbers = sorted(int(n.split(".")[0]) for n in names)
        segments = []
        for number in numbers:
            with open(os.path.join(self.directory, f"{number:06d}.ledger"), "rb") as file:
                data = file.read()
            segments.append((number, data, read_header(data)))
        ids = [header[2] for _, _, header in segments if header]
        for index, (number, data, header) in enumerate(segments):
            following = segments[index + 1] if index + 1 < len(segments) else None
            foreign = header and (header[2] != ids[0] or header[0] != number)
            if foreign:
                self.damaged(number, 0, len(data))
                tail = None
            else:
                if not header:
                    self.damaged(number, 0, min(64, len(data)))
                ledger_id = header[2] if header else (ids[0] if ids else data[32:48])
                tail = self.read_segment(number, data, header[1] if header else None, ledger_id)
            if following:
                self.leave(number, tail, following)
            elif tail:
                self.unfinished = tail[1]

    def read_segment(self, segment, data, first, ledger_id):
        """The unfinished tail as (offset, length), or None after END."""
        owner = ledger_id + struct.pack("<I", segment)
        if self.expected is None:
            self.expected = first
        at = 64
        while True:
            entry = whole_entry(data, at, owner, self.expected)
            place = at
            while entry is None and place < len(data):
                place += 8
                entry = whole_entry(data, place, owner, self.expected)
            if entry is None:
                return at, max(0, len(data) - at)
            number, kind, body, padding = entry
            last_missing = number if kind == END else number - 1
            missing = (self.expected, last_missing) if self.expected is not None and \
                last_missing >= self.expected else (0, 0)
            if place != at or missing[1]:
                self.damaged(segment, at, place - at, *missing)
            if padding.strip(b"\0"):
                self.damaged(segment, place + 24 + len(body), len(padding))
            self.expected = number + 1
            at = place + 24 + len(body) + len(padding)
            if kind == END:
                count, offset = struct.unpack("<QQ", body)
                if offset != place or (first is not None and count != number + 1 - first):
                    self.damaged(segment, place, 40)
                if len(data) > at:
                    self.damaged(segment, at, len(data) - at)
                return None
            if kind not in KINDS:
                self.unknown += 1
                continue
            self.bodies.append((number, kind, body))
            self.lines.append(f"record {number} {KINDS[kind]} {len(body)} bytes sha256 "
                              f"{hashlib.sha256(body).hexdigest()} segment {segment} at {place}")

    def leave(self, segment, tail, following):
        next_number, _, next_header = following
        next_first = next_header[1] if next_header else None
        segment_missing = next_number > segment + 1
        lost = (self.expected, next_first - 1) if next_first and self.expected and next_first > self.expected \
            else (0, 0)
        if tail:
            here = lost if not segment_missing else (0, 0)
            self.damaged(segment, tail[0], tail[1], *here)
            if not segment_missing:
                lost = (0, 0)
        if segment_missing:
            self.damaged(segment + 1, 0, 0, *lost)
        elif lost[1]:
            self.damaged(next_number, 0, 0, *lost)
        if next_first:
            self.expected = max(self.expected or 0, next_first)

    def listing(self):
        return "\n".join(self.lines + self.damage +
                         [f"unfinished {self.unfinished} bytes", f"unknown {self.unknown} entries", ""])


def print_records(ledger, generated):
    sys.path.insert(0, generated)
    from crestgate.record.v1 import document_pb2, event_pb2, judgement_pb2, traverse_pb2
    messages = {1: traverse_pb2.Traverse, 2: judgement_pb2.Judgement, 3: event_pb2.Event, 4: document_pb2.Document}
    for number, kind, body in ledger.bodies:
        message = messages[kind]()
        message.ParseFromString(body)
        if kind == 1:
            part = message.identity.part_id if message.identity.HasField("part_id") else "not known"
            print(number, part, message.zone, message.started_unix_ns, message.spacing_mm, message.height_step_um,
                  len(message.height_counts), sum(message.height_counts), message.plan_sha256.hex())
        elif kind == 2:
            print(number, message.verdict, message.reason, message.detail, message.results[0].values[0],
                  message.cites[0].record_number)
        elif kind == 3:
            print(number, message.what, message.reason, message.happened_unix_ns)
        else:
            print(number, message.kind, message.name, len(message.content))


def main(arguments):
    generated = None
    if arguments[:1] == ["--records"]:
        generated, arguments = arguments[1], arguments[2:]
    for directory in arguments:
        ledger = Ledger(directory)
        ledger.read()
        sys.stdout.write(ledger.listing())
        if generated:
            print_records(ledger, generated)


if __name__ == "__main__":
    main(sys.argv[1:])
