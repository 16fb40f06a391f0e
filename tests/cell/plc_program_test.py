#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""The example PLC program, scan by scan, against registers made by hand: rows of the printed table that say what the PLC
has to do (their names are those of daemon/report/cabinet/step_faults.h)."""
import struct
import unittest

from harness import SOURCE  # noqa: F401  puts packaging/demo on the path
from plc_bench import CELL_SIZE, EXAMPLE, PLC_SIZE
from structured_text import Program

READY, CLEAR, VALID, ACCEPT, REJECT = 1 << 6, 1 << 1, 1 << 2, 1 << 3, 1 << 4


def words(text, count=16):
    return list(struct.unpack(f">{count}H", text.encode().ljust(2 * count, b"\0")))


class Plc:
    def __init__(self):
        self.program = Program(EXAMPLE.read_text(encoding="utf-8"), CELL_SIZE, PLC_SIZE)
        self.cell, self.now_ms, self.beating = [0] * CELL_SIZE, 1000, True
        self.cell[1], self.cell[3], self.cell[5] = 1, 2, READY | CLEAR
        self.values = self.program.values
        self.values.update(LinkUp=True, PartName="ES-1", RecipeNumber=12, StageNumber=2)

    def scan(self, ms=20):
        """Scans of 20 ms, for so long."""
        for _ in range(max(1, ms // 20)):
            self.now_ms += 20
            if self.beating and self.now_ms % 200 == 0:
                self.cell[2] = (self.cell[2] + 1) & 0xFFFF
            self.program.inputs = list(self.cell) if self.values["LinkUp"] else [0] * CELL_SIZE
            self.program.scan(self.now_ms)

    def ask(self):
        self.values["PartOnBench"] = True
        self.scan(400)
        assert self.values["RequestId"] != 0
        self.cell[3], self.cell[4], self.cell[5] = 3, self.values["RequestId"], CLEAR

    def result(self, flags=ACCEPT, word=0xA5C3, sequence=7):
        self.cell[0] = self.cell[74] = sequence
        self.cell[3], self.cell[5], self.cell[6] = 4, CLEAR | VALID | flags, word
        self.cell[34:50] = words("ES-1")

    def accepted(self):
        self.ask()
        self.result()
        self.scan(40)
        assert self.values["Accepted"]
        return self


class Rows(unittest.TestCase):
    def test_result_torn(self):
        plc = Plc()
        plc.ask()
        plc.result()
        plc.cell[74] = 6
        plc.scan(200)
        self.assertFalse(plc.values["Accepted"])
        self.assertFalse(plc.values["MayMove"])
        plc.cell[74] = 7
        plc.scan(40)
        self.assertTrue(plc.values["Accepted"])

    def test_cell_silent(self):
        plc = Plc().accepted()
        plc.beating = False
        plc.scan(1900)
        self.assertTrue(plc.values["Accepted"])
        plc.scan(300)
        self.assertFalse(plc.values["Accepted"])
        self.assertFalse(plc.values["MayMove"])

    def test_cell_heartbeat_repeated(self):
        plc = Plc().accepted()
        plc.scan(100)  # five polls, the same value in some of them
        self.assertTrue(plc.values["Accepted"])

    def test_cell_restarted(self):
        plc = Plc()
        plc.ask()
        first = plc.values["RequestId"]
        plc.cell[3], plc.cell[4], plc.cell[5] = 2, 0, READY | CLEAR
        plc.scan(400)
        self.assertEqual(plc.values["RequestId"], first)
        plc.scan(800)
        self.assertNotIn(plc.values["RequestId"], (first,))

    def test_cell_gone(self):
        plc = Plc().accepted()
        plc.values["LinkUp"] = False
        plc.scan()
        self.assertFalse(plc.values["Accepted"])
        self.assertFalse(plc.values["MayMove"])

    def test_every_sign_of_an_accept_is_needed(self):
        for flags, word in ((ACCEPT, 0xA5C2), (ACCEPT | REJECT, 0xA5C3), (0, 0xA5C3), (REJECT, 0x5A3C), (ACCEPT, 0), (ACCEPT, 0xFFFF)):
            plc = Plc()
            plc.ask()
            plc.result(flags, word)
            plc.scan(40)
            self.assertFalse(plc.values["Accepted"], (flags, word))
        plc = Plc().accepted()
        plc.cell[34:50] = words("ES-2")
        plc.scan(40)
        self.assertFalse(plc.values["Accepted"], "another part")
        for value in (0, 0xFFFF):
            plc = Plc().accepted()
            plc.cell = [value] * CELL_SIZE
            plc.scan(40)
            self.assertFalse(plc.values["Accepted"], value)


if __name__ == "__main__":
    unittest.main()
