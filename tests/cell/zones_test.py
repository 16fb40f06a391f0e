#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""A part with twelve zones of three traverses each, over two gauges: measured in one go, stopped and resumed, measured
again, and refused when the attempts are used up. Ledger, registers and lamp tell the same story."""
import re
import subprocess
import tempfile
import pathlib
import unittest

from harness import EXAMPLES, PATIENCE_S, PROGRAMS, Cell, crestgate, crestgate_json, field, wait_for_line
from plc_bench import BenchControl

ZONES, TRAVERSES = 12, 3
DEMO = (EXAMPLES / "scenario" / "demo.scenario").read_text(encoding="utf-8")
SURFACES = "\n".join(line for line in DEMO.splitlines() if line.startswith("surface "))
SCENARIO = f"""scenario 1
seed 7
gauge serial {{serial}} model Software-gauge firmware 1.0.0
gauge tip_um 2 noise_um 0.004 step_nm 1 range_um 500
gauge baud unlimited
{"".join(f"zone {k} face-{k} face_mm 14" + chr(10) for k in range(1, ZONES + 1))}{SURFACES}
part ES-1..ES-9 zone {",".join(map(str, range(1, ZONES + 1)))} crest-finished
part ES-20 zone {",".join(str(k) for k in range(1, ZONES + 1) if k != 11)} crest-finished
part ES-20 zone 11 crest-ground
"""


def zone(number):
    return f"""
[[zone]]
name = "face {number}"
{'gauge = "far"' if number % 2 == 0 else ""}
face_length_mm = 14.0
traverses = {TRAVERSES}
traverse = {{length_mm = 0.6, spacing_um = 0.5, speed_mm_per_s = 1.0}}
texture = {{setting_class = "Sc1", filter = "gaussian", form = "line"}}
waves = {{shortest_mm = 0.1, longest_mm = 0.3}}
  [[zone.limit]]
  parameter = "Ra"
  unit = "um"
  upper = {0.25 if number != 11 else 0.2}
  rule = "Tmed"
"""


PLAN = """format = 1
name = "twelve faces"
part = "shaft"
stage = {number = 2, name = "finished"}
part_id = "required"
attempts_allowed = 2
on_reject = "rework"
on_none = "measure again"
""" + "".join(zone(k) for k in range(1, ZONES + 1))

CELL = (EXAMPLES / "cell.toml").read_text(encoding="utf-8")
CELL = re.sub(r'(\[\[gauge\]\].*\n)', r'\1name = "near"\n', CELL)
CELL = CELL.replace("[plc]", """[[gauge]]
name = "far"
kind = "link"
port = "gauge-2"
serial_number = "SN-FAR"
[plc]""", 1)
CELL = re.sub(r"\[\[plan\]\]\nrecipe = 11\n.*\n", "", CELL)


class TwoGauges(Cell):
    """The second software gauge has the same part in front of it; both hands move together."""

    def __init__(self):
        self.scratch = pathlib.Path(tempfile.mkdtemp(prefix="crestgate-zones-"))
        for serial in ("SN-NEAR", "SN-FAR"):
            (self.scratch / f"{serial}.scenario").write_text(SCENARIO.format(serial=serial), encoding="utf-8")
        self.second = self.second_control = None
        super().__init__(scenario=self.scratch / "SN-NEAR.scenario", speed_scale=8, plan_text=PLAN,
                         cell_text=CELL.replace('serial_number = "SN-2041-07"', 'serial_number = "SN-NEAR"'))
        text = (self.folder / "cell.toml").read_text(encoding="utf-8")
        (self.folder / "cell.toml").write_text(text.replace('port = "gauge-2"\nserial_number = "SN-NEAR"',
                                                            'port = "gauge-2"\nserial_number = "SN-FAR"'), encoding="utf-8")

    def start_gauge(self):
        super().start_gauge()
        with open(self.folder / "gauge-2.log", "w", encoding="utf-8") as log:
            self.second = subprocess.Popen([PROGRAMS / "crestgate-sim", "serve", self.scratch / "SN-FAR.scenario", "--pty",
                                            self.folder / "gauge-2", "--control", "0", "--speed-scale", "8"], stdout=log, stderr=log)
        port = wait_for_line(self.folder / "gauge-2.log", r"control on 127\.0\.0\.1:(\d+)", self.second).group(1)
        self.second_control = BenchControl(int(port))
        first = self.control

        class Both:
            part = None

            def say(_, line):
                if self.second.poll() is None:
                    self.second_control.say(line)
                return first.say(line)

            def place(both, part):
                first.place(part)
                self.second_control.place(part)

            def remove(both):
                first.remove()
                self.second_control.remove()

            def close(both):
                first.close()
                self.second_control.close()
        self.control = Both()

    def __exit__(self, *arguments):
        try:
            super().__exit__(*arguments)
        finally:
            if self.second:
                self.second.kill()
                self.second.wait()


class TwelveZones(unittest.TestCase):
    def judged(self, cell):
        return [(field(r, "attempt"), field(r, "verdict"), field(r, "reason").split()[1]) for r in cell.records("judgement")]

    def traverses(self, cell):
        return [(int(field(r, "zone_number")), int(field(r, "traverse_number")), int(field(r, "attempt")))
                for r in cell.records("traverse")]

    def every(self, attempt):
        return [(k, n, attempt) for k in range(1, ZONES + 1) for n in range(1, TRAVERSES + 1)]

    def test_in_one_go(self):
        with TwoGauges() as cell:
            answer = cell.measure("ES-1")
            self.assertTrue(answer["Accepted"], answer)
            self.assertEqual(self.traverses(cell), self.every(1))
            block = cell.plc.block()
            self.assertEqual(block[9:13], [ZONES, 0, ZONES, 1], "done, wanted, total, attempt")
            self.assertIn("ACCEPT  ES-1", cell.lamp())
            gauges = {(int(field(r, "zone_number")) % 2, field(r, "gauge.serial_number")) for r in cell.records("traverse")}
            self.assertEqual(gauges, {(1, '"SN-NEAR"'), (0, '"SN-FAR"')})
            cell.unload()
            cell.measure("ES-20")
            self.assertEqual((cell.plc.get("Rejected"), cell.plc.get("FateAsked")), (True, 2))
            self.assertEqual(cell.plc.block()[28], 11, "the deciding zone")
            self.assertIn("face 11", cell.lamp().splitlines()[-1])
            self.assertIn("2 identical to the last bit", crestgate("replay", cell.folder / "ledger").stdout)

    def test_stopped_resumed_and_measured_again(self):
        with TwoGauges() as cell:
            cell.machine.before_zone = lambda k: k == 5 and cell.plc.set(StopMeasuring=True)
            self.assertEqual(cell.measure("ES-2")["ReasonCode"], 401)
            self.assertNotIn("ACCEPT", cell.lamp())
            before = len(self.traverses(cell))
            self.assertGreaterEqual(before, 4 * TRAVERSES)
            cell.machine.before_zone = None
            cell.plc.set(StopMeasuring=False, StartAgain=True)
            answer = cell.machine.answer(PATIENCE_S)
            self.assertTrue(answer["Accepted"], answer)
            self.assertEqual(self.traverses(cell), self.every(1), "resumed where it stopped: nothing twice, nothing missing")
            self.assertEqual(self.judged(cell), [("1", "none", "aborted"), ("1", "accept", "all_within_limits")])
            self.assertEqual(cell.plc.block()[12], 1)

            cell.plc.set(StartAgain=False)
            cell.unload()
            answer = cell.measure("ES-2")  # brought once more
            self.assertTrue(answer["Accepted"], answer)
            self.assertEqual(cell.plc.block()[12], 2)
            self.assertEqual(self.traverses(cell), self.every(1) + self.every(2))
            cell.unload()
            answer = cell.measure("ES-2")
            self.assertEqual((answer["ReasonCode"], answer["FateAsked"]), (408, 4), "attempts exhausted, quarantine")
            self.assertIn("ACT  ES-2", cell.lamp().splitlines()[-1])
            self.assertEqual(len(self.traverses(cell)), 2 * ZONES * TRAVERSES)
            replayed = crestgate_json("replay", cell.folder / "ledger")
            self.assertEqual(replayed["identical_bits"], replayed["judged_again"])

    def test_a_gauge_that_goes_in_mid_part_stops_the_part_and_the_other_gauge_too(self):
        with TwoGauges() as cell:
            cell.machine.before_zone = lambda k: k == 4 and (cell.second.kill(), cell.second.wait())
            answer = cell.measure("ES-3")
            self.assertEqual(answer["ReasonCode"], 203)
            self.assertFalse(cell.plc.get("MayMove"), "nobody knows where the far stylus is")


if __name__ == "__main__":
    unittest.main()
