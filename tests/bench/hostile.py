#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""How much fifty hostile Modbus clients change the cell's cycle: parts with and without them, in turn."""
import pathlib
import statistics
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "cell"))
from harness import EXAMPLES, Cell  # noqa: E402
from hostile_clients import HostileClients  # noqa: E402

PAIRS = int(sys.argv[1]) if len(sys.argv) > 1 else 15


def cycle_s(cell, part):
    started = time.monotonic()
    cell.measure(part)
    cell.unload()
    return time.monotonic() - started


def main():
    quiet, hostile_times = [], []
    text = (EXAMPLES / "plans" / "eccentric-finished.toml").read_text(encoding="utf-8")
    with Cell(speed_scale=10, plan_text=text.replace("attempts_allowed = 3", "attempts_allowed = 1000")) as cell:
        cycle_s(cell, "ES-2041")
        for _ in range(PAIRS):
            quiet.append(cycle_s(cell, "ES-2041"))
            hostile = HostileClients(cell.plc_port, 50)
            time.sleep(0.3)
            hostile_times.append(cycle_s(cell, "ES-2041"))
            hostile.close()
    ratios = [b / a for a, b in zip(quiet, hostile_times)]
    print(f"cycle of one part, quiet {statistics.median(quiet):.3f} s, with 50 hostile clients "
          f"{statistics.median(hostile_times):.3f} s; ratio, median of {PAIRS} pairs: {statistics.median(ratios):.3f}")


main()
