#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Fifty hostile Modbus clients: the PLC is served, parts are judged, nothing green is wrong, the cell stays up."""
import unittest

from harness import Cell
from hostile_clients import HostileClients


class Hostile(unittest.TestCase):
    def test_fifty_hostile_clients_change_no_verdict(self):
        with Cell() as cell:
            hostile = HostileClients(cell.plc_port, 50)
            try:
                for part, accepted in (("ES-2041", True), ("ES-2049", False), ("ES-2042", True), ("ES-2050", False)):
                    self.assertEqual(cell.measure(part)["Accepted"], accepted, part)
                    cell.unload()
            finally:
                hostile.close()
            self.assertGreater(hostile.attacks, 100)
            self.assertEqual(cell.plc.block()[5] & 0b100, 0)
            self.assertEqual(cell.stop_daemon(), 0)


if __name__ == "__main__":
    unittest.main()
