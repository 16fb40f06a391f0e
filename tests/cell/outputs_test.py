#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Every kind of output at once: all show the same, and every green falls in time whatever becomes of the daemon, of its
guards and of the PLC. The witness looks at all of them 200 times a second."""
import os
import signal
import socket
import time
import unittest

from harness import PATIENCE_S, SOURCE, PlcBench, crestgate, crestgate_json, wait_for_line
from outputs import LIT, ManyOutputs, guards_of, is_running

ALL = set(LIT)


def until(condition, what):
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        if condition():
            return
        time.sleep(0.01)
    raise AssertionError(what() if callable(what) else what)


class Outputs(unittest.TestCase):
    def green(self, cell, part="ES-2041"):
        self.assertTrue(cell.measure(part)["Accepted"])
        until(lambda: cell.lit() == ALL, lambda: f"only {cell.lit()}\n{cell.log()[-1500:]}")

    def falls(self, cell, seconds=0.6):
        """Within this long every accept light is off (the second PLC takes its 2 s by the heartbeat)."""
        deadline = time.monotonic() + seconds
        while cell.lit() - {"registers"} and time.monotonic() < deadline:
            time.sleep(0.002)
        self.assertEqual(cell.lit() - {"registers"}, set())
        until(lambda: not cell.lit(), "the second PLC goes on accepting")

    def test_all_show_the_same_part_by_part(self):
        with ManyOutputs() as cell:
            self.green(cell)
            self.assertEqual(cell.other_lights(), "100")
            cell.unload()
            self.falls(cell, 0.3)
            self.assertTrue(cell.measure("ES-2050")["Rejected"])
            until(lambda: cell.other_lights() == "010", cell.other_lights())
            self.assertEqual(cell.lit(), set())
            cell.unload()
            cell.gauge.kill()
            seen = set()
            until(lambda: seen.add(cell.other_lights()) or seen >= {"001", "000"}, "blue does not flash")
            self.assertNotIn("output_failed", str(crestgate_json("status", cell.folder / "cell.toml", expected=None)["warnings"]))

    def test_the_daemon_is_killed(self):
        with ManyOutputs() as cell:
            for part in ("ES-2041", "ES-2042"):
                self.green(cell, part)
                cell.daemon.kill()
                self.falls(cell)
                cell.daemon.wait()
                cell.plc.stop()
                cell.start_daemon()
                cell.start_plc()

    def test_the_daemon_is_stopped_for_a_while(self):
        with ManyOutputs() as cell:
            self.green(cell)
            cell.daemon.send_signal(signal.SIGSTOP)
            self.falls(cell)
            cell.daemon.send_signal(signal.SIGCONT)
            until(lambda: cell.plc.get("CellAlive"), "the cell does not come back")

    def test_a_guard_is_killed_and_replaced(self):
        with ManyOutputs() as cell:
            self.green(cell)
            before = guards_of(cell.daemon)
            self.assertEqual(len(before), 2)
            for guard in before:
                os.kill(guard, signal.SIGKILL)
            # The new guards begin with everything off, and light again only what still stands.
            until(lambda: len(set(guards_of(cell.daemon)) - set(before)) == 2, "no new guards")
            until(lambda: cell.lit() == ALL, lambda: f"{cell.lit()} {cell.log()[-800:]}")
            cell.unload()
            self.falls(cell, 0.5)

    def test_a_guard_is_stopped_and_replaced(self):
        with ManyOutputs() as cell:
            self.green(cell)
            before = guards_of(cell.daemon)
            for guard in before:
                os.kill(guard, signal.SIGSTOP)
            cell.plc.set(PartOnBench=False, ZoneUnderStylus=0)  # now every green has to go
            deadline = time.monotonic() + 1.5
            while cell.lit() - {"registers"} and time.monotonic() < deadline:
                time.sleep(0.005)
            self.assertEqual(cell.lit() - {"registers"}, set())
            until(lambda: not set(before) & set(guards_of(cell.daemon)), "the stopped guards are still there")
            cell.dismiss_witness()
            cell.testimony.clear()  # a stopped guard can drop nothing; what is promised then is that it is replaced

    def test_both_are_killed_and_the_next_start_is_dark(self):
        with ManyOutputs() as cell:
            self.green(cell)
            cell.dismiss_witness()  # nothing can drop a light that nobody owns: a watchdog relay or power can
            guards = guards_of(cell.daemon)
            cell.daemon.send_signal(signal.SIGSTOP)
            for guard in guards:
                os.kill(guard, signal.SIGKILL)
            cell.daemon.kill()
            cell.daemon.wait()
            cell.plc.stop()
            cell.start_daemon()
            until(lambda: not cell.lit() & {"lines", "relay"}, "the new guards left it lit")
            cell.start_plc()

    def test_the_plc_falls_silent_or_is_reset(self):
        with ManyOutputs() as cell:
            self.green(cell)
            cell.plc.frozen = True
            self.falls(cell, 3)
            cell.plc.frozen = False
            until(lambda: cell.plc.get("CellReady"), "not ready again")
            cell.plc.set(PartOnBench=False, ZoneUnderStylus=0)
            until(lambda: cell.plc.get("Step") == 0, "the PLC's program stands")
            self.green(cell, "ES-2042")
            cell.plc.stop()  # reset: everything is zero, the connection is new
            cell.plc = PlcBench("127.0.0.1", cell.plc_port).start()
            cell.machine.plc = cell.plc
            self.falls(cell, 3)
            until(lambda: cell.plc.get("CellReady"), "not ready for the new PLC")

    def test_a_second_plc_can_neither_make_nor_keep_a_green(self):
        with ManyOutputs() as cell:
            self.green(cell)
            rival = socket.create_connection(("127.0.0.1", cell.plc_port), timeout=5, source_address=("127.0.0.9", 0))
            for value in range(30):
                rival.sendall(bytes([0, value, 0, 0, 0, 6, 1, 6, 0, 1, 0, 7]))  # writes request_id
                self.assertEqual(rival.recv(9)[7:9], b"\x86\x06", "busy: another PLC holds the line")
            until(lambda: cell.plc.block()[13] >> 7 & 1, "warning bit 7")
            self.assertTrue(cell.plc.get("Accepted"), "the PLC that holds the line is not disturbed")
            rival.close()
            cell.unload()
            self.falls(cell, 0.5)

    def test_a_half_open_connection_is_a_silent_plc(self):
        with ManyOutputs() as cell:
            with Relay(cell.plc_port) as relay:
                cell.plc.stop()
                cell.plc = PlcBench("127.0.0.1", relay.port).start()
                cell.machine.plc = cell.plc
                until(lambda: cell.plc.get("CellReady"), "not ready through the relay")
                self.green(cell)
                relay.swallow = True
                self.falls(cell, 3)

    def test_a_stop_puts_everything_off_and_leaves_no_guard(self):
        with ManyOutputs() as cell:
            self.green(cell)
            guards = guards_of(cell.daemon)
            self.assertEqual(cell.stop_daemon(), 0)
            self.assertEqual(cell.lit() - {"registers"}, set())
            until(lambda: not any(map(is_running, guards)), "a guard was left behind")
            self.assertEqual(cell.other_lights(), "000")

    def test_an_output_that_fails_is_said_and_the_others_go_on(self):
        with ManyOutputs() as cell:
            (cell.gpio / "faults").write_text("set 5\n", encoding="utf-8")
            self.assertTrue(cell.measure("ES-2041")["Accepted"])
            until(lambda: cell.plc.block()[13] >> 8 & 1, "warning bit 8")
            until(lambda: cell.lit() == ALL - {"lines"}, lambda: str(cell.lit()))
            status = crestgate_json("status", cell.folder / "cell.toml")
            self.assertEqual([output["name"] for output in status["outputs_in_trouble"]], ["lamp on lines"])
            (cell.gpio / "faults").write_text("", encoding="utf-8")
            until(lambda: cell.lit() == ALL, lambda: str(cell.lit()))

    def test_what_is_signalled_is_said_before_it_runs(self):
        with ManyOutputs() as cell:
            said = crestgate("validate", cell.folder / "cell.toml").stdout
            for line in ("light 1 'GOOD': accept, line green", "an accept falls within 0.5 s by the guard", "ACT': act, flashing"):
                self.assertIn(line, said)
            path = cell.folder / "cell.toml"
            text = path.read_text(encoding="utf-8")
            for old, new, saying in (('falls_by = "guard"\n[[output.light]]\nlabel = "GOOD"\nshows = "accept"\nline',
                                      '[[output.light]]\nlabel = "GOOD"\nshows = "accept"\nline', "put the guard in front"),
                                     ('label = "BAD"\nshows = "reject"\nline = "red"', 'label = "GOOD"\nshows = "reject"\nline = "red"', "GOOD"),
                                     ('falls_by = "own watchdog"', 'falls_by = "guard"', "watchdog"),
                                     ('shows = "accept"\nline', 'shows = "accept"\nflashing = true\nline', "flash"),
                                     ("falls_after_ms = 400", "falls_after_ms = 9000", "expected 150 to 1000"),
                                     ('line = "red"', 'line = "green"', "two lights are on line 'green'"),
                                     ('port = "relay"', 'port = "gauge"', "the gauge and output 'tower' both use port")):
                self.assertIn(old, text)
                path.write_text(text.replace(old, new, 1), encoding="utf-8")
                refused = crestgate("validate", path, expected=2).stderr
                self.assertIn(saying, refused)
                self.assertIn("line ", refused)
                self.assertEqual(len(refused.splitlines()), 1)
            path.write_text(text, encoding="utf-8")


class Relay:
    """A link that swallows everything from some moment on, without closing: what a pulled cable leaves."""

    def __init__(self, port):
        import threading
        self.target, self.swallow, self.ending = port, False, False
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=self.accept, daemon=True).start()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.ending = True
        self.listener.close()

    def accept(self):
        import threading
        while not self.ending:
            try:
                near, _ = self.listener.accept()
            except OSError:
                return
            far = socket.create_connection(("127.0.0.1", self.target))
            for source, sink in ((near, far), (far, near)):
                threading.Thread(target=self.carry, args=(source, sink), daemon=True).start()

    def carry(self, source, sink):
        while not self.ending:
            try:
                data = source.recv(4096)
            except OSError:
                return
            if not data:
                return
            if not self.swallow:
                sink.sendall(data)


if __name__ == "__main__":
    unittest.main()
