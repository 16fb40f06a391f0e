#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Makes the worked example of protocol/ledger/FORMAT.md from that page alone, and prints it as the page shows it.

Usage: make_example.py FILE
"""
import struct
import sys


def crc32c(data, crc=0):
    crc ^= 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0x82F63B78 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


assert crc32c(b"123456789") == 0xE3069283

LEDGER_ID = bytes(range(16))
header = b"\xD7CGLD1\r\n" + struct.pack("<IIQq", 1, 1, 1, 0) + LEDGER_ID + bytes(12)
header += struct.pack("<I", crc32c(header))
body = b"\x08\x01\x32\x05hello"
entry = b"\xE5CGR" + struct.pack("<IQB3x", len(body), 1, 3)
entry += struct.pack("<I", crc32c(LEDGER_ID + struct.pack("<I", 1) + entry + body)) + body
entry += bytes(-len(entry) % 8)
data = header + entry
with open(sys.argv[1], "wb") as file:
    file.write(data)

PARTS = [(8, "magic"), (8, "format version 1, segment 1"), (8, "first record number 1"), (8, "creation time: not known"),
         (16, "ledger id"), (12, "reserved"), (4, "CRC of the header"), (8, "marker, body length 9"),
         (8, "record number 1"), (4, "kind 3 (event), reserved"), (4, "CRC of the entry"), (9, "body"), (7, "padding")]
at = 0
for size, meaning in PARTS:
    print(f"    {at:3d}  {data[at:at + size].hex(' ').upper():<48}{meaning}")
    at += size
assert at == len(data)
