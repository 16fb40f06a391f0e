#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""From the arrival of the last of 16,384 samples until the PLC registers are set, in a whole cell: how much of it is
the disk's (beside a bare write + fdatasync of as many bytes) and how much is ours."""
import json
import os
import pathlib
import statistics
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "cell"))
from harness import EXAMPLES, Cell  # noqa: E402

SAMPLES = 16384
PARTS = int(sys.argv[1]) if len(sys.argv) > 1 else 60


class BareSync:
    """One write + fdatasync for each of some blocks, appended to one file beside the ledger."""

    def __init__(self, folder):
        self.descriptor = os.open(folder / "bare", os.O_CREAT | os.O_WRONLY | os.O_APPEND)
        self.times_ms = []

    def measure(self, sizes):
        blocks = [os.urandom(size) for size in sizes]
        started = time.perf_counter()
        for block in blocks:
            os.write(self.descriptor, block)
            os.fdatasync(self.descriptor)
        self.times_ms.append(1000 * (time.perf_counter() - started))


def main():
    plan = (EXAMPLES / "plans" / "eccentric-finished.toml").read_text(encoding="utf-8")
    one_zone = plan[:plan.index("[[zone]]", plan.index("[[zone]]") + 1)]
    one_zone = one_zone.replace("length_mm = 5.6", f"length_mm = {(SAMPLES - 1) * 0.0005:.4f}")
    one_zone = one_zone.replace("attempts_allowed = 3", "attempts_allowed = 1000")
    scenario = EXAMPLES / "scenario" / "demo.scenario"
    with Cell(scenario=scenario, plan_text=one_zone, speed_scale=200) as cell:
        cell.stop_daemon()
        cell.plc.stop()
        cell.start_daemon("--timings")
        cell.start_plc()
        bare, sizes = BareSync(cell.folder), [65813, 1580]  # the records' usual sizes; printed below
        for _ in range(PARTS):  # in turn, so that both meet the same disk
            cell.measure("ES-2041")
            cell.unload()
            bare.measure(sizes)
        lines = [json.loads(line) for line in cell.lamp().splitlines() if line.startswith("{")]
        bytes_of = {kind: statistics.median(r["bytes"] for r in cell.records(kind)) for kind in ("traverse", "judgement")}
        sizes = [int(bytes_of["traverse"]), int(bytes_of["judgement"])]
    total = [line["last_sample_to_outputs_ms"] for line in lines]
    disk = [line["of_it_waiting_for_the_disk_ms"] for line in lines]
    rest = [t - d for t, d in zip(total, disk)]
    print(f"{len(lines)} parts of {SAMPLES} samples; traverse record {sizes[0]} bytes, judgement record {sizes[1]} bytes")
    print(f"{'':34}{'median':>9}{'p90':>9}   ms")
    for name, values in (("last sample to registers set", total), ("  of it waiting for the disk", disk),
                         ("  the rest (parse, judge, signal)", rest),
                         ("bare write + fdatasync, same bytes", bare.times_ms)):
        print(f"{name:34}{statistics.median(values):9.2f}{sorted(values)[int(0.9 * len(values))]:9.2f}")
    ratio = statistics.median(d / b for d, b in zip(disk, bare.times_ms))
    print(f"ratio of the disk's share to the bare write + fdatasync beside it, median of pairs: {ratio:.2f}")


main()
