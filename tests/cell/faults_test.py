#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Every fault in every state that a whole program can be held in: it ends not green, says its own reason, and the cell
measures the next part by itself once the cause is gone. The two states that last for milliseconds (judging, recording)
are held by hand in tests/daemon/cell/cycle_test.cpp.

Cells run side by side: a test spends its time waiting."""
import concurrent.futures
import os
import re
import signal
import subprocess
import time
import unittest

from harness import EXAMPLES, PATIENCE_S, Cell, PlcBench, field

WORKERS = int(os.environ.get("CRESTGATE_WORKERS", "5"))
SPEED = 0.5  # the stylus goes slower than it says, so that there is time in every state

# A short face, so that a traverse takes 1.2 s: five sections of 0.08 mm.
PLAN = (EXAMPLES / "plans" / "eccentric-finished.toml").read_text(encoding="utf-8")
PLAN = PLAN.replace("length_mm = 5.6", "length_mm = 0.6").replace('"Sc3"', '"Sc1"')
PLAN = re.sub(r"^face = .*\n", "", PLAN, flags=re.MULTILINE)
PLAN = PLAN.replace("waves = {shortest_mm = 0.5, longest_mm = 2.8}", "waves = {shortest_mm = 0.1, longest_mm = 0.3}")
# Short cutoffs need other limits, and the roughness of so short a face hides more waves; the finished demo parts keep these
# with room to spare.
PLAN = re.sub(r'("WaveHeight"\n  unit = "um"\n  upper = )0.5', r"\g<1>1.5", PLAN)
PLAN = PLAN.replace("upper = 0.12", "upper = 0.5").replace("lower = 55", "lower = 20").replace("lower = 0.15", "lower = 0.0")


# ---- states ----

def idle(cell):
    pass


def positioning(cell):
    cell.control.place("ES-2041")
    cell.plc.set(PartName="ES-2041", RecipeNumber=12, StageNumber=2, ZoneUnderStylus=0, PartOnBench=True)
    cell.await_plc(lambda plc: plc.get("MoveToZone") == 1 and plc.get("MayMove"), "zone 1 is wanted")


def traversing(cell):
    positioning(cell)
    cell.control.say("zone 1")
    cell.plc.set(ZoneUnderStylus=1)
    cell.await_plc(lambda plc: not plc.get("StylusClear"), "the stylus is down")


def retracting(cell):
    traversing(cell)
    cell.await_plc(lambda plc: plc.block()[9] == 1 and not plc.get("StylusClear"), "zone 1 is done, the stylus still down")


def result(cell):
    assert cell.measure("ES-2041")["Accepted"], cell.plc.get("ReasonCode")


# ---- faults of a whole piece of equipment, in any state; each returns what takes the cause away again ----

def unplugged(cell):
    cell.gauge.kill()
    cell.gauge.wait()
    return cell.replace_gauge


def hung(cell):
    cell.gauge.send_signal(signal.SIGSTOP)
    return lambda: cell.gauge.send_signal(signal.SIGCONT)


def replugged_at_once(cell):
    cell.gauge.kill()
    cell.gauge.wait()
    cell.replace_gauge()
    return lambda: None


def plc_stands_still(cell):
    cell.plc.frozen = True

    def again():
        cell.plc.frozen = False
    return again


def plc_unplugged(cell):
    cell.plc.away = True

    def again():
        cell.plc.away = False
    return again


def part_taken(cell):
    cell.plc.set(PartOnBench=False, ZoneUnderStylus=0)
    return lambda: None


def stop_asked(cell):
    cell.plc.set(StopMeasuring=True)
    return lambda: cell.plc.set(StopMeasuring=False)


def disk_full(cell):
    size = sum(path.stat().st_size for path in (cell.folder / "ledger").iterdir() if path.suffix == ".ledger")
    subprocess.run(["prlimit", f"--fsize={size + 100}:", "--pid", str(cell.daemon.pid)], check=True)
    return lambda: subprocess.run(["prlimit", "--fsize=unlimited:", "--pid", str(cell.daemon.pid)], check=True)


def daemon_killed(cell):
    cell.daemon.kill()
    cell.daemon.wait()

    def again():
        plc = cell.plc
        plc.stop()
        cell.start_daemon()
        cell.plc = PlcBench("127.0.0.1", cell.plc_port).start()
        cell.machine.plc = cell.plc
    return again


STATES = {"idle": idle, "positioning": positioning, "traversing": traversing, "retracting": retracting, "result": result}
GAUGE_SILENT, GAUGE_STOPPED, DISCONNECTED, DAMAGED, RESTARTED, GAUGE_FAULT = 201, 202, 203, 204, 205, 207
ABORTED, PLC_SILENT, PART_LEFT = 401, 402, 403
LEDGER = {501, 502, 503}
EQUIPMENT = {  # fault: (what makes it, reasons that the part may end with)
    "unplugged": (unplugged, {DISCONNECTED}),
    "hung": (hung, {GAUGE_SILENT, GAUGE_STOPPED, DISCONNECTED}),
    "replugged at once": (replugged_at_once, {DISCONNECTED, RESTARTED}),
    "PLC stands still": (plc_stands_still, {PLC_SILENT}),
    "PLC unplugged": (plc_unplugged, {PLC_SILENT}),
    "part taken": (part_taken, {PART_LEFT}),
    "stop asked": (stop_asked, {ABORTED}),
    "disk full": (disk_full, LEDGER),
    "daemon killed": (daemon_killed, set()),
}

# ---- faults in a traverse, asked for over the control port: reasons, or "heals" when the line repairs it ----
HEALS = "heals"
IN_TRAVERSE = {
    "flip_bit": HEALS, "drop_byte": HEALS, "duplicate_frame": HEALS, "swap_frames": HEALS, "truncate_frame": HEALS,
    "flip_bit probability 0.002 times 1": {HEALS, DAMAGED, GAUGE_STOPPED, GAUGE_SILENT},
    "slow_bytes for_s 1": {HEALS, GAUGE_STOPPED},
    "silent for_s 3": {GAUGE_SILENT, GAUGE_STOPPED}, "disconnect for_s 1": {DISCONNECTED},
    "disconnect for_s 1 device other": {DISCONNECTED}, "stall": {GAUGE_STOPPED},
    "hang for_s 4": {GAUGE_STOPPED, GAUGE_SILENT}, "restart": {RESTARTED}, "reset_in_reply": {RESTARTED},
    "drive_blocked for_s 1": {GAUGE_FAULT, GAUGE_STOPPED}, "stale_repeat": {212}, "stale_repeat id old": {GAUGE_STOPPED},
    "over_range": {303}, "lift_off": {308}, "lift_off noticed no": {101, 102}, "stuck_stylus": {311}, "vibration": {310},
    "vibration noticed no amplitude_um 3": {101, 102}, "stylus_lifted": {308}, "speed_unsteady": {309},
}


class FaultCell(Cell):
    def __init__(self):
        super().__init__(speed_scale=SPEED, plan_text=PLAN)

    def await_plc(self, condition, what):
        assert self.plc.wait_for(condition, PATIENCE_S), f"never: {what}; block {self.plc.block()[:16]}"

    def wait_for_judgements(self, count):
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            if len(self.records("judgement")) >= count:
                return True
            time.sleep(0.1)
        return False

    def lamp_is_dark_soon(self):
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            if not self.lamp().splitlines()[-1].startswith("ACCEPT"):
                return True
            time.sleep(0.05)
        return False

    def replace_gauge(self):
        self.control.close()
        self.start_gauge()
        self.machine.control = self.control

    def next_part_is_accepted(self):
        """The cause is gone; nobody has touched the cell itself."""
        self.unload()
        answer = self.measure("ES-2042")
        assert answer["Accepted"], f"the next part: reason {answer['ReasonCode']}"


def equipment_case(name, state):
    cause, reasons = EQUIPMENT[name]
    with FaultCell() as cell:
        STATES[state](cell)
        judged_before = len(cell.records("judgement"))
        heal = cause(cell)
        if name == "daemon killed":
            cell.await_plc(lambda plc: not plc.get("LinkUp"), "the PLC sees the closed socket")
            assert not cell.plc.get("Accepted") and not cell.plc.get("MayMove")
        elif state in ("positioning", "traversing", "retracting"):
            if name.startswith("PLC"):
                assert cell.wait_for_judgements(judged_before + 1), "no judgement was recorded"
            elif name == "disk full":
                finish_part(cell)
                cell.await_plc(lambda plc: plc.get("Finished"), "an answer")
                assert cell.plc.get("ReasonCode") in reasons, cell.plc.get("ReasonCode")
                assert not cell.plc.get("Accepted")
            else:
                assert cell.wait_for_judgements(judged_before + 1), "no judgement was recorded"
            if name != "disk full":
                last = cell.records("judgement")[-1]
                code = int(field(last, "reason").split()[0])
                assert field(last, "verdict") == "none" and code in reasons, f"{field(last, 'verdict')} {code}"
        elif state == "idle" and name in ("unplugged", "hung"):
            cell.await_plc(lambda plc: not plc.get("CellReady"), "the cell is not ready any more")
        elif state == "result" and name in ("PLC stands still", "PLC unplugged", "part taken"):
            assert cell.lamp_is_dark_soon(), "the lamp stayed green"
        heal()
        cell.next_part_is_accepted()


def finish_part(cell):
    """Goes on as the machine would; the fault is not in it."""
    for zone in (1, 2):
        if cell.plc.wait_for(lambda plc, k=zone: plc.get("Finished") or (plc.get("MoveToZone") == k and plc.get("MayMove")), 8):
            if cell.plc.get("Finished"):
                return
            cell.plc.set(ZoneUnderStylus=0)
            cell.control.say(f"zone {zone}")
            cell.plc.set(ZoneUnderStylus=zone)


def traverse_case(fault):
    expected = IN_TRAVERSE[fault]
    expected = {expected} if isinstance(expected, str) else expected
    with FaultCell() as cell:
        if fault.startswith("stale_repeat"):
            assert cell.measure("ES-2041")["Accepted"]  # a memory needs something to remember
            cell.unload()
        cell.control.say(f"fault {fault}")
        answer = cell.measure("ES-2043")
        ending = HEALS if answer["Accepted"] else answer["ReasonCode"]
        assert ending in expected, f"ended with {ending}"
        kept = [field(record, "verdict") for record in cell.records("judgement")]
        begun = any("ES-2043" in field(record, "identity.part_id") for record in cell.records("traverse"))
        cell.unload()
        again = cell.measure("ES-2043")  # within the attempts allowed, every attempt kept
        if not again["Accepted"] and "device other" not in fault:
            raise AssertionError(f"the second attempt: reason {again['ReasonCode']}")
        records = cell.records("judgement")
        assert [field(record, "verdict") for record in records][:len(kept)] == kept
        assert field(records[-1], "attempt") == ("2" if begun else "1"), "an attempt counts from its first traverse on"


class Faults(unittest.TestCase):
    def run_all(self, cases):
        """cases: name -> function; all of them, side by side, each failure by its name."""
        with concurrent.futures.ThreadPoolExecutor(WORKERS) as pool:
            futures = {name: pool.submit(function) for name, function in cases.items()}
        for name, future in futures.items():
            with self.subTest(name):
                error = future.exception()
                if error:
                    raise AssertionError(f"{name}: {error}") from error

    def test_equipment_faults_in_every_state(self):
        self.run_all({f"{name}, {state}": (lambda n=name, s=state: equipment_case(n, s))
                      for name in EQUIPMENT for state in STATES})

    def test_faults_in_a_traverse(self):
        self.run_all({fault: (lambda f=fault: traverse_case(f)) for fault in IN_TRAVERSE})


if __name__ == "__main__":
    unittest.main()
