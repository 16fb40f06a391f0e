#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""What people ask of a running cell from the command line: its state, other plans, notes, names of parts, a bypass,
and a bench that has no PLC at all."""

import os
import socket
import subprocess

import time
import unittest

from faults_test import disk_full
from harness import EXAMPLES, PATIENCE_S, PROGRAMS, Cell, crestgate, crestgate_json, field

CELL = (EXAMPLES / "cell.toml").read_text(encoding="utf-8")
PLAN = (EXAMPLES / "plans" / "eccentric-finished.toml").read_text(encoding="utf-8")
NO_PLC = CELL.replace('heartbeat = "required"', 'heartbeat = "ignored"')


def events(cell, what):
    return [record for record in cell.records("event") if field(record, "what").strip('"') == what]


def until(condition, what):
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        found = condition()
        if found:
            return found
        time.sleep(0.02)
    raise AssertionError(what)


class People(unittest.TestCase):
    def told(self, cell, *arguments):
        """A command that is taken; returns the line it prints."""
        return crestgate(arguments[0], cell.folder / "cell.toml", *arguments[1:]).stdout.strip()

    def refused(self, cell, *arguments):
        result = crestgate(arguments[0], cell.folder / "cell.toml", *arguments[1:], expected=2)
        self.assertEqual(result.stdout, "")
        self.assertEqual(len(result.stderr.strip().splitlines()), 1, result.stderr)
        return result.stderr

    def test_status_of_a_cell_in_each_of_its_moods(self):
        with Cell() as cell:
            status = crestgate_json("status", cell.folder / "cell.toml")
            self.assertEqual((status["state"], status["ready"], status["lamp"]), ("ready", True, "dark"))
            self.assertEqual([gauge["online"] for gauge in status["gauges"]], [True])
            cell.measure("ES-2041")
            status = crestgate_json("status", cell.folder / "cell.toml")
            self.assertEqual((status["verdict"], status["part_id"], status["lamp"]), ("accept", "ES-2041", "green"))
            self.assertIn("ES-2041", self.told(cell, "status"))
            cell.unload()
            cell.gauge.kill()
            until(lambda: crestgate_json("status", cell.folder / "cell.toml", expected=None)["state"] == "fault", "no fault")
            self.assertEqual(crestgate("status", cell.folder / "cell.toml", expected=1).returncode, 1)

    def test_nobody_answers_when_the_cell_does_not_run(self):
        with Cell() as cell:
            cell.stop_daemon()
            self.assertIn("does not run", self.refused(cell, "status"))
            self.assertFalse((cell.folder / "ledger.socket").exists())
            cell.start_daemon()
            cell.plc.stop()
            cell.daemon.kill()
            cell.daemon.wait()
            self.assertIn("does not run", self.refused(cell, "reload"))
            cell.start_daemon()  # the file that the killed one left is no obstacle
            crestgate("status", cell.folder / "cell.toml", expected=None)

    def test_a_second_daemon_leaves_the_first_ones_door_alone(self):
        with Cell() as cell:
            second = crestgate("run", cell.folder / "cell.toml", expected=2)
            self.assertNotIn("Traceback", second.stderr)
            self.told(cell, "status")

    def test_a_description_of_another_cell_reaches_nobody(self):
        with Cell() as cell:
            other = cell.folder / "other.toml"
            text = (cell.folder / "cell.toml").read_text(encoding="utf-8")
            other.write_text(text.replace('name = "eccentric line, bench 1"', 'name = "bench 2"'), encoding="utf-8")
            for arguments in (("status",), ("reload",), ("bypass", "--by", "Ines", "--minutes", "5")):
                refused = crestgate(arguments[0], other, *arguments[1:], expected=2).stderr
                self.assertIn("this is cell 'eccentric line, bench 1'", refused)
            other.write_text(text.replace('ledger = "ledger"', 'ledger = "ledger-2"'), encoding="utf-8")
            self.assertIn("does not run", crestgate("status", other, expected=2).stderr)

    def test_a_mistake_elsewhere_in_the_description_keeps_nobody_out(self):
        with Cell() as cell:
            path = cell.folder / "cell.toml"
            path.write_text(path.read_text(encoding="utf-8").replace("unit = 1", 'unit = "one"'), encoding="utf-8")
            self.told(cell, "status")
            self.assertIn("line", self.refused(cell, "reload"))

    def test_what_a_plc_watches_nobody_says_by_hand(self):
        with Cell() as cell:
            for arguments in (("part", "--zone", "2"), ("part", "--taken"), ("part", "--id", "ES-9", "--measure", "--recipe", "12")):
                self.assertIn("a PLC watches this bench", self.refused(cell, *arguments))
            self.assertTrue(cell.measure("ES-2041")["Accepted"], "nothing was left announced by what was refused")
            cell.unload()
            self.assertIn("printable ASCII", self.refused(cell, "part", "--id", "ES\u00e9"))

    def test_a_log_that_nobody_reads_holds_nothing_up(self):
        with Cell() as cell:
            cell.stop_daemon()
            cell.plc.stop()
            reader, writer = os.pipe()
            os.set_blocking(writer, False)
            try:
                while True:
                    os.write(writer, b"x" * 65536)
            except BlockingIOError:
                os.set_blocking(writer, True)
            with open(cell.folder / "lamp.txt", "a", encoding="utf-8") as lamp:
                path = cell.folder / "cell.toml"
                path.write_text(path.read_text(encoding="utf-8").replace("port = 0", "port = 31502"), encoding="utf-8")
                cell.daemon = subprocess.Popen([PROGRAMS / "crestgate", "run", path], stdout=lamp, stderr=writer)
            cell.plc_port = 31502
            cell.start_plc()
            self.assertTrue(cell.measure("ES-2041")["Accepted"])
            cell.gauge.kill()  # something to be logged
            cell.plc.set(PartOnBench=False)
            until(lambda: "port of the gauge went away" in cell.lamp(), "the cell hangs on its log")
            self.assertEqual(cell.stop_daemon(), 0)
            os.close(reader)
            os.close(writer)

    def test_a_note_that_cannot_be_written_is_refused_and_the_cell_knows_its_ledger(self):
        with Cell() as cell:
            heal = disk_full(cell)
            self.assertIn("ledger", self.refused(cell, "note", "x" * 200, "--by", "Ines"))
            until(lambda: crestgate_json("status", cell.folder / "cell.toml", expected=None)["ledger_healthy"] is False,
                  "nobody noticed that the ledger fails")
            heal()
            until(lambda: crestgate_json("status", cell.folder / "cell.toml", expected=None)["ready"], "it does not heal")

    def test_a_note_is_in_the_ledger_with_its_writer(self):
        with Cell() as cell:
            self.told(cell, "note", "wheel 7 dressed, new diamond", "--by", "Ines")
            self.assertEqual(field(events(cell, "note")[0], "detail"), '"Ines: wheel 7 dressed, new diamond"')
            self.assertIn("who", self.refused(cell, "note", "no writer", "--by", ""))

    def test_other_plans_are_taken_up_between_two_parts(self):
        with Cell(speed_scale=4) as cell:
            plan = cell.folder / "plans" / "eccentric-finished.toml"
            first_zone = []

            def change(zone):
                if zone == 1 and not first_zone:
                    first_zone.append(zone)
                    plan.write_text(PLAN.replace('name = "ES-20 finished"', 'name = "ES-20 finished, edition 2"'), encoding="utf-8")
                    self.assertIn("taken up before the next part", self.told(cell, "reload"))
            cell.machine.before_zone = change
            self.assertTrue(cell.measure("ES-2041")["Accepted"], "it was begun under the plan before")
            cell.unload()
            until(lambda: events(cell, "plans_adopted"), "not taken up")
            self.assertTrue(cell.measure("ES-2042")["Accepted"])
            self.assertEqual([field(record, "plan") for record in cell.records("judgement")],
                             ['"ES-20 finished"', '"ES-20 finished, edition 2"'])
            again = crestgate("replay", cell.folder / "ledger").stdout
            self.assertIn("2 identical to the last bit", again)

    def test_a_plan_with_a_mistake_changes_nothing(self):
        with Cell() as cell:
            plan = cell.folder / "plans" / "eccentric-finished.toml"
            plan.write_text(PLAN.replace("upper = 0.25", 'upper = "low"', 1), encoding="utf-8")
            self.assertIn("eccentric-finished.toml line", self.refused_by_ask(cell))
            plan.write_text(PLAN, encoding="utf-8")
            self.assertTrue(cell.measure("ES-2041")["Accepted"])

    def refused_by_ask(self, cell):
        # The command itself reads the cell's description and meets the mistake first; the daemon must, too.
        with socket.socket(socket.AF_UNIX) as door:
            door.settimeout(PATIENCE_S)
            door.connect(str(cell.folder / "ledger.socket"))
            door.sendall(b'{"ask": "reload"}\n')
            answer = door.makefile().readline()
        self.assertIn('"ok":false', answer)
        return answer

    def test_what_is_wired_needs_a_restart(self):
        with Cell() as cell:
            path = cell.folder / "cell.toml"
            path.write_text(path.read_text(encoding="utf-8").replace("heartbeat_timeout_ms = 2000", "heartbeat_timeout_ms = 900"),
                            encoding="utf-8")
            self.assertIn("needs a restart", self.refused(cell, "reload"))

    def test_nonsense_at_the_door(self):
        with Cell() as cell:
            for line in (b"\n", b"{}\n", b"[1]\n", b'{"ask": 5}\n', b'{"ask": "polish"}\n', b"\xff\xfe\x00\n",
                         b'{"ask": "bypass", "who": 7, "minutes": -1}\n', b'{"ask": "part", "stage": 70000}\n',
                         b'{"ask": "zone"}\n', b'{"ask": "note", "who": "x", "text": "' + b"y" * 5000 + b'"}\n', b"[" * 20000 + b"\n"):
                with socket.socket(socket.AF_UNIX) as door:
                    door.settimeout(PATIENCE_S)
                    door.connect(str(cell.folder / "ledger.socket"))
                    door.sendall(line)
                    self.assertIn('"ok":false', door.makefile().readline(), line[:60])
            with socket.socket(socket.AF_UNIX) as door:
                door.settimeout(PATIENCE_S)
                door.connect(str(cell.folder / "ledger.socket"))
                try:
                    door.sendall(b"x" * 1_000_000)  # no end of line
                    self.assertEqual(door.recv(1), b"")
                except (BrokenPipeError, ConnectionResetError):
                    pass
            silent = [socket.socket(socket.AF_UNIX) for _ in range(20)]
            for door in silent:
                door.connect(str(cell.folder / "ledger.socket"))
            self.assertTrue(cell.measure("ES-2041")["Accepted"], "the line does not notice")
            for door in silent:
                door.close()
            until(lambda: crestgate("status", cell.folder / "cell.toml", expected=None).returncode == 0, "the door stays shut")

    def test_a_name_from_the_command_line_counts_for_its_part_only(self):
        with Cell() as cell:
            self.told(cell, "part", "--id", "ES-2041", "--batch", "B-7", "--wheel", "3")
            answer = cell.measure("ES-2041", known_as="")
            self.assertTrue(answer["Accepted"], answer)
            judgement = cell.records("judgement")[0]
            self.assertEqual(field(judgement, "identity.part_id"), '"ES-2041"')
            self.assertEqual(field(judgement, "identity.batch"), '"B-7"')
            cell.unload()
            self.assertEqual(cell.measure("ES-2042", known_as="")["ReasonCode"], 405)

    def test_a_bench_without_a_plc(self):
        with Cell(cell_text=NO_PLC) as cell:
            cell.witness_options = ["--by-hand"]
            cell.call_witness()
            cell.plc.stop()
            cell.control.place("ES-2041")
            self.told(cell, "part", "--id", "ES-2041", "--measure", "--recipe", "12")
            self.assertIn("in work", self.refused(cell, "part", "--measure", "--recipe", "12"))
            for zone in (1, 2):
                until(lambda: crestgate_json("status", cell.folder / "cell.toml")["zone_wanted"] == zone, f"zone {zone}")
                cell.control.say(f"zone {zone}")
                self.told(cell, "part", "--zone", str(zone))
            until(lambda: "ACCEPT" in cell.lamp(), cell.lamp())
            self.told(cell, "part", "--taken")
            until(lambda: not cell.lamp().splitlines()[-1].startswith("ACCEPT"), "green stays without a part")

    def test_a_bypass_is_recorded_and_never_green(self):
        bypass = CELL + '\n[bypass]\nlongest_minutes = 60\nfate = "pass unmeasured"\n'
        with Cell(cell_text=bypass) as cell:
            cell.gauge.kill()
            until(lambda: not crestgate_json("status", cell.folder / "cell.toml", expected=None)["gauges"][0]["online"], "gauge")
            self.assertIn("61 were asked for", self.refused(cell, "bypass", "--by", "Ines", "--minutes", "61"))
            self.told(cell, "bypass", "--by", "Ines", "--minutes", "30")
            cell.plc.set(PartName="ES-2041", RecipeNumber=12, StageNumber=2, PartOnBench=True)
            self.assertTrue(cell.plc.wait_for(lambda plc: plc.get("Finished"), PATIENCE_S))
            self.assertEqual((cell.plc.get("ReasonCode"), cell.plc.get("FateAsked"), cell.plc.get("Accepted")), (604, 6, False))
            self.assertIn("Ines", field(cell.records("judgement")[0], "detail"))
            self.assertFalse(cell.plc.get("MayMove"), "nobody has seen where the stylus is")
            cell.plc.set(StylusSeenUp=True)
            self.assertTrue(cell.plc.wait_for(lambda plc: plc.get("MayMove"), PATIENCE_S))
            cell.plc.set(PartOnBench=False)
            until(lambda: crestgate_json("status", cell.folder / "cell.toml", expected=None)["state"] == "bypass", "state")
            self.told(cell, "bypass", "--by", "Tomas", "--end")
            self.assertIn("by Ines for 30 minutes", field(events(cell, "bypass_began")[0], "detail"))
            self.assertIn("by Tomas", field(events(cell, "bypass_ended")[0], "detail"))
            self.assertIn("no bypass runs", self.refused(cell, "bypass", "--by", "Tomas", "--end"))
            self.assertNotIn("ACCEPT", cell.lamp())


if __name__ == "__main__":
    unittest.main()
