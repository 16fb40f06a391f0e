#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""The README's commands run as they stand there, after the demo that it tells people to run first."""
import os
import pathlib
import shlex
import subprocess
import sys
import tempfile
import unittest

from harness import PROGRAMS, SOURCE, crestgate

sys.path.insert(0, str(SOURCE / "tests" / "support"))
from readme_page import page  # noqa: E402

README = (SOURCE / "README.md").read_text(encoding="utf-8")
# The two set-up commands install packages and build; the continuous integration runs them.
SET_UP = {"./dev demo", "./dev test"}


def commands():
    found = []
    for line in README.splitlines():
        if line.startswith("    ") and line.strip():
            found.append(line.split(" # ")[0].strip())
    return found


class Readme(unittest.TestCase):
    def test_every_command_runs_after_the_demo(self):
        with tempfile.TemporaryDirectory() as scratch:
            folder = pathlib.Path(scratch)
            (folder / "packaging").symlink_to(SOURCE / "packaging")
            demo = subprocess.run(["/usr/bin/python3", "-B", SOURCE / "packaging" / "demo" / "demo.py", PROGRAMS], cwd=folder,
                                  check=False, text=True, capture_output=True, env={**os.environ, "NO_COLOR": "1"})
            self.assertEqual(demo.returncode, 0, demo.stdout + demo.stderr)
            self.assertIn("ACCEPT  ES-2041", demo.stdout)
            for line in ("REJECT  ES-2050: WaveHeight", "REJECT  ES-2053: Rpk", "REJECT  ES-2056: Rpk", "ACT  ES-2045: ",
                         "ACCEPT  ES-2045: ", "ACCEPT  ES-2044: ", "11 identical to the last bit"):
                self.assertIn(line, demo.stdout)
            self.assertEqual(subprocess.run(["pgrep", "-f", str(folder)], check=False).returncode, 1, "nothing is left running")
            self.assertNotIn("\x1b", demo.stdout)
            ran = 0
            for command in commands():
                if command in SET_UP:
                    continue
                result = subprocess.run(shlex.split(command), cwd=folder, check=False, text=True, capture_output=True,
                                        env={**os.environ, "PATH": f"{PROGRAMS}:{os.environ['PATH']}"})
                what_if = "--plan" in command
                self.assertIn(result.returncode, (0, 1) if what_if else (0,), f"{command}\n{result.stdout}{result.stderr}")
                self.assertTrue(result.stdout.strip(), f"{command} printed nothing")
                ran += 1
            self.assertGreaterEqual(ran, 8)

    def test_set_up_commands_are_the_two_that_exist(self):
        self.assertTrue(SET_UP <= set(commands()))
        self.assertTrue(os.access(SOURCE / "dev", os.X_OK))

    def test_register_page_in_the_readme_is_the_printed_one(self):
        self.assertIn(page(PROGRAMS / "crestgate"), README, "rebuild it with ./dev pages")

    def test_examples_are_valid(self):
        for name in ("cell.toml", "cell-lines.toml"):
            crestgate("validate", SOURCE / "packaging" / "examples" / name)


if __name__ == "__main__":
    unittest.main()
