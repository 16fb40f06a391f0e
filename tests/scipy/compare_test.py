#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""The program against an implementation of its own kind in NumPy and SciPy, over synthetic and measured traces.

CRESTGATE_PROGRAMS names the folder with the program `crestgate`. Both read the same file; every number that both give must
agree; every symbol and filter of the whole set must be given. A table shows the worst difference of each symbol.
"""
import collections
import dataclasses
import json
import math
import os
import pathlib
import subprocess
import sys
import tempfile
import unittest

import compare_cases
from compare_cases import EXPECTED, FILTERS, TOLERANCE, UNSETTLED, asked_ratios, scale_of, tolerance_of
import numpy as np

from texture_script import texture, units
from texture_script.trace_file import write_trace

PROGRAM = pathlib.Path(os.environ["CRESTGATE_PROGRAMS"]) / "crestgate"
# What one of ours is in others that a program may print.
FACTORS = {("mm", "um"): 1e3, ("1/mm", "1/um"): 1e-3, ("1/mm", "1/cm"): 10.0, ("1/cm", "1/mm"): .1, ("%", ""): .01,
           ("", "um/um"): 1.0, ("", "um/mm"): 1e3}
Difference = collections.namedtuple("Difference", "relative symbol case program script unit tolerance")


def run_program(path, settings):
    """(JSON, None) or (None, what it says)."""
    command = [PROGRAM, "texture", path, "--format", "json", "--lambda-c", settings.lambda_c_mm, "--lambda-s", settings.lambda_s_mm,
               "--filter", settings.filter, "--form", settings.form, "--sections", settings.sections,
               "--ends", settings.ends, "--hill-percent", settings.hill_percent,
               "--dale-percent", settings.dale_percent, "--pruning-percent", settings.pruning_percent]
    if settings.lambda_f_mm:
        command += ["--lambda-f", settings.lambda_f_mm]
    asked = asked_ratios(settings)
    shown = {}
    for more in [[]] + ([["--only", ",".join(asked)]] if asked else []):
        done = subprocess.run([str(word) for word in command + more], check=False, capture_output=True, text=True, timeout=300)
        if done.returncode != 0:
            return None, f"exit {done.returncode}: {done.stderr.strip().splitlines()[-1] if done.stderr.strip() else ''}"
        answer = json.loads(done.stdout)
        shown.setdefault("settings", answer["settings"])
        for part in ("parameters", "units"):
            shown.setdefault(part, {}).update(answer[part])
    return shown, None


class Comparison:
    """Runs everything once and keeps what came out."""

    def __init__(self):
        self.refused, self.differences, self.unlike, self.given, self.layouts = [], [], [], set(), []
        with tempfile.TemporaryDirectory() as folder:
            for number, case in enumerate(compare_cases.cases()):
                path = case.path or pathlib.Path(folder) / f"trace-{number}.csv"
                if case.path is None:
                    write_trace(path, case.heights_um, case.spacing_mm)
                kinds = FILTERS if case.filters is None else case.filters
                for kind in (kind for kind in kinds if (case.name, kind) not in UNSETTLED):
                    self.compare(case, path, dataclasses.replace(case.settings, filter=kind))

    def compare(self, case, path, settings):
        name = f"{case.name}, {settings.filter}"
        shown, complaint = run_program(path, settings)
        if shown is None:
            self.refused.append((settings.filter, name, complaint))
            return
        ours = texture(case.heights_um, case.spacing_mm, settings)
        our_units = units(ours)
        self.layouts.append((name, shown["settings"], case, settings))
        for symbol in [symbol for symbol in EXPECTED + asked_ratios(settings) if symbol in ours]:
            theirs = shown["parameters"].get(symbol)
            if theirs is not None:
                self.given.add(symbol)
            if theirs is None or ours[symbol] is None:
                if (theirs is None) != (ours[symbol] is None):
                    self.unlike.append((symbol, name, theirs, ours[symbol]))
                continue
            unit = shown["units"][symbol]
            factor = 1.0 if unit == our_units[symbol] else FACTORS.get((our_units[symbol], unit), math.nan)
            scale = max(abs(ours[symbol]), scale_of(symbol, ours, settings)) * factor
            difference = abs(theirs - ours[symbol] * factor)
            relative = 0.0 if difference == 0 else difference / scale if scale else math.inf
            self.differences.append(Difference(relative, symbol, name, theirs, ours[symbol] * factor, unit,
                                               tolerance_of(case, settings.filter, symbol)))

    def worst(self):
        """One of each symbol, the worst first."""
        worst = {}
        for each in self.differences:
            last = worst.get(each.symbol)
            if last is None or not each.relative / each.tolerance <= last.relative / last.tolerance:
                worst[each.symbol] = each
        return sorted(worst.values(), key=lambda each: (not math.isnan(each.relative), -each.relative / each.tolerance))

    def report(self):
        """The worst of each symbol against its tolerance, and what was refused."""
        print(f"{len(self.differences)} numbers of {len(self.given)} symbols in {len(self.layouts)} runs; the worst of each:")
        print(f"{'relative':>9}  {'symbol':14}{'program':>24}{'script':>24} {'unit':7} case")
        for each in self.worst():
            print(f"{each.relative:9.1e}  {each.symbol:14}{each.program:24.16g}{each.script:24.16g} {each.unit:7} {each.case}")
        for kind in FILTERS:
            said = [complaint for refused, _, complaint in self.refused if refused == kind]
            if said:
                print(f"filter {kind}: {len(said)} runs refused: {said[0]}")
        sys.stdout.flush()


class Compare(unittest.TestCase):
    maxDiff = 4000

    @classmethod
    def setUpClass(cls):
        cls.all = Comparison()
        cls.all.report()

    def test_the_program_runs_every_case(self):
        self.assertEqual([f"{name}: {complaint}" for _, name, complaint in self.all.refused], [])

    def test_numbers_agree(self):
        self.assertGreater(len(self.all.differences), 0)
        far = [f"{each.symbol} of {each.case}: program {each.program!r}, script {each.script!r}, {each.relative:.1e} apart"
               for each in self.all.differences if not each.relative <= each.tolerance]
        self.assertEqual(far[:20], [], f"{len(far)} of {len(self.all.differences)} numbers")

    def test_every_symbol_is_given(self):
        self.assertEqual([symbol for symbol in EXPECTED if symbol not in self.all.given], [])

    def test_the_same_profiles_have_no_value(self):
        self.assertEqual([f"{symbol} of {name}: program {theirs}, script {ours}" for symbol, name, theirs, ours in self.all.unlike
                          if symbol in self.all.given], [])

    def test_layouts_agree(self):
        for name, shown, case, settings in self.all.layouts:
            with self.subTest(name):
                section = round(settings.lambda_c_mm / case.spacing_mm)
                first = (len(case.heights_um) - section * settings.sections) // 2
                self.assertEqual(shown["sections"], settings.sections)
                for key, value in (("spacing_mm", case.spacing_mm), ("section_length_mm", section * case.spacing_mm),
                                   ("evaluation_start_mm", first * case.spacing_mm),
                                   ("evaluation_length_mm", section * settings.sections * case.spacing_mm)):
                    self.assertAlmostEqual(shown[key], value, delta=1e-12 * value, msg=key)


class Basics(unittest.TestCase):
    """Without the package: form by the library's polynomial fit, then P by the definitions' one-liners."""

    def test_primary_profile_after_a_polynomial(self):
        x = np.arange(11200) * .5e-3
        z = compare_cases.ground(11200, .5e-3, 21) + 3 * (x - 2) ** 3 - 40 * x
        with tempfile.TemporaryDirectory() as folder:
            path = pathlib.Path(folder) / "trace.csv"
            write_trace(path, z, .5e-3)
            for order in (1, 2, 3, 5, 8):
                settings = compare_cases.Settings(lambda_s_mm=0, form=f"poly:{order}")
                shown, complaint = run_program(path, settings)
                self.assertIsNone(complaint)
                p = z - np.polynomial.legendre.Legendre.fit(x, z, order)(x)
                p = p[1600:9600]
                q = math.sqrt(np.mean(p * p))
                rows = p.reshape(5, -1)
                falling, ratios = np.sort(p)[::-1], 100 * (np.arange(8000) + .5) / 8000
                wanted = {"Pa": np.mean(np.abs(p)), "Pq": q, "Pt": np.ptp(p), "Psk": np.mean(p ** 3) / q ** 3,
                          "Pku": np.mean(p ** 4) / q ** 4, "Ppt": p.max(), "Pvt": -p.min(), "Pz": np.ptp(rows, axis=1).mean(),
                          "Pp": rows.max(axis=1).mean(), "Pzx": np.ptp(rows, axis=1).max(),
                          "Pmr(5%,1.0um)": np.interp(1 - np.interp(5, ratios, falling), -falling, ratios)}
                given = {symbol: value for symbol, value in wanted.items() if symbol in shown["parameters"]}
                self.assertLessEqual({"Pa", "Pq", "Pt"}, set(given))
                for symbol, value in given.items():
                    self.assertAlmostEqual(shown["parameters"][symbol], value, delta=TOLERANCE * max(abs(value), np.ptp(p)),
                                           msg=f"{symbol}, {settings.form}")


if __name__ == "__main__":
    unittest.main()
