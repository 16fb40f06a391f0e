#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""A shift at the bench in about a minute: a software gauge on a pseudo-terminal, the real daemon, a PLC that runs the
example program over Modbus TCP, and parts that come and go. Leaves what it wrote in ./demo-run.
"""
import pathlib
import re
import shutil
import signal
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from plc_bench import BenchControl, Machine, PlcBench  # noqa: E402

EXAMPLES = pathlib.Path(__file__).resolve().parent.parent / "examples"
SCENARIO = EXAMPLES / "scenario" / "demo.scenario"
FATES = ["nothing", "pass", "rework", "scrap", "quarantine", "measure again"]
PARTS = ["ES-2041", "ES-2042", "ES-2049", "ES-2043", "ES-2050", "ES-2051"]
SPEED_SCALE = "20"  # the software gauge moves this much faster than a real one


def wait_for_line(path, pattern, process, seconds=20):
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        found = re.search(pattern, path.read_text(encoding="utf-8", errors="replace"))
        if found:
            return found
        if process.poll() is not None:
            break
        time.sleep(0.02)
    raise SystemExit(f"demo: {process.args[0]} did not come up; see {path}")


def prepare(folder):
    if folder.exists():
        shutil.rmtree(folder)
    shutil.copytree(EXAMPLES / "plans", folder / "plans")
    text = (EXAMPLES / "cell.toml").read_text(encoding="utf-8")
    # Any free port, so that the demonstration disturbs nobody.
    (folder / "cell.toml").write_text(text.replace("port = 1502", "port = 0   "), encoding="utf-8")


def run_parts(plc, machine):
    if not plc.wait_for(lambda p: p.get("CellReady"), 20):
        raise SystemExit("demo: the cell did not become ready; see demo-run/daemon.log")
    for count, part in enumerate(PARTS):
        answer = machine.measure(part, RecipeNumber=12, StageNumber=2, BatchName="B-118", MachineName="GR-3",
                                 SpindleNumber=1, WheelNumber=7, PartsSinceDress=count + 1)
        if answer is None:
            print("      PLC: no answer", flush=True)
        else:
            word = "accept" if answer["Accepted"] else "reject" if answer["Rejected"] else "none"
            print(f"      PLC reads: {word}, reason {answer['ReasonCode']}, fate asked for: "
                  f"{FATES[answer['FateAsked']]}", flush=True)
        machine.unload()


def main():
    if len(sys.argv) != 2:
        raise SystemExit("usage: demo.py FOLDER_OF_THE_PROGRAMS")
    programs = pathlib.Path(sys.argv[1]).resolve()
    folder = pathlib.Path.cwd() / "demo-run"
    prepare(folder)
    processes = []
    try:
        with open(folder / "gauge.log", "w", encoding="utf-8") as log:
            gauge = subprocess.Popen([programs / "crestgate-sim", "serve", SCENARIO, "--pty", folder / "gauge",
                                      "--control", "0", "--speed-scale", SPEED_SCALE], stdout=log, stderr=log)
        processes.append(gauge)
        control_port = int(wait_for_line(folder / "gauge.log", r"control on 127\.0\.0\.1:(\d+)", gauge).group(1))
        with open(folder / "daemon.log", "w", encoding="utf-8") as log:
            daemon = subprocess.Popen([programs / "crestgate", "run", folder / "cell.toml"], stderr=log)
        processes.insert(0, daemon)
        plc_port = int(wait_for_line(folder / "daemon.log", r"PLC on \S+ port (\d+)", daemon).group(1))

        plc = PlcBench("127.0.0.1", plc_port).start()
        control = BenchControl(control_port)
        try:
            run_parts(plc, Machine(plc, control))
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
    print("\nThe same traces judged again from the ledger alone:", flush=True)
    return subprocess.run([programs / "crestgate", "replay", folder / "ledger"], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
