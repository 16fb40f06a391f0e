#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Parts go in; lamp, PLC block and ledger must say the same, and replay must find the same bits."""
import unittest

from harness import Cell, crestgate_json, field

ACCEPT, REJECT, NONE = 0xA5C3, 0x5A3C, 0x3CA5


class Verdicts(unittest.TestCase):
    def test_lamp_plc_and_ledger_agree_and_replay_finds_the_same_bits(self):
        with Cell() as cell:
            expected = {"ES-2041": ACCEPT, "ES-2049": REJECT, "ES-2050": REJECT, "ES-2051": ACCEPT}
            for part, word in expected.items():
                answer = cell.measure(part, BatchName="B-1", WheelNumber=70000)
                block = cell.plc.block()  # read by pymodbus, which shares nothing with our Modbus
                self.assertEqual(block[6], word, f"{part}: verdict word {block[6]:04x}")
                self.assertEqual(block[0], block[74])
                self.assertEqual(bool(answer["Accepted"]), word == ACCEPT)
                self.assertEqual(bool(answer["Rejected"]), word == REJECT)
                cell.unload()
                self.assertEqual(cell.plc.get("Accepted"), False, "the gate rests at not accepted")
                judgement = cell.records("judgement")[-1]
                self.assertEqual(field(judgement, "identity.part_id"), f'"{part}"')
                self.assertEqual(field(judgement, "identity.wheel"), "70000")
                self.assertEqual(field(judgement, "verdict"), "accept" if word == ACCEPT else "reject")
                self.assertEqual(int(field(judgement, "sequence")) & 0xFFFF, block[0])
                self.assertEqual(judgement["record"] & 0xFFFF, block[33])
            lamp = cell.lamp()
            self.assertIn("ACCEPT  ES-2041", lamp)
            self.assertIn("REJECT  ES-2049", lamp)
            self.assertEqual(cell.stop_daemon(), 0)
            replay = crestgate_json("replay", cell.folder / "ledger")
            self.assertEqual(replay["judged_again"], 4)
            self.assertEqual(replay["identical_bits"], 4)

    def test_a_part_that_is_not_there_is_no_judgement(self):
        with Cell() as cell:
            answer = measure_nothing(cell)
            self.assertTrue(answer["NotJudged"])
            self.assertEqual(answer["ReasonCode"], 303, "over range: the stylus met nothing")
            self.assertNotIn("ACCEPT", cell.lamp())

    def test_unknown_identity_is_recorded_as_unknown(self):
        with Cell() as cell:
            answer = cell.measure("ES-2041", known_as="", stage=0)
            self.assertTrue(answer["NotJudged"])
            self.assertEqual(answer["ReasonCode"], 405)
            judgement = cell.records("judgement")[-1]
            self.assertEqual(field(judgement, "identity.part_id"), "not known")
            self.assertEqual(field(judgement, "identity.stage"), "not known")


def measure_nothing(cell):
    """The PLC believes that a part lies in the fixture; there is none."""
    cell.plc.set(PartName="ES-1", RecipeNumber=12, StageNumber=2, PartOnBench=True)
    for zone in (1, 2):
        assert cell.plc.wait_for(lambda plc: plc.get("MoveToZone") == zone and plc.get("MayMove"), 30)  # noqa: B023
        cell.plc.set(ZoneUnderStylus=zone)
    assert cell.plc.wait_for(lambda plc: plc.get("Finished"), 30)
    return {name: cell.plc.get(name) for name in cell.plc.program.output_names}


if __name__ == "__main__":
    unittest.main()
