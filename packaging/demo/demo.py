#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""A shift at the bench in about a minute: a software gauge on a pseudo-terminal, the real daemon with its lamp, a PLC
that runs the example program over Modbus TCP, and parts that come and go. Leaves what it wrote in ./demo-run.

Usage: demo.py FOLDER_OF_THE_PROGRAMS
"""
import os
import pathlib
import pty
import queue
import re
import shutil
import signal
import subprocess
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from plc_bench import BenchControl, Machine, PlcBench  # noqa: E402

EXAMPLES = pathlib.Path(__file__).resolve().parent.parent / "examples"
SCENARIO = EXAMPLES / "scenario" / "demo.scenario"
FATES = ["nothing", "pass", "rework", "scrap", "quarantine", "measure again"]
SPEED_SCALE = "10"  # the software gauge moves this much faster than a real one
ESCAPE = re.compile(r"\x1b\[[0-9;]*m")

# (part, what happens to it on the way: said before it, and asked of the software gauge)
SHIFT = [
    ("ES-2041", None, None),
    ("ES-2042", None, None),
    ("ES-2050", "finished over waves that were too high", None),
    ("ES-2043", None, None),
    ("ES-2053", "shot-peened: craters with raised rims", None),
    ("ES-2044", "a bit is turned over in the middle of the gauge's data", "fault flip_bit after 4000"),
    ("ES-2056", "the finishing was skipped", None),
    ("ES-2045", "the gauge's cable is pulled in mid-traverse", "fault disconnect after 3000 for_s 1"),
    ("ES-2045", "the same part again, the cable is back", None),
    ("ES-2057", "finished too deep: the valleys are gone", None),
    ("ES-2054", "grit stands proud of the face", None),
    ("ES-2046", None, None),
]


class LampReader(threading.Thread):
    """What the daemon's lamp shows, line by line. On a terminal the daemon is given one too, so that it draws as there."""

    def __init__(self):
        super().__init__(daemon=True)
        self.results = queue.Queue()
        if sys.stdout.isatty():
            self.reading, self.daemon_end = pty.openpty()
        else:
            self.reading, self.daemon_end = os.pipe()

    def run(self):
        rest = b""
        while True:
            try:
                piece = os.read(self.reading, 4096)
            except OSError:
                return
            if not piece:
                return
            *lines, rest = (rest + piece).split(b"\n")
            for line in lines:
                text = line.decode("utf-8", "replace").strip()
                if re.search(r"\b(ACCEPT|REJECT|ACT)\b", ESCAPE.sub("", text)):
                    self.results.put(text)

    def next_about(self, part, seconds=10):
        """The next line about this part; lines about anything else are passed over."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            try:
                line = self.results.get(timeout=0.2)
            except queue.Empty:
                continue
            if part in line:
                return line
        return f"no line about {part}"


def wait_for_line(path, pattern, process, seconds=20):
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        found = re.search(pattern, path.read_text(encoding="utf-8", errors="replace"))
        if found:
            return found
        if process.poll() is not None:
            break
        time.sleep(0.02)
    raise SystemExit(f"demo: {pathlib.Path(process.args[0]).name} did not come up; see {path}")


def prepare(folder):
    if folder.exists():
        shutil.rmtree(folder)
    shutil.copytree(EXAMPLES / "plans", folder / "plans")
    text = (EXAMPLES / "cell.toml").read_text(encoding="utf-8")
    # Any free port, so that the demonstration disturbs nobody.
    (folder / "cell.toml").write_text(text.replace("port = 1502", "port = 0   "), encoding="utf-8")


def run_shift(plc, control, lamp):
    machine = Machine(plc, control)
    for count, (part, story, fault) in enumerate(SHIFT):
        if not plc.wait_for(lambda p: p.get("CellReady"), 20):
            raise SystemExit("demo: the cell did not become ready; see demo-run/daemon.log")
        if story:
            print(f"   ({story})", flush=True)
        if fault:
            control.say(fault)
        started = time.monotonic()
        answer = machine.measure(part, RecipeNumber=12, StageNumber=2, BatchName="B-118", MachineName="GR-3",
                                 SpindleNumber=1, WheelNumber=7, PartsSinceDress=count + 1)
        took = time.monotonic() - started
        said = "no answer in time" if answer is None else f"PLC reads fate '{FATES[answer['FateAsked']]}'"
        print(f"{lamp.next_about(part)}  [{took:.1f} s, {said}]", flush=True)
        machine.unload()


def closing_words(folder, programs):
    def shown(path):
        try:
            return path.relative_to(pathlib.Path.cwd())
        except ValueError:
            return path
    program, ledger = shown(programs / "crestgate"), shown(folder / "ledger")
    print(f"\nWritten to {shown(folder)}: the ledger (every trace and verdict), cell.toml, plans, daemon.log, gauge.log.")
    print("To go on:")
    print(f"  {program} dump {ledger} --kind judgement            # every verdict with its numbers")
    print(f"  {program} texture '{ledger}#6'                        # all numbers of the first trace")
    print(f"  {program} replay {ledger} --plan {shown(folder)}/plans/eccentric-finished.toml   # change a limit there, ask again")


def main():
    if len(sys.argv) != 2:
        raise SystemExit("usage: demo.py FOLDER_OF_THE_PROGRAMS")
    programs = pathlib.Path(sys.argv[1]).resolve()
    folder = pathlib.Path.cwd() / "demo-run"
    prepare(folder)
    print("Eccentric shafts come to the bench after finishing; two crests of each are traversed and judged.\n", flush=True)
    lamp, processes = LampReader(), []
    try:
        with open(folder / "gauge.log", "w", encoding="utf-8") as log:
            gauge = subprocess.Popen([programs / "crestgate-sim", "serve", SCENARIO, "--pty", folder / "gauge",
                                      "--control", "0", "--speed-scale", SPEED_SCALE], stdout=log, stderr=log)
        processes.append(gauge)
        control_port = int(wait_for_line(folder / "gauge.log", r"control on 127\.0\.0\.1:(\d+)", gauge).group(1))
        with open(folder / "daemon.log", "w", encoding="utf-8") as log:
            daemon = subprocess.Popen([programs / "crestgate", "run", folder / "cell.toml"], stdout=lamp.daemon_end, stderr=log)
        os.close(lamp.daemon_end)
        lamp.start()
        processes.insert(0, daemon)
        plc_port = int(wait_for_line(folder / "daemon.log", r"PLC on \S+ port (\d+)", daemon).group(1))
        plc, control = PlcBench("127.0.0.1", plc_port).start(), BenchControl(control_port)
        try:
            run_shift(plc, control, lamp)
        finally:
            plc.stop()
            control.close()
    finally:
        for process in processes:
            process.send_signal(signal.SIGTERM)
        for process in processes:
            try:
                process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                process.kill()
    print("\nThe same traces judged again, from the ledger alone:", flush=True)
    replayed = subprocess.run([programs / "crestgate", "replay", folder / "ledger"], check=False).returncode
    closing_words(folder, programs)
    return replayed


if __name__ == "__main__":
    try:
        sys.exit(main())
    except BrokenPipeError:  # the reader went away, as `head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        sys.exit(1)
