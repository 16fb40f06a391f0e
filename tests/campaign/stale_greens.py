#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Is there ever a stale green? Cells with every kind of output; daemons killed at random instants, stopped and continued,
PLCs that fall silent, are reset, come twice or hang on a half-open line, wall clocks that jump. The witness looks at all
outputs 200 times a second, also while nobody runs.

Not part of the tests of every change: it takes its time. Usage: stale_greens.py [KILLS 1000] [CELLS 4] [SEED 1]
"""
import concurrent.futures
import logging
import os
import pathlib
import random
import re
import signal
import socket
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "cell"))
from harness import PlcBench  # noqa: E402
from outputs import LIT, ManyOutputs, guards_of  # noqa: E402
from outputs_test import Relay  # noqa: E402

GOOD = [f"ES-{n}" for n in range(2041, 2049)]
OTHERS = ["pause daemon", "PLC silent", "PLC reset", "two PLCs", "half-open line", "clock jumps", "guard killed", "part taken", "abort"]
FAKETIME = next(pathlib.Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"), None)


class Cell(ManyOutputs):
    def __init__(self, seed):
        super().__init__(speed_scale=50)
        self.chance, self.counts, self.seed, self.parts = random.Random(seed), {}, seed, 0
        self.clock = self.folder / "clock"
        self.clock.write_text("+0", encoding="utf-8")
        self.environment.update(LD_PRELOAD=str(FAKETIME), FAKETIME_TIMESTAMP_FILE=str(self.clock), FAKETIME_NO_CACHE="1",
                                FAKETIME_DONT_FAKE_MONOTONIC="1", DONT_FAKE_MONOTONIC="1")

    def count(self, what):
        self.counts[what] = self.counts.get(what, 0) + 1

    def revive(self):
        self.plc.stop()
        self.start_daemon()
        self.start_plc()

    def measure_some(self):
        """A part on its way, or done; returns at a random instant of it."""
        self.parts += 1  # each has a name of its own: attempts are counted
        self.machine.measure(self.chance.choice(GOOD), f"K{self.seed}-{self.parts}",
                             seconds=self.chance.choice([0.3, 0.7, 1.2, 20, 20]), RecipeNumber=12, StageNumber=2)
        self.count("green" if self.plc.get("Accepted") else "not green yet")
        time.sleep(self.chance.uniform(0, 0.3))

    def settle(self):
        self.plc.set(PartOnBench=False, ZoneUnderStylus=0, StopMeasuring=False)
        ready = self.plc.wait_for(lambda plc: plc.get("Step") == 0 and plc.get("CellReady"), 30)
        assert ready, f"the cell did not settle: {self.plc.block()[:16]}\n{self.log()[-600:]}"
        self.control.remove()

    def other(self, what):
        if what == "pause daemon":
            self.daemon.send_signal(signal.SIGSTOP)
            time.sleep(self.chance.uniform(0.1, 3))
            self.daemon.send_signal(signal.SIGCONT)
        elif what == "PLC silent":
            self.plc.frozen = True
            time.sleep(self.chance.uniform(0.5, 3.5))
            self.plc.frozen = False
        elif what in ("PLC reset", "half-open line"):
            relay = None
            if what == "half-open line":
                relay = Relay(self.plc_port)
                self.plc.stop()
                self.plc = PlcBench("127.0.0.1", relay.port).start()
                self.machine.plc = self.plc
                self.plc.wait_for(lambda plc: plc.get("CellReady"), 10)
                self.measure_some()
                relay.swallow = True
                time.sleep(self.chance.uniform(0.5, 3))
            self.plc.stop()
            self.plc = PlcBench("127.0.0.1", self.plc_port).start()
            self.machine.plc = self.plc
            if relay:
                relay.__exit__()
        elif what == "two PLCs":
            with socket.create_connection(("127.0.0.1", self.plc_port), timeout=5, source_address=("127.0.0.9", 0)) as rival:
                for _ in range(50):
                    rival.sendall(bytes([0, 1, 0, 0, 0, 6, 1, 6, 0, self.chance.randrange(6), 0, self.chance.randrange(256)]))
                    rival.recv(64)
        elif what == "clock jumps":
            self.clock.write_text(self.chance.choice(["-1d", "+1d", "+3600", "-3600", "+0", "-20000d"]), encoding="utf-8")
            time.sleep(0.3)
        elif what == "guard killed":
            for guard in guards_of(self.daemon):
                os.kill(guard, signal.SIGKILL)
            time.sleep(self.chance.uniform(0, 0.6))
        elif what == "part taken":
            self.plc.set(PartOnBench=False, ZoneUnderStylus=0)
        elif what == "abort":
            self.plc.set(StopMeasuring=True)
            time.sleep(0.2)
            self.plc.set(StopMeasuring=False)


def campaign(kills, seed):
    with Cell(seed) as cell:
        for _ in range(kills):
            if cell.chance.random() < 0.3:
                what = cell.chance.choice(OTHERS)
                cell.count(what)
                cell.measure_some()
                cell.other(what)
                cell.settle()
            cell.measure_some()
            cell.count("kill" if cell.chance.random() < 0.9 else "kill under pause")
            if "kill under pause" in cell.counts and cell.chance.random() < 0.1:
                cell.daemon.send_signal(signal.SIGSTOP)
                time.sleep(cell.chance.uniform(0, 0.5))
            cell.daemon.kill()
            cell.daemon.wait()
            time.sleep(cell.chance.uniform(0.0, 0.9))
            cell.revive()
            cell.settle()
        wrong = cell.dismiss_witness()
        lit = {name: sum(int(n) for said in cell.testimony for n in re.findall(rf"{name} (\d+) lit", said)) for name in LIT}
        samples = sum(int(n) for said in cell.testimony for n in re.findall(r"(\d+) samples", said))
        return cell.counts, lit, samples, [said for said in cell.testimony if "WRONG" in said]


def main():
    logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # a daemon that is dead refuses connections
    kills, cells, seed = (int(word) for word in (sys.argv[1:] + ["1000", "4", "1"][len(sys.argv) - 1:]))
    assert FAKETIME, "libfaketime is missing"
    began, total, lit, samples, wrong = time.monotonic(), {}, {}, 0, []
    with concurrent.futures.ProcessPoolExecutor(cells) as pool:
        shares = [kills // cells + (1 if i < kills % cells else 0) for i in range(cells)]
        for counts, seen, looked, offences in pool.map(campaign, shares, range(seed, seed + cells)):
            samples += looked
            wrong += offences
            for sums, part in ((total, counts), (lit, seen)):
                for what, number in part.items():
                    sums[what] = sums.get(what, 0) + number
    print(f"{time.monotonic() - began:.0f} s; " + ", ".join(f"{number} x {what}" for what, number in sorted(total.items())))
    print(f"{samples} samples of all outputs; lit in " + ", ".join(f"{name} {number}" for name, number in lit.items()))
    for offence in wrong:
        print(offence)
    print(f"stale or wrong greens: {len(wrong)}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
