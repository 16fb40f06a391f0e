#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Writes vectors.txt from LINK.md alone: a third reading of the page, in another language than the two codecs."""
import struct

def crc32c(data):
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0x82F63B78 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF

assert crc32c(b"123456789") == 0xE3069283

def cobs(content):
    out, piece = bytearray(), bytearray()
    closed = False
    for byte in content:
        closed = False
        if byte == 0:
            out.append(len(piece) + 1); out += piece; piece.clear()
        else:
            piece.append(byte)
            if len(piece) == 254:
                out.append(255); out += piece; piece.clear(); closed = True
    if not closed:
        out.append(len(piece) + 1); out += piece
    return bytes(out)

def content(kind, sequence, body, version=1, length=None, check=None):
    head = struct.pack("<BBHH", version, kind, sequence, len(body) if length is None else length)
    crc = crc32c(head + body) if check is None else check
    return head + body + struct.pack("<I", crc)

def text(s):
    return bytes([len(s)]) + s.encode("ascii")

def chunk(identifier, first, heights):
    return struct.pack("<IIB", identifier, first, len(heights)) + b"".join(struct.pack("<i", h) for h in heights)

heights = [0, 1, -1, 1000, -1000, 2147483647, -2147483648]
all_check = crc32c(b"".join(struct.pack("<i", h) for h in heights))
good = [
    ("hello", 0x01, 1, bytes([0])),
    ("ask_state", 0x02, 2, b""),
    ("ask_still", 0x03, 3, struct.pack("<H", 200)),
    ("traverse", 0x04, 4, struct.pack("<IIII", 7, 5600, 500, 500)),
    ("resend", 0x05, 5, struct.pack("<III", 7, 150, 300)),
    ("abort", 0x06, 6, b""),
    ("retract", 0x07, 65535, b""),
    ("host_pulse", 0x10, 0, b""),
    ("identity", 0x81, 1, struct.pack("<BQBIIII", 0, 0x1122334455667788, 1, 2000, 1000000, 100, 20000)
     + text("Bench gauge") + text("SN-0042") + text("1.0.3")),
    ("state", 0x82, 2, struct.pack("<BBHiII", 0, 1, 0, -12345, 1000, 86400)),
    ("still", 0x83, 3, struct.pack("<iIIH", 17, 1000, 4200, 400)),
    ("started", 0x84, 4, struct.pack("<IIIII", 7, 7, 500, 1000, 500)),
    ("chunk", 0x85, 4, chunk(7, 0, heights)),
    ("chunk_full", 0x85, 4, chunk(7, 150, list(range(-75, 75)))),
    ("finished", 0x86, 4, struct.pack("<IIHII", 7, 7, 0b0101, all_check, 11200)),
    ("done", 0x87, 6, bytes([1])),
    ("refused", 0x88, 4, struct.pack("<BH", 0x04, 2) + text("length 900000 um is beyond 20000 um")),
    ("gauge_pulse", 0x90, 0, struct.pack("<QBB", 0x1122334455667788, 1, 0)),
    ("identity_longer_body", 0x81, 1, struct.pack("<BQBIIII", 3, 1, 2, 5000, 0, 250, 50000)
     + text("M") + text("S") + text("F") + b"\x09\x09\x09"),
]
hello = content(0x01, 1, bytes([0]))
broken = [
    ("check_wrong", "damaged", cobs(content(0x01, 1, bytes([0]), check=0)) + b"\0"),
    ("length_field_too_large", "damaged", cobs(content(0x01, 1, bytes([0]), length=2)) + b"\0"),
    ("length_field_too_small", "damaged", cobs(content(0x01, 1, bytes([0]), length=0)) + b"\0"),
    ("shorter_than_ten", "damaged", cobs(b"\x01\x01\x01\x00\x00\x00\x01\x02\x03") + b"\0"),
    ("cobs_runs_past_the_end", "damaged", b"\x09\x01\x02\0"),
    ("cut_in_half", "damaged", cobs(hello)[:6] + b"\0"),
    ("byte_lost", "damaged", cobs(hello)[:3] + cobs(hello)[4:] + b"\0"),
    ("bit_flipped", "damaged", bytes([cobs(hello)[0]]) + bytes([cobs(hello)[1] ^ 0x10]) + cobs(hello)[2:] + b"\0"),
    ("version_2", "other_version", cobs(content(0x01, 1, bytes([0]), version=2)) + b"\0"),
    ("unknown_type", "unknown_type", cobs(content(0x6F, 1, bytes([1, 2, 3]))) + b"\0"),
    ("body_too_short_hello", "malformed", cobs(content(0x01, 1, b"")) + b"\0"),
    ("body_too_short_identity", "malformed", cobs(content(0x81, 1, b"\0" * 20)) + b"\0"),
    ("body_too_short_chunk", "malformed", cobs(content(0x85, 4, struct.pack("<IIB", 7, 0, 3) + b"\0" * 8)) + b"\0"),
    ("chunk_of_nothing", "malformed", cobs(content(0x85, 4, struct.pack("<IIB", 7, 0, 0))) + b"\0"),
    ("chunk_of_151", "malformed", cobs(content(0x85, 4, struct.pack("<IIB", 7, 0, 151) + b"\0" * 604)) + b"\0"),
    ("text_runs_past_the_end", "malformed", cobs(content(0x88, 4, struct.pack("<BH", 4, 2) + b"\x20abc")) + b"\0"),
    ("overlong", "overlong", b"\x01" * 701 + b"\0"),
    ("body_of_641", "damaged", cobs(content(0x88, 1, b"\0" * 641)) + b"\0"),
    ("empty", "nothing", b"\0"),
]
with open(__file__.replace("make_vectors.py", "vectors.txt"), "w", encoding="ascii") as out:
    out.write("# Made by make_vectors.py from LINK.md. good NAME CONTENT WIRE | broken NAME COUNTER WIRE; hex.\n"
              "# A decoder is fed one zero first (the fragment before it is dropped), then WIRE.\n")
    for name, kind, sequence, body in good:
        c = content(kind, sequence, body)
        out.write(f"good {name} {c.hex()} {(cobs(c) + bytes([0])).hex()}\n")
    for n in (0, 1, 253, 254, 255, 508, 509):  # the corners of COBS; content is not a message
        piece = bytes((i % 255) + 1 for i in range(n))
        out.write(f"cobs run_of_{n} {piece.hex() or '-'} {(cobs(piece) + bytes([0])).hex()}\n")
    for name, piece in (("zero", b"\0"), ("two_zeros", b"\0\0"), ("zero_ends", b"\x11\x22\0"), ("zero_starts", b"\0\x11"),
                        ("full_then_zero", bytes(range(1, 255)) + b"\0"), ("full_then_one", bytes(range(1, 255)) + b"\x01")):
        out.write(f"cobs {name} {piece.hex()} {(cobs(piece) + bytes([0])).hex()}\n")
    for name, counter, wire in broken:
        out.write(f"broken {name} {counter} {wire.hex()}\n")
