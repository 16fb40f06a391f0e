#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Misuse of every command: exit 2 and one clear line on standard error, nothing half-written."""
import os
import pathlib
import tempfile
import unittest

from harness import EXAMPLES, crestgate, crestgate_json


class Misuse(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(self.enterContext(tempfile.TemporaryDirectory()))

    def refused(self, *arguments, saying):
        result = crestgate(*arguments, expected=2)
        lines = result.stderr.strip().splitlines()
        self.assertEqual(len(lines), 1, result.stderr)
        self.assertTrue(lines[0].startswith("crestgate: "), lines[0])
        self.assertIn(saying, lines[0])
        self.assertEqual(result.stdout, "")

    def write(self, name, text):
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return path

    def test_usage(self):
        self.refused(saying="subcommand")
        self.refused("polish", saying="no command 'polish'; there are: run, validate")
        self.refused("texture", saying="TRACE")
        self.refused("texture", "x.csv", "--format", "xml", saying="--format")
        self.refused("run", saying="CELL")

    def test_every_command_has_help(self):
        for command in ("run", "validate", "status", "reload", "note", "part", "bypass", "ports", "texture", "replay", "dump"):
            self.assertIn("Usage", crestgate(command, "--help").stdout)

    def test_missing_files_and_folders_in_place_of_files(self):
        for command in ("validate", "run", "texture"):
            self.refused(command, self.folder / "none", saying="no such file")
            self.refused(command, self.folder, saying="expected a file")
        for command in ("replay", "dump"):
            self.refused(command, self.folder / "none", saying="none")

    def test_an_empty_folder_is_no_ledger(self):
        self.refused("replay", self.folder, saying=str(self.folder))
        self.refused("dump", self.folder, saying=str(self.folder))

    def test_a_foreign_file_is_no_ledger(self):
        path = self.write("foreign.ledger", "x" * 4096)
        self.refused("dump", path, saying="foreign.ledger")

    def test_traces_that_are_none(self):
        cases = {"": "expected a header", "x_mm,z_um\n": "at least two samples", "a,b\n1,2\n": "expected a header",
                 "x_mm,z_um\n0,1\n0.1,zwei\n": "line 3: expected a height",
                 "x_mm,z_um\n0,1\n0.1,2\n0.5,3\n": "equal spacing", "x_mm,z_um\n0,1,2\n": "line 2: expected two values",
                 "x_mm,z_um\n0,1\n0.1,2\n": "few.csv: "}
        for text, saying in cases.items():
            self.refused("texture", self.write("few.csv", text), saying=saying)

    def test_missing_heights_are_bridged_only_when_few_and_never_in_silence(self):
        def trace(gap):
            rows = "".join(f"{i * 0.0005:.4f},{'nan' if 500 <= i < 500 + gap else i % 7}\n" for i in range(12000))
            return self.write("gap.csv", "x_mm,z_um\n" + rows)
        self.refused("texture", trace(6), saying="6 samples from sample 500 on (0.25 mm) are missing: a gap of 3 um, at most 2.5 um")
        self.refused("texture", trace(1), "--bridge-um", "0", saying="gap.csv: ")
        shown = crestgate_json("texture", trace(1))
        self.assertIn("bridged 1 gap", shown["prepared"])
        self.assertIn("bridged", shown["doubts"]["Ra"])

    def test_texture_options_that_do_not_fit(self):
        rows = "".join(f"{i * 0.0005:.4f},{i % 7}\n" for i in range(12000))
        trace = self.write("trace.csv", "x_mm,z_um\n" + rows)
        plan = EXAMPLES / "plans" / "eccentric-finished.toml"
        self.refused("texture", trace, "--lambda-c", "8", saying="trace.csv: ")
        self.refused("texture", trace, "--form", "cube", saying="expected line, arc, arc:RADIUS_MM, poly:N (1 to 10) or none")
        self.refused("texture", trace, "--plan", plan, "--zone", "crest Q", saying="expected --zone with one of: crest A, crest B")
        self.refused("texture", trace, "--plan", plan, "--lambda-c", "0.8", saying="--lambda-c")
        self.refused("texture", trace, "--only", "Ra,Rqq", saying="no parameter 'Rqq'; the nearest are: Rq")
        self.refused("texture", trace, "--only", "Ry", saying="Ry")
        self.refused("texture", trace, "--filter", "boxcar", saying="expected one of gaussian, robust, robust2, spline, two-step")
        self.refused("texture", trace, "--ends", "wrap", saying="expected one of moment-0")
        self.refused("texture", trace, "--setting-class", "Sc4", saying="Sc4 needs")
        self.refused("texture", trace, "--setting-class", "Sc9", saying="Sc9")
        self.refused("texture", trace, "--waves", "5:1", saying="a wave band must go from a shorter to a longer wavelength")
        self.refused("texture", trace, "--waves", "few", saying="expected SHORTEST:LONGEST in mm or none, found 'few'")
        self.refused("texture", trace, "--form", "poly:4", "--waves", "1:3", saying="form of order 2 at most")
        self.refused("texture", trace, "--closing-radius", "0.1", "--opening-radius", "0.1", saying="found both")
        self.refused("texture", trace, "--lambda-f", "0.5", saying="lambda_f must be above lambda_c")
        flat = self.write("flat.csv", "x_mm,z_um\n" + "".join(f"{i * 0.0005:.4f},{(i * 7919 % 11) * 0.001}\n" for i in range(12000)))
        self.assertGreater(crestgate_json("texture", trace, "--flat", flat)["settings"]["drive_um"], 0)
        self.refused("texture", trace, "--flat", flat, "--waves", "none", saying="--flat: there is no band of waves")
        self.refused("texture", trace, "--lambda-f", "1e9", saying="needs a trace of at least that length")
        for option in ("--lambda-c", "--tip-radius-um", "--resample-um"):
            for value in ("nan", "inf", "-1", "abc"):
                self.refused("texture", trace, option, value, saying=f"expected a positive number, found '{value}'")
        self.refused("texture", trace, "--setting-class", "Sc3", "--lambda-c", "0.8", saying="found both")
        self.assertNotIn("waves", crestgate_json("texture", trace, "--only", "Ra"))
        huge = "".join(f"{i * 0.0005:.4f},{i % 7}e200\n" for i in range(12000))
        self.refused("texture", self.write("huge.csv", "x_mm,z_um\n" + huge), saying="is no surface")
        inch = "".join(f"{i * 0.0005 / 25.4:.8f},{i % 7}\n" for i in range(12000))
        crestgate_json("texture", self.write("inch.csv", "x_in,z_uin\n" + inch))
        self.refused("texture", trace, "--resample-um", "0.1", saying="trace.csv: ")
        self.assertEqual(list(crestgate_json("texture", trace, "--only", "RSm,Rmax")["parameters"]), ["Rzx", "Rsm"])
        shown = crestgate_json("texture", trace, "--only", "Ra,Rmr(5%,1.0um)")
        self.assertEqual(list(shown["parameters"]), ["Ra", "Rmr(5%,1.0um)"])

    def test_units_are_read_exactly(self):
        millimetres = "".join(f"{i * 0.0005:.4f},{i % 7}\n" for i in range(12000))
        inches = "".join(f"{i * 0.0005 / 25.4!r},{(i % 7) / 0.0254!r}\n" for i in range(12000))
        metric = crestgate_json("texture", self.write("mm.csv", "x_mm,z_um\n" + millimetres))
        imperial = crestgate_json("texture", self.write("in.csv", "x_in,z_uin\n" + inches))
        for symbol in ("Ra", "Rz", "Rk"):
            self.assertAlmostEqual(metric["parameters"][symbol], imperial["parameters"][symbol], delta=1e-9)

    def test_a_cell_that_is_nonsense(self):
        self.refused("validate", self.write("cell.toml", "format = 1\nname = \n"), saying="cell.toml line 2: ")
        self.refused("run", self.write("cell.toml", "format = 7\n"), saying="cell.toml line 1: format: expected 1 to 1, found 7")
        self.assertEqual(sorted(os.listdir(self.folder)), ["cell.toml"], "nothing was made")

    def cell_with(self, old, new):
        text = (EXAMPLES / "cell.toml").read_text(encoding="utf-8")
        text = text.replace('file = "plans/', f'file = "{EXAMPLES}/plans/')
        self.assertIn(old, text)
        return self.write("cell.toml", text.replace(old, new))

    def test_what_run_refuses_validate_refuses_and_nothing_is_left_behind(self):
        for old, new, saying in (('kind = "link"', 'kind = "lnk"', "gauge.kind: expected one of: link; found 'lnk'"),
                                 ('address = "127.0.0.1"', 'address = "bench"', "expected an address in numbers"),
                                 ('port = "gauge"', 'port = "tcp:nowhere"', "gauge.port: ")):
            path = self.cell_with(old, new)
            self.refused("validate", path, saying=saying)
            self.refused("run", path, saying=saying)
        self.assertEqual(sorted(os.listdir(self.folder)), ["cell.toml"])

    def test_answers_are_one_line_whatever_is_in_the_argument(self):
        self.refused("texture", "x.csv", "--format", "x\ny\x1b[2J", saying="--format")
        self.refused("texture", "x.csv", "--lambda-c", "inf", saying="see crestgate texture --help")

    def test_a_port_in_use_is_named(self):
        import socket
        with socket.socket() as taken:
            taken.bind(("127.0.0.1", 0))
            taken.listen()
            port = taken.getsockname()[1]
            text = (EXAMPLES / "cell.toml").read_text(encoding="utf-8").replace("port = 1502", f"port = {port}")
            text = text.replace('file = "plans/', f'file = "{EXAMPLES}/plans/')
            self.refused("run", self.write("cell.toml", text), saying=str(port))
            self.assertEqual(sorted(os.listdir(self.folder)), ["cell.toml"], "no ledger was begun")


if __name__ == "__main__":
    unittest.main()
