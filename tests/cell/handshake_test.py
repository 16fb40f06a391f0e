#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""What the line may do wrong in the middle of a part, through real Modbus: each ends in none, not green, and heals."""
import time
import unittest

from harness import EXAMPLES, PATIENCE_S, Cell, field

SLOW = 2  # a traverse of some seconds, so that there is a middle


def until_traversing(cell, part):
    cell.control.place(part)
    cell.plc.set(PartName=part, RecipeNumber=12, StageNumber=2, ZoneUnderStylus=0, PartOnBench=True)
    assert cell.plc.wait_for(lambda plc: plc.get("MoveToZone") == 1 and plc.get("MayMove"), PATIENCE_S)
    cell.control.say("zone 1")
    cell.plc.set(ZoneUnderStylus=1)
    assert cell.plc.wait_for(lambda plc: plc.get("RequestEcho") == plc.get("RequestId") and not plc.get("StylusClear"), PATIENCE_S)


class Handshake(unittest.TestCase):
    def expect_none(self, cell, reason):
        self.assertTrue(cell.plc.wait_for(lambda plc: plc.get("Finished"), PATIENCE_S))
        self.assertTrue(cell.plc.get("NotJudged"))
        self.assertEqual(cell.plc.get("ReasonCode"), reason)
        self.assertNotIn("ACCEPT", cell.lamp())

    def expect_healed(self, cell, part):
        cell.plc.set(StopMeasuring=False)
        cell.unload()
        self.assertTrue(cell.measure(part)["Accepted"])

    def test_abort(self):
        with Cell(speed_scale=SLOW) as cell:
            until_traversing(cell, "ES-2041")
            cell.plc.set(StopMeasuring=True)
            self.expect_none(cell, 401)
            self.expect_healed(cell, "ES-2042")

    def test_a_measurement_that_was_stopped_goes_on_where_it_stopped(self):
        with Cell(speed_scale=SLOW) as cell:
            cell.machine.before_zone = lambda zone: zone == 2 and cell.plc.set(StopMeasuring=True)
            answer = cell.measure("ES-2041")
            self.assertEqual(answer["ReasonCode"], 401)
            cell.machine.before_zone = None
            cell.plc.set(StopMeasuring=False, StartAgain=True)
            answer = cell.machine.answer(PATIENCE_S)
            self.assertTrue(answer["Accepted"], answer)
            traverses = [(field(r, "zone"), field(r, "traverse_number"), field(r, "attempt")) for r in cell.records("traverse")]
            self.assertEqual(traverses, [('"crest A"', "1", "1"), ('"crest B"', "1", "1")])
            self.assertEqual([field(r, "attempt") for r in cell.records("judgement")], ["1", "1"])

    def test_zone_moved_under_the_stylus(self):
        with Cell(speed_scale=SLOW) as cell:
            until_traversing(cell, "ES-2041")
            cell.plc.set(ZoneUnderStylus=0)
            self.expect_none(cell, 409)
            self.expect_healed(cell, "ES-2042")

    def test_part_that_leaves_is_never_green_and_its_last_verdict_is_none(self):
        with Cell(speed_scale=SLOW) as cell:
            until_traversing(cell, "ES-2041")
            cell.plc.set(PartOnBench=False)
            self.assertTrue(cell.plc.wait_for(lambda plc: plc.block()[50] == 0x3CA5, PATIENCE_S))
            self.assertEqual(cell.plc.block()[51], 403)
            self.assertTrue(cell.plc.wait_for(lambda plc: plc.get("CellReady"), PATIENCE_S))
            self.assertTrue(cell.measure("ES-2042")["Accepted"])

    def test_a_plc_that_stands_still_loses_the_result(self):
        with Cell(speed_scale=50) as cell:
            self.assertTrue(cell.measure("ES-2041")["Accepted"])
            cell.plc.frozen = True
            deadline = time.monotonic() + PATIENCE_S
            while not cell.lamp().splitlines()[-1].startswith("ACT") and time.monotonic() < deadline:
                time.sleep(0.05)
            self.assertIn("PLC", cell.lamp().splitlines()[-1], "the lamp calls for somebody and says why")
            cell.plc.frozen = False
            self.assertTrue(cell.plc.wait_for(lambda plc: plc.get("CellReady"), PATIENCE_S))

    def test_the_gate_closes_when_the_cell_takes_its_green_back(self):
        text = (EXAMPLES / "cell.toml").read_text(encoding="utf-8").replace("green_limit_s = 120", "green_limit_s = 1")
        with Cell(cell_text=text) as cell:
            self.assertTrue(cell.measure("ES-2041")["Accepted"])
            self.assertTrue(cell.plc.wait_for(lambda plc: not plc.get("Accepted"), PATIENCE_S))
            self.assertTrue(cell.plc.get("PartOnBench"))
            self.assertTrue(cell.plc.get("CellAlive"))

    def test_a_link_that_breaks_in_mid_measurement_is_asked_again_by_the_plc(self):
        with Cell(speed_scale=SLOW) as cell:
            until_traversing(cell, "ES-2041")
            cell.plc.away = True
            deadline = time.monotonic() + PATIENCE_S
            while not cell.records("judgement") and time.monotonic() < deadline:
                time.sleep(0.1)
            cell.plc.set(ZoneUnderStylus=0)
            cell.plc.away = False
            zone = 0
            while not cell.plc.get("Finished") and time.monotonic() < deadline + PATIENCE_S:
                wanted = cell.plc.get("MoveToZone")
                if wanted not in (0, zone) and cell.plc.get("MayMove"):
                    zone = wanted
                    cell.control.say(f"zone {zone}")
                    cell.plc.set(ZoneUnderStylus=zone)
                time.sleep(0.005)
            self.assertTrue(cell.plc.get("Accepted"), cell.plc.get("ReasonCode"))

    def test_pulled_cable_in_mid_traverse(self):
        with Cell(speed_scale=SLOW) as cell:
            until_traversing(cell, "ES-2041")
            cell.gauge.kill()
            cell.gauge.wait()
            self.expect_none(cell, 203)
            self.assertFalse(cell.plc.get("MayMove"), "nobody knows where the stylus is")
            cell.control.close()
            cell.start_gauge()
            cell.machine.control = cell.control
            self.assertTrue(cell.plc.wait_for(lambda plc: plc.get("StylusClear"), PATIENCE_S))
            self.expect_healed(cell, "ES-2042")


if __name__ == "__main__":
    unittest.main()
