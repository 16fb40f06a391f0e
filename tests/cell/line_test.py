#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Other ways to be connected: a PLC that is only a server, a scanner on a serial port, a wall clock that jumps."""
import os
import pathlib
import threading
import time
import tty
import unittest

from harness import EXAMPLES, PATIENCE_S, Cell, crestgate_json, field
from plc_bench import CELL_SIZE, Machine, PlcBench

CELL = (EXAMPLES / "cell.toml").read_text(encoding="utf-8")
PLAN = (EXAMPLES / "plans" / "eccentric-finished.toml").read_text(encoding="utf-8")
SANITIZED = "ASAN_OPTIONS" in os.environ or "TSAN_OPTIONS" in os.environ
FAKETIME = next(pathlib.Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"), None)


class ServingPlc(PlcBench):
    """The example program in a PLC that serves its memory by pymodbus: the cell's block from 300, its own from 100."""

    def __init__(self):
        from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
        self.memory = ModbusSequentialDataBlock(0, [0] * 500)
        self.context = ModbusServerContext(slaves={1: ModbusSlaveContext(hr=self.memory, zero_mode=True)}, single=False)
        self.heard, self.last, self.port = 0.0, None, None
        self._prepare()

    def start(self):
        import asyncio
        from pymodbus.server.async_io import ModbusTcpServer
        ready = threading.Event()

        def serve():
            async def run():
                self.server = ModbusTcpServer(self.context, address=("127.0.0.1", 0))
                task = asyncio.ensure_future(self.server.serve_forever())
                while self.server.server is None or not self.server.server.sockets:
                    await asyncio.sleep(0.01)
                self.port = self.server.server.sockets[0].getsockname()[1]
                ready.set()
                await task
            try:
                asyncio.run(run())
            except asyncio.CancelledError:
                pass
        threading.Thread(target=serve, daemon=True).start()
        assert ready.wait(PATIENCE_S)
        self.thread.start()
        return self

    def stop(self):
        self.stopping = True
        self.thread.join(timeout=5)

    def _scan_once(self):
        block = self.memory.getValues(300, CELL_SIZE)
        now = time.monotonic()
        if block != self.last:
            self.last, self.heard = list(block), now
        with self.lock:
            self.program.values["LinkUp"] = now - self.heard < 1.0
            self.program.inputs = list(block)
            self.program.scan(int(now * 1000))
            outputs = list(self.program.outputs)
            self.scans += 1
        self.memory.setValues(100, outputs)


class ClientCell(Cell):
    def start_daemon(self, *arguments):
        if self.plc is None:
            self.plc = ServingPlc().start()
            path = self.folder / "cell.toml"
            path.write_text(path.read_text(encoding="utf-8").replace("port = 0", f"port = {self.plc.port}"), encoding="utf-8")
        super().start_daemon(*arguments)

    def call_witness(self):
        pass  # it reads a cell that serves; here the cell serves nothing

    def start_plc(self):
        self.machine = Machine(self.plc, self.control)
        assert self.plc.wait_for(lambda plc: plc.get("CellReady"), PATIENCE_S), f"not ready: {self.log()}"


class Line(unittest.TestCase):
    def test_a_plc_that_is_only_a_server(self):
        text = CELL.replace('[plc] ', '[plc]').replace('unit = 1', 'unit = 1\nmodbus = "client"\ncell_block = 300\nplc_block = 100')
        with ClientCell(cell_text=text) as cell:
            self.assertTrue(cell.measure("ES-2041")["Accepted"])
            cell.unload()
            self.assertTrue(cell.measure("ES-2050")["Rejected"])
            cell.unload()
            self.assertTrue(cell.measure("ES-2042")["Accepted"])
            cell.plc.frozen = True  # its program stands, its server answers: the heartbeat tells
            deadline = time.monotonic() + PATIENCE_S
            while "PLC" not in cell.lamp().splitlines()[-1] and time.monotonic() < deadline:
                time.sleep(0.02)
            self.assertTrue(cell.lamp().splitlines()[-1].startswith("ACT"), cell.lamp())
            cell.plc.frozen = False
            self.assertTrue(cell.plc.wait_for(lambda plc: plc.get("CellReady"), PATIENCE_S))
            cell.plc.set(PartOnBench=False, ZoneUnderStylus=0)
            self.assertTrue(cell.plc.wait_for(lambda plc: plc.get("Step") == 0, PATIENCE_S))
            self.assertTrue(cell.measure("ES-2043")["Accepted"])
            cell.daemon.kill()
            self.assertTrue(cell.plc.wait_for(lambda plc: not plc.get("Accepted"), PATIENCE_S), "a stale accept in the PLC")

    def test_a_scanner_names_the_parts(self):
        master, slave = os.openpty()
        tty.setraw(slave)
        text = CELL + f'\n[scanner]\nport = "{os.ttyname(slave)}"\nlabel = "{{part_id}};{{batch}};{{dress_count}}"\n'
        with Cell(cell_text=text) as cell:
            deadline = time.monotonic() + PATIENCE_S
            while "scanner is online" not in cell.log() and time.monotonic() < deadline:
                time.sleep(0.02)
            os.write(master, b"ES-2041;B-9;17\r\n")
            time.sleep(0.3)
            self.assertTrue(cell.measure("ES-2041", known_as="")["Accepted"])
            judgement = cell.records("judgement")[-1]
            self.assertEqual([field(judgement, f"identity.{name}") for name in ("part_id", "batch", "dress_count")],
                             ['"ES-2041"', '"B-9"', "17"])
            cell.unload()
            os.write(master, b"not a label of ours\r\n")
            answer = cell.measure("ES-2042", known_as="")
            self.assertEqual(answer["ReasonCode"], 405, "an unreadable label names nobody")
            cell.unload()
            os.write(master, b"ES-2043;;\r\n")
            time.sleep(0.3)
            answer = cell.measure("ES-2043", known_as="ES-2044")
            self.assertEqual(answer["ReasonCode"], 414, "PLC and scanner contradict each other")
            names = [field(record, "what").strip('"') for record in cell.records("event")]
            self.assertIn("label_unreadable", names)
        os.close(master)
        os.close(slave)

    def test_parts_between_samples_are_told_apart_also_after_a_restart(self):
        plan = PLAN.replace('on_none = "measure again"', 'on_none = "measure again"\nsampling = {every = 3, after_dress = true, '
                            'after_reject = 2}\non_not_sampled = "pass unmeasured"')
        with Cell(plan_text=plan) as cell:
            dress = 100

            def put(part):
                nonlocal dress
                dress += 1
                cell.machine.measure(part, seconds=PATIENCE_S, RecipeNumber=12, StageNumber=2, PartsSinceDress=dress, WheelNumber=7)
                said = (cell.plc.get("ReasonCode"), cell.plc.get("FateAsked"), cell.plc.get("Accepted"))
                lamp = cell.lamp().splitlines()[-1]
                cell.unload()
                return said, lamp
            self.assertEqual(put("ES-2041")[0], (100, 1, True))
            said, lamp = put("ES-2042")
            self.assertEqual(said, (606, 6, False), "passed over: fate 6, never green")
            self.assertTrue(lamp.startswith("----"), lamp)
            self.assertEqual(put("ES-2043")[0][0], 606)
            cell.stop_daemon()
            cell.plc.stop()
            cell.start_daemon()
            cell.start_plc()
            self.assertEqual(put("ES-2044")[0][0], 100, "the third: counted from the ledger")
            self.assertEqual(put("ES-2045")[0][0], 606)
            dress = 0  # dressed
            self.assertEqual(put("ES-2050")[0][0], 101, "the first after a dress is measured, and rejected")
            self.assertEqual([put(part)[0][0] for part in ("ES-2046", "ES-2047", "ES-2048")], [100, 100, 606], "tightened")

    @unittest.skipUnless(FAKETIME and not SANITIZED, "libfaketime is not installed, or a sanitizer has to come first")
    def test_a_wall_clock_that_jumps_changes_no_green(self):
        cell = Cell()
        clock = cell.folder / "clock"
        clock.write_text("+0", encoding="utf-8")
        cell.environment = dict(os.environ, LD_PRELOAD=str(FAKETIME), FAKETIME_TIMESTAMP_FILE=str(clock), FAKETIME_NO_CACHE="1",
                                FAKETIME_DONT_FAKE_MONOTONIC="1", DONT_FAKE_MONOTONIC="1")
        with cell:
            for part, jump in (("ES-2041", "+1d"), ("ES-2042", "-20000d"), ("ES-2043", "+3600"), ("ES-2044", "-1d")):
                self.assertTrue(cell.measure(part)["Accepted"])
                clock.write_text(jump, encoding="utf-8")
                time.sleep(0.5)
                self.assertTrue(cell.plc.get("Accepted"), "green ended by a wall clock")
                cell.unload()
            self.assertEqual(crestgate_json("replay", cell.folder / "ledger")["identical_bits"], 4)


if __name__ == "__main__":
    unittest.main()
