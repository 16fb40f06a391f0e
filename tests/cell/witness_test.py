#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""The witness must see what is wrong: here it watches liars (hand-made registers over a plain socket server)."""
import pathlib
import re
import signal
import socketserver
import struct
import subprocess
import tempfile
import threading
import time
import unittest

from harness import SOURCE, Cell


def words(text, count):
    data = text.encode().ljust(2 * count, b"\0")
    return list(struct.unpack(f">{count}H", data))


class Liar(socketserver.ThreadingTCPServer):
    allow_reuse_address = daemon_threads = True

    def __init__(self):
        super().__init__(("127.0.0.1", 0), Answer)
        self.plc, self.cell, self.beating = [0] * 64, [0] * 75, True
        self.plc[1], self.plc[2], self.plc[16:32] = 7, 1, words("ES-1", 16)
        self.cell[0] = self.cell[74] = 5
        self.cell[4], self.cell[5], self.cell[6], self.cell[34:50] = 7, 0b1110, 0xA5C3, words("ES-1", 16)
        threading.Thread(target=self.serve_forever, daemon=True).start()


class Answer(socketserver.BaseRequestHandler):
    def handle(self):
        while True:
            request = self.request.recv(12)
            if len(request) < 12:
                return
            transaction, _, _, _, function, address, count = struct.unpack(">HHHBBHH", request)
            block = self.server.plc if function == 3 else self.server.cell
            if function == 4 and self.server.beating:
                self.server.cell[2] = (self.server.cell[2] + 1) & 0xFFFF
            values = block[address:address + count]
            self.request.sendall(struct.pack(f">HHHBBB{count}H", transaction, 0, 3 + 2 * count, 1, function, 2 * count, *values))


class WitnessSees(unittest.TestCase):
    def watch(self, change, ledger=None, lamp="", seconds=0.6):
        liar = Liar()
        change(liar)
        with tempfile.TemporaryDirectory() as scratch:
            folder = pathlib.Path(scratch)
            (folder / "ledger").mkdir()
            (folder / "lamp.txt").write_text(lamp, encoding="utf-8")
            process = subprocess.Popen(["/usr/bin/python3", "-B", SOURCE / "tests" / "cell" / "witness.py", "127.0.0.1",
                                        str(liar.server_address[1]), ledger or folder / "ledger", folder / "lamp.txt"],
                                       stdout=subprocess.PIPE, text=True)
            time.sleep(seconds)
            process.send_signal(signal.SIGTERM)
            said, _ = process.communicate()
        liar.shutdown()
        liar.server_close()
        return process.returncode, said

    def test_an_accept_that_the_ledger_does_not_know(self):
        code, said = self.watch(lambda liar: None)
        self.assertEqual(code, 1)
        self.assertIn("is no accept in the ledger", said)

    def test_no_part_present_another_request_another_part(self):
        def change(liar):
            liar.plc[1], liar.plc[2], liar.plc[16:32] = 8, 0, words("ES-2", 16)
        code, said = self.watch(change)
        self.assertEqual(code, 1)
        for what in ("no part is present", "request 8 is answered with the result of 7", "the part asked for is ES-2"):
            self.assertIn(what, said)

    def test_signs_that_contradict_each_other(self):
        def change(liar):
            liar.cell[5] = 0b11100
        code, said = self.watch(change)
        self.assertEqual(code, 1)
        self.assertIn("contradict", said)

    def test_nothing_heard_is_no_testimony(self):
        code, _ = self.watch(lambda liar: liar.server_close(), seconds=0.1)
        self.assertEqual(code, 1)

    def test_a_green_lamp_without_registers(self):
        def change(liar):
            liar.cell[5] = liar.cell[6] = 0
        code, said = self.watch(change, lamp="ACCEPT  ES-1: fine\n", seconds=1.0)
        self.assertEqual(code, 1)
        self.assertIn("the lamp is green for ES-1", said)

    def test_a_reject_of_the_same_sequence_is_no_accept(self):
        with Cell() as cell:
            self.assertTrue(cell.measure("ES-2049")["Rejected"])
            cell.unload()

            def change(liar):
                liar.cell[0] = liar.cell[74] = 1
                liar.plc[16:32] = liar.cell[34:50] = words("ES-2049", 16)
            code, said = self.watch(change, ledger=cell.folder / "ledger")
        self.assertEqual(code, 1)
        self.assertIn("sequence 1 is no accept in the ledger", said)

    def test_a_heartbeat_that_stands_still_is_not_green_and_an_honest_cell_is_not_wrong(self):
        def change(liar):
            liar.beating = False
            liar.cell[2] = 9
        _, said = self.watch(change, seconds=3.0)
        heard, greens = re.search(r"(\d+) of them heard, (\d+) of them green", said).groups()
        self.assertLess(int(greens), int(heard), "after 2 s without a beat nothing is green")
        with Cell() as cell:
            self.assertTrue(cell.measure("ES-2041")["Accepted"])
            time.sleep(0.3)
            cell.unload()
            self.assertFalse(cell.dismiss_witness(), cell.testimony)
            self.assertRegex(cell.testimony[-1], r"1 accepts seen, 0 wrong")


if __name__ == "__main__":
    unittest.main()
