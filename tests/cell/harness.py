# SPDX-License-Identifier: Apache-2.0
"""A whole cell for tests: the real daemon, the software gauge on a real pseudo-terminal, a PLC that runs the example
program through pymodbus. Nothing in here is a stand-in."""
import json
import os
import pathlib
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time

SOURCE = pathlib.Path(__file__).resolve().parents[2]
PROGRAMS = pathlib.Path(os.environ.get("CRESTGATE_PROGRAMS", SOURCE / "build" / "dev" / "bin"))
EXAMPLES = SOURCE / "packaging" / "examples"
sys.path.insert(0, str(SOURCE / "packaging" / "demo"))
from plc_bench import BenchControl, Machine, PlcBench  # noqa: E402

# Sanitizers slow everything down; a wait ends as soon as what it waits for is there.
PATIENCE_S = float(os.environ.get("CRESTGATE_PATIENCE_S", "30"))


def crestgate(*arguments, expected=0):
    """Runs one command to its end; returns what it printed."""
    result = subprocess.run([PROGRAMS / "crestgate", *map(str, arguments)], check=False, text=True, capture_output=True)
    if expected is not None and result.returncode != expected:
        raise AssertionError(f"crestgate {' '.join(map(str, arguments))}: exit {result.returncode}, expected {expected}\n"
                             f"{result.stdout}{result.stderr}")
    return result


def crestgate_json(*arguments, expected=0):
    return json.loads(crestgate(*arguments, "--format", "json", expected=expected).stdout)


def wait_for_line(path, pattern, process, seconds=None):
    deadline = time.monotonic() + (seconds or PATIENCE_S)
    while time.monotonic() < deadline:
        text = path.read_text(encoding="utf-8", errors="replace") if path.exists() else ""
        found = re.search(pattern, text)
        if found:
            return found
        if process is not None and process.poll() is not None:
            raise AssertionError(f"{process.args[0]} ended with {process.returncode}:\n{text}")
        time.sleep(0.01)
    raise AssertionError(f"no line like {pattern!r} in {path}:\n{text}")


class Cell:
    """`with Cell(scenario) as cell:` starts everything and takes it down again; the folder goes with it."""

    def __init__(self, scenario=EXAMPLES / "scenario" / "demo.scenario", speed_scale=50, plan_text=None, cell_text=None):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="crestgate-cell-"))
        self.scenario, self.speed_scale = scenario, speed_scale
        shutil.copytree(EXAMPLES / "plans", self.folder / "plans")
        if plan_text:
            (self.folder / "plans" / "eccentric-finished.toml").write_text(plan_text, encoding="utf-8")
        text = cell_text or (EXAMPLES / "cell.toml").read_text(encoding="utf-8")
        serial = re.search(r"^gauge .*\bserial (\S+)", pathlib.Path(scenario).read_text(encoding="utf-8"), re.MULTILINE)
        text = re.sub(r'serial_number = "[^"]*"', f'serial_number = "{serial.group(1)}"', text)
        (self.folder / "cell.toml").write_text(text.replace("port = 1502", "port = 0"), encoding="utf-8")
        self.witness_options = []
        self.environment = None  # of the daemon; None: as ours
        self.gauge = self.daemon = self.plc = self.control = self.machine = self.witness = None
        self.testimony = []  # what each witness said at its end

    def __enter__(self):
        try:
            self.start_gauge()
            self.start_daemon()
            self.start_plc()
        except BaseException:
            self.__exit__(*sys.exc_info())
            raise
        return self

    def __exit__(self, kind, *_):
        if self.plc:
            self.plc.stop()
        if self.control:
            self.control.close()
        for process in (self.daemon, self.gauge):
            if process and process.poll() is None:
                process.kill()
                process.wait()
        wrong = self.dismiss_witness()
        if kind or wrong:
            for name in ("daemon.log", "gauge.log", "lamp.txt"):
                path = self.folder / name
                if path.exists():
                    print(f"---- {name}\n{path.read_text(encoding='utf-8', errors='replace')[-3000:]}", file=sys.stderr)
        shutil.rmtree(self.folder, ignore_errors=True)
        if wrong and not kind:
            raise AssertionError("the witness saw wrong greens:\n" + "\n".join(self.testimony))

    # ---- the pieces ----
    def start_gauge(self):
        with open(self.folder / "gauge.log", "w", encoding="utf-8") as log:
            self.gauge = subprocess.Popen([PROGRAMS / "crestgate-sim", "serve", self.scenario, "--pty", self.folder / "gauge",
                                           "--control", "0", "--speed-scale", str(self.speed_scale)], stdout=log, stderr=log)
        port = wait_for_line(self.folder / "gauge.log", r"control on 127\.0\.0\.1:(\d+)", self.gauge).group(1)
        self.control = BenchControl(int(port))

    def start_daemon(self, *arguments):
        log_path = self.folder / "daemon.log"
        log_path.unlink(missing_ok=True)
        with open(log_path, "w", encoding="utf-8") as log, open(self.folder / "lamp.txt", "a", encoding="utf-8") as lamp:
            self.daemon = subprocess.Popen([PROGRAMS / "crestgate", "run", self.folder / "cell.toml", *arguments],
                                           stdout=lamp, stderr=log, env=self.environment)
        self.plc_port = int(wait_for_line(log_path, r"PLC on \S+ port (\d+)", self.daemon).group(1))
        self.call_witness()

    def call_witness(self):
        """One for each life of the daemon; none of them may ever see a wrong green."""
        self.dismiss_witness()
        self.witness = subprocess.Popen(["/usr/bin/python3", "-B", SOURCE / "tests" / "cell" / "witness.py", "127.0.0.1",
                                         str(self.plc_port), self.folder / "ledger", self.folder / "lamp.txt",
                                         *self.witness_options],
                                        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        assert self.witness.stdout.readline() == "watching\n", "the witness did not begin"

    def dismiss_witness(self):
        """True when any witness so far saw something wrong."""
        if self.witness:
            self.witness.send_signal(signal.SIGTERM)
            said, _ = self.witness.communicate(timeout=PATIENCE_S)
            self.testimony.append(said.strip() + ("" if self.witness.returncode == 0 else "  <- WRONG"))
            self.witness = None
        return any("<- WRONG" in said for said in self.testimony)

    def start_plc(self):
        self.plc = PlcBench("127.0.0.1", self.plc_port).start()
        self.machine = Machine(self.plc, self.control)
        assert self.plc.wait_for(lambda plc: plc.get("CellReady"), PATIENCE_S), "the cell did not become ready"

    def stop_daemon(self, how=signal.SIGTERM):
        """Returns the exit code."""
        self.daemon.send_signal(how)
        return self.daemon.wait(timeout=PATIENCE_S)

    # ---- what one wants to know ----
    def measure(self, part, recipe=12, stage=2, known_as=None, **identity):
        answer = self.machine.measure(part, known_as, seconds=PATIENCE_S, RecipeNumber=recipe, StageNumber=stage, **identity)
        assert answer is not None, f"no answer for {part}; the cell's block: {self.plc.block()[:16]}"
        return answer

    def unload(self):
        assert self.machine.unload(PATIENCE_S), "the bench did not settle"

    def records(self, kind=None):
        """The ledger as the program lists it: dicts with record, kind, digest, bytes, text."""
        arguments = ["dump", self.folder / "ledger", "--format", "json"] + (["--kind", kind] if kind else [])
        return [json.loads(line) for line in crestgate(*arguments).stdout.splitlines()]

    def lamp(self):
        return (self.folder / "lamp.txt").read_text(encoding="utf-8")

    def log(self):
        return (self.folder / "daemon.log").read_text(encoding="utf-8")


def field(record, name):
    """One "name: value" line of a record's text."""
    found = re.search(rf"^{re.escape(name)}: (.*)$", record["text"], re.MULTILINE)
    if not found:
        raise AssertionError(f"no field {name} in:\n{record['text']}")
    return found.group(1)
