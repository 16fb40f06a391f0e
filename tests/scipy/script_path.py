# SPDX-License-Identifier: Apache-2.0
"""Makes the package texture_script importable from here."""
import pathlib
import sys

TESTS = pathlib.Path(__file__).resolve().parent.parent
sys.path.insert(0, str(TESTS / "bench"))
