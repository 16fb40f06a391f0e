#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Stops, kills and second daemons: nothing acknowledged is lost, attempts count on, the lamp goes dark."""
import signal
import subprocess
import time
import unittest

from handshake_test import until_traversing
from harness import PROGRAMS, Cell, PlcBench, crestgate, crestgate_json, field


class Restart(unittest.TestCase):
    def test_sigterm_in_the_middle_ends_clean_with_the_lamp_off(self):
        with Cell(speed_scale=2) as cell:
            until_traversing(cell, "ES-2041")
            self.assertEqual(cell.stop_daemon(), 0)
            judgement = cell.records("judgement")[-1]
            self.assertEqual(field(judgement, "verdict"), "none")
            self.assertIn("stopping", field(judgement, "reason"))
            self.assertNotIn("ACCEPT", cell.lamp())

    def test_sigterm_under_a_green_takes_it_away(self):
        with Cell() as cell:
            self.assertTrue(cell.measure("ES-2041")["Accepted"])
            self.assertEqual(cell.stop_daemon(), 0)
            self.assertTrue(cell.plc.wait_for(lambda plc: not plc.get("Accepted"), 10))
            self.assertNotIn("ACCEPT", cell.lamp().strip().splitlines()[-1])

    def test_after_a_kill_under_green_nothing_old_is_shown_and_attempts_count_on(self):
        with Cell(speed_scale=20) as cell:
            self.assertTrue(cell.measure("ES-2041")["Accepted"])
            before = cell.records()
            self.assertNotEqual(cell.stop_daemon(signal.SIGKILL), 0)
            self.assertTrue(cell.plc.wait_for(lambda plc: not plc.get("Accepted"), 10), "a dead cell accepts nothing")
            cell.plc.stop()
            shown_before = len(cell.lamp())
            cell.start_daemon()
            cell.start_plc()
            after = cell.records()
            self.assertEqual(after[:len(before)], before, "every acknowledged record is there, unchanged")
            self.assertNotIn("ACCEPT", cell.lamp()[shown_before:])
            self.assertTrue(cell.measure("ES-2041")["Accepted"])
            self.assertEqual(field(cell.records("judgement")[-1], "attempt"), "2")
            sequences = [int(field(record, "sequence")) for record in cell.records("judgement")]
            self.assertEqual(sequences, sorted(set(sequences)), "sequence numbers go on")

    def test_a_kill_in_mid_traverse_counts_once_a_traverse_was_durable(self):
        with Cell(speed_scale=5) as cell:
            until_traversing(cell, "ES-2041")
            deadline = time.monotonic() + 30
            while not cell.records("traverse") and time.monotonic() < deadline:
                time.sleep(0.05)
            cell.stop_daemon(signal.SIGKILL)
            cell.plc.stop()
            cell.start_daemon()
            cell.start_plc()
            self.assertTrue(cell.measure("ES-2041")["Accepted"])
            self.assertEqual(field(cell.records("judgement")[-1], "attempt"), "2")

    def test_closed_standard_streams_never_reach_the_ledger(self):
        with Cell() as cell:
            cell.stop_daemon()
            before = len(cell.records())
            process = subprocess.Popen(["/bin/sh", "-c", f'exec "{PROGRAMS}/crestgate" run "{cell.folder}/cell.toml" <&- >&- 2>&-'])
            deadline = time.monotonic() + 30
            while len(cell.records()) <= before and time.monotonic() < deadline:
                time.sleep(0.05)
            process.terminate()
            self.assertEqual(process.wait(timeout=30), 0)
            crestgate("dump", cell.folder / "ledger")  # exit 0: nothing in it is damaged

    def test_descriptions_are_recorded_once(self):
        with Cell() as cell:
            cell.stop_daemon()
            cell.plc.stop()
            cell.start_daemon()
            cell.start_plc()
            self.assertEqual(len(cell.records("document")), 3)

    def test_a_second_daemon_is_refused_in_one_line(self):
        with Cell() as cell:
            second = crestgate("run", cell.folder / "cell.toml", expected=2)
            self.assertEqual(len(second.stderr.strip().splitlines()), 1, second.stderr)
            self.assertIn("runs already", second.stderr)
            self.assertTrue(cell.measure("ES-2041")["Accepted"], "and the first goes on")

    def test_another_gauge_on_the_port_is_refused(self):
        with Cell() as cell:
            text = (cell.folder / "cell.toml").read_text(encoding="utf-8")
            cell.stop_daemon()
            cell.plc.stop()
            (cell.folder / "cell.toml").write_text(text.replace("SN-2041-07", "SN-9999"), encoding="utf-8")
            cell.start_daemon()
            cell.plc = PlcBench("127.0.0.1", cell.plc_port).start()
            self.assertTrue(cell.plc.wait_for(lambda plc: plc.get("Reason") == 208, 20))
            self.assertFalse(cell.plc.get("CellReady"))

    def test_replay_with_a_stricter_plan_says_what_changes(self):
        with Cell() as cell:
            self.assertTrue(cell.measure("ES-2041")["Accepted"])
            cell.stop_daemon()
            strict = cell.folder / "strict.toml"
            plan = (cell.folder / "plans" / "eccentric-finished.toml").read_text(encoding="utf-8")
            strict.write_text(plan.replace("upper = 0.25", "upper = 0.001"), encoding="utf-8")
            changed = crestgate_json("replay", cell.folder / "ledger", "--plan", strict, expected=1)
            self.assertEqual(changed["other_verdict"], 1)
            self.assertEqual(changed["changes"][0]["now"], "reject")


if __name__ == "__main__":
    unittest.main()
