#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Thousands of parts with random faults through whole cells: real daemon, software gauge on a pseudo-terminal, PLC over
Modbus TCP. The witness beside each cell decides what a wrong green is; the ledger decides what was lost.

Not part of the tests of every change: it takes its time. Usage: random_faults.py [PARTS 2000] [CELLS 3] [SEED 1]
"""
import concurrent.futures
import pathlib
import random
import re
import signal
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "cell"))
from faults_test import PLAN, disk_full  # noqa: E402
from harness import Cell, PlcBench, crestgate_json, field  # noqa: E402

LINE = ["flip_bit", "drop_byte", "duplicate_frame", "swap_frames", "truncate_frame", "flip_bit probability 0.002 times 1",
        "slow_bytes for_s 1", "silent for_s 3", "disconnect for_s 1", "stall", "hang for_s 3", "restart", "reset_in_reply",
        "drive_blocked for_s 1", "stale_repeat", "stale_repeat id old", "over_range", "lift_off", "lift_off noticed no",
        "stuck_stylus", "vibration", "vibration noticed no amplitude_um 3", "stylus_lifted", "speed_unsteady"]
EQUIPMENT = ["kill daemon", "stop daemon", "pause daemon", "kill gauge", "pause gauge", "freeze PLC", "take part", "abort", "disk full"]
GOOD = [f"ES-{n}" for n in range(2041, 2049)]
BAD = ["ES-2049", "ES-2050", "ES-2053", "ES-2056"]


class Bench(Cell):
    def __init__(self, seed):
        super().__init__(speed_scale=4, plan_text=PLAN.replace("attempts_allowed = 3", "attempts_allowed = 1000"))
        self.chance = random.Random(seed)
        self.acknowledged = 0  # the highest record number that any result on the registers has named
        self.counts = {}

    def count(self, what):
        self.counts[what] = self.counts.get(what, 0) + 1

    def revive_daemon(self):
        self.plc.stop()
        self.start_daemon()
        self.plc = PlcBench("127.0.0.1", self.plc_port).start()
        self.machine.plc = self.plc

    def equipment_fault(self):
        what = self.chance.choice(EQUIPMENT)
        time.sleep(self.chance.uniform(0, 0.5))
        self.count(what)
        if what in ("kill daemon", "stop daemon"):
            self.stop_daemon(signal.SIGKILL if what == "kill daemon" else signal.SIGTERM)
            self.revive_daemon()
        elif what == "pause daemon":
            self.daemon.send_signal(signal.SIGSTOP)
            time.sleep(self.chance.uniform(0.1, 3))
            self.daemon.send_signal(signal.SIGCONT)
        elif what == "kill gauge":
            self.gauge.kill()
            self.gauge.wait()
            self.control.close()
            self.start_gauge()
            self.machine.control = self.control
        elif what == "pause gauge":
            self.gauge.send_signal(signal.SIGSTOP)
            time.sleep(self.chance.uniform(0.1, 3))
            self.gauge.send_signal(signal.SIGCONT)
        elif what == "freeze PLC":
            self.plc.frozen = True
            time.sleep(self.chance.uniform(0.1, 3))
            self.plc.frozen = False
        elif what == "take part":
            self.plc.set(PartOnBench=False, ZoneUnderStylus=0)
        elif what == "abort":
            self.plc.set(StopMeasuring=True)
            time.sleep(0.2)
            self.plc.set(StopMeasuring=False)
        else:
            heal = disk_full(self)
            time.sleep(self.chance.uniform(0.1, 1))
            heal()

    def one_part(self):
        part = self.chance.choice(GOOD if self.chance.random() < 0.7 else BAD)
        if self.chance.random() < 0.4:
            fault = self.chance.choice(LINE)
            self.count(fault)
            self.control.say(f"fault {fault}")
        with concurrent.futures.ThreadPoolExecutor(1) as pool:
            measuring = pool.submit(self.measure_patiently, part)
            if self.chance.random() < 0.2:
                self.equipment_fault()
            answer = measuring.result()
        self.count("answered" if answer else "not answered")
        if answer:
            self.count("accept" if answer["Accepted"] else "reject" if answer["Rejected"] else "none")
        block = self.plc.block()
        self.acknowledged = max(self.acknowledged, block[32] << 16 | block[33])
        self.clear_bench()

    def measure_patiently(self, part):
        try:
            return self.machine.measure(part, seconds=25, RecipeNumber=12, StageNumber=2)
        except (OSError, RuntimeError, ValueError):
            return None  # the hands were on a gauge that is gone; the line tries the next part

    def clear_bench(self):
        deadline = time.monotonic() + 60
        self.plc.set(PartOnBench=False, ZoneUnderStylus=0)
        while time.monotonic() < deadline:
            try:
                self.control.say("fault clear")
                if self.control.part:
                    self.control.remove()
                if self.plc.wait_for(lambda plc: plc.get("CellReady"), 2):
                    return
            except (OSError, RuntimeError, ValueError):
                time.sleep(0.1)
        raise AssertionError(f"the cell does not recover: {self.plc.block()[:16]}\n{self.log()[-2000:]}")


def run_cell(parts, seed):
    with Bench(seed) as bench:
        for _ in range(parts):
            bench.one_part()
        bench.stop_daemon()
        wrong = bench.dismiss_witness()
        records = bench.records()
        numbers = [record["record"] for record in records]
        lost = sorted(set(range(1, max(numbers) + 1)) - set(numbers)) + ([bench.acknowledged] if bench.acknowledged > max(numbers) else [])
        replay = crestgate_json("replay", bench.folder / "ledger", expected=None)
        greens = sum(int(re.search(r"(\d+) accepts seen", said).group(1)) for said in bench.testimony if "accepts seen" in said)
        verdicts = [field(record, "verdict") for record in records if record["kind"] == "judgement"]
        return {"wrong": wrong, "testimony": bench.testimony, "lost": lost, "counts": bench.counts, "greens": greens,
                "judgements": {verdict: verdicts.count(verdict) for verdict in set(verdicts)},
                "replayed": replay["judged_again"], "identical": replay["identical_bits"]}


def main():
    numbers = [int(word) for word in sys.argv[1:]] + [2000, 3, 1][len(sys.argv) - 1:]
    parts, cells, seed = numbers
    started = time.monotonic()
    with concurrent.futures.ThreadPoolExecutor(cells) as pool:
        results = list(pool.map(lambda k: run_cell(parts // cells + (k < parts % cells), seed * 1000 + k), range(cells)))
    totals = {}
    for result in results:
        for what, count in result["counts"].items():
            totals[what] = totals.get(what, 0) + count
        print("\n".join(said for said in result["testimony"] if "WRONG" in said) or "witness: nothing wrong", "|",
              result["judgements"], "| lost:", result["lost"], "| replayed", result["replayed"], "identical", result["identical"])
    print(f"{parts} parts in {cells} cells, {time.monotonic() - started:.0f} s:")
    for what, count in sorted(totals.items(), key=lambda item: -item[1]):
        print(f"  {count:6} {what}")
    bad = any(result["wrong"] or result["lost"] or result["replayed"] != result["identical"] for result in results)
    print("WRONG" if bad else f"no wrong green in {sum(r['greens'] for r in results)} greens, no lost record, every replay identical")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
