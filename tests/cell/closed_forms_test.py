#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Surfaces with textbook values through the whole chain: serial bytes, ledger, analysis, JSON.

Source of the values: the closed forms of the waveforms (A half of peak to valley, period l), as any handbook of
surface texture gives them: sine Ra = 2A/pi, Rq = A/sqrt 2, Rku = 3/2; triangle Ra = A/2, Rq = A/sqrt 3, Rku = 9/5;
square Ra = Rq = A, Rku = 1; two tones Rq = sqrt((A1^2 + A2^2)/2); material ratios arccos(c/A)/pi and (1 - c/A)/2.
"""
import math
import unittest

from harness import EXAMPLES, Cell, crestgate_json

PLAN = (EXAMPLES / "plans" / "eccentric-finished.toml").read_text(encoding="utf-8")
ONE_ZONE = PLAN[:PLAN.index("[[zone]]", PLAN.index("[[zone]]") + 1)]
# Without lambda_s, so that the waveform reaches the numbers as it is; lambda_c takes 2^-64 of a 0.1 mm wave.
SPECIMEN_PLAN = ONE_ZONE.replace('setting_class = "Sc3"', "lambda_s_um = 0, lambda_c_mm = 0.8, sections = 5")

STEP_UM = 0.0001  # one count of the specimen scenario's gauge
N = 200           # samples a period: 0.1 mm at 0.5 um
# A rectified sine summed over N samples a period is at most (pi/N)^2/3 of itself away from its integral; a crest can
# be missed by 1 - cos(pi/N).
SAMPLING_RA = (math.pi / N) ** 2 / 3
SAMPLING_CREST_UM = 1 - math.cos(math.pi / N)


class ClosedForms(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.numbers = {}
        with Cell(scenario=EXAMPLES / "scenario" / "closed_forms.scenario", plan_text=SPECIMEN_PLAN) as cell:
            for part in ("sine", "triangle", "square", "two-tone"):
                cell.measure(part)
                cell.unload()
                record = cell.records("traverse")[-1]["record"]
                shown = crestgate_json("texture", f"{cell.folder}/ledger#{record}", "--plan",
                                       cell.folder / "plans" / "eccentric-finished.toml")
                cls.numbers[part] = shown["parameters"]
                cls.units = shown["units"]
                cls.settings = shown["settings"]

    def expect(self, part, tolerance_um, **expected):
        for symbol, value in expected.items():
            self.assertAlmostEqual(self.numbers[part][symbol], value, delta=tolerance_um, msg=f"{part} {symbol}")

    def test_settings_say_what_was_done(self):
        self.assertEqual(self.settings["lambda_s_mm"], 0)
        self.assertEqual(self.settings["lambda_c_mm"], 0.8)
        self.assertEqual(self.settings["sections"], 5)
        self.assertAlmostEqual(self.settings["evaluation_length_mm"], 4.0, places=9)
        self.assertEqual(self.units["Ra"], "um")
        self.assertEqual(self.units["Rmr(5%,0.4um)"], "%")

    def test_sine(self):
        self.expect("sine", STEP_UM / 2 + SAMPLING_RA, Ra=2 / math.pi)
        self.expect("sine", STEP_UM / 2, Rq=1 / math.sqrt(2))
        self.expect("sine", STEP_UM + 2 * SAMPLING_CREST_UM, Rt=2, Rz=2)
        self.expect("sine", 1e-3, Rsk=0, Rku=1.5)
        # The ratio's grain is one sample of a period, 100/N %.
        height = math.cos(math.pi * 0.05) - 0.4
        self.assertAlmostEqual(self.numbers["sine"]["Rmr(5%,0.4um)"], 100 * math.acos(height) / math.pi, delta=100 / N)

    def test_triangle(self):
        self.expect("triangle", STEP_UM / 2 + 1 / N ** 2, Ra=0.5, Rq=1 / math.sqrt(3))
        self.expect("triangle", STEP_UM + 4 / N, Rt=2)
        self.expect("triangle", 1e-3, Rsk=0, Rku=1.8)
        self.assertAlmostEqual(self.numbers["triangle"]["Rmr(5%,0.4um)"], 25, delta=100 / N)

    def test_square(self):
        # One sample an edge may fall on either side: 1/N of the heights.
        self.expect("square", STEP_UM / 2 + 2 / N ** 2, Ra=1, Rq=1)
        self.expect("square", STEP_UM + 2 / N, Rt=2)
        self.expect("square", 1e-2, Rsk=0, Rku=1)

    def test_two_tones(self):
        self.expect("two-tone", STEP_UM / 2 + 1e-4, Rq=math.sqrt((1 + 0.25) / 2))
        self.expect("two-tone", 1e-3, Rsk=0)


if __name__ == "__main__":
    unittest.main()
