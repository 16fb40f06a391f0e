# SPDX-License-Identifier: Apache-2.0
"""A cell with every kind of output at once; the far ends are devices.py and the library in tests/support/fake_gpiod."""
import os
import pathlib
import re
import shutil
import subprocess
import time

from harness import EXAMPLES, PROGRAMS, SOURCE, Cell

CELL = (EXAMPLES / "cell.toml").read_text(encoding="utf-8")
OUTPUTS = """
[[output]]
kind = "gpio"
name = "lamp on lines"
chip = "gpiochip7"
falls_by = "guard"
[[output.light]]
label = "GOOD"
shows = "accept"
line = "green"
[[output.light]]
label = "BAD"
shows = "reject"
line = "red"
[[output.light]]
label = "ACT"
shows = "act"
line = "blue"

[[output]]
kind = "relay"
name = "tower"
port = "relay"
dialect = "relays/three-relays.toml"
falls_by = "guard"
[[output.light]]
label = "GOOD"
shows = "accept"
[[output.light]]
label = "BAD"
shows = "reject"
[[output.light]]
label = "NOT MEASURED"
shows = "not measured"

[[output]]
kind = "coils"
name = "gate"
address = "127.0.0.1"
port = {coils}
first_coil = 4
falls_by = "own watchdog"
falls_after_ms = 400
[[output.light]]
label = "GATE"
shows = "accept"
[[output.light]]
label = "REWORK"
shows = "rework"

[[output]]
kind = "registers"
name = "second PLC"
address = "127.0.0.1"
port = {registers}
cell_block = 200
"""
LIT = ("lines", "relay", "coils", "registers")


def guards_of(daemon):
    """Process ids of the guards that this daemon started."""
    found = []
    for entry in pathlib.Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            name = (entry / "comm").read_text().strip()
            parent = int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1])
        except (OSError, IndexError):
            continue
        if name == "crestgate-guard" and parent == daemon.pid:
            found.append(int(entry.name))
    return found


def is_running(process):
    try:
        return pathlib.Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


class ManyOutputs(Cell):
    def __init__(self, **options):
        super().__init__(cell_text=options.pop("cell_text", CELL) + OUTPUTS, **options)
        shutil.copytree(EXAMPLES / "relays", self.folder / "relays")
        self.gpio = self.folder / "gpio"
        self.gpio.mkdir()
        (self.gpio / "gpiochip7.chip").write_text("fake-lamps\ngreen\nred\nblue\n", encoding="utf-8")
        (self.gpio / "gpiochip7.levels").write_text("000", encoding="utf-8")
        self.environment = dict(os.environ, FAKE_GPIOD_DIR=str(self.gpio), LD_LIBRARY_PATH=str(PROGRAMS.parent / "fake_gpiod"))
        self.devices = subprocess.Popen(["/usr/bin/python3", "-B", SOURCE / "tests" / "cell" / "devices.py", self.folder],
                                        stdout=subprocess.PIPE, text=True)
        coils, registers = re.match(r"coils (\d+) registers (\d+)", self.devices.stdout.readline()).groups()
        path = self.folder / "cell.toml"
        path.write_text(path.read_text(encoding="utf-8").replace("{coils}", coils).replace("{registers}", registers), encoding="utf-8")
        files = {"lines": self.gpio / "gpiochip7.levels", **{name: self.folder / f"{name}.accept" for name in LIT[1:]}}
        self.files = files
        self.witness_options = [word for name in LIT for word in ("--light", f"{name}{':2.1' if name == 'registers' else ''}={files[name]}")]

    def __exit__(self, *arguments):
        guards = guards_of(self.daemon) if self.daemon and self.daemon.poll() is None else []
        if guards:  # they end by themselves, and need their device for it
            self.daemon.kill()
            self.daemon.wait()
        deadline = time.monotonic() + 10
        while any(map(is_running, guards)) and time.monotonic() < deadline:
            time.sleep(0.01)
        try:
            super().__exit__(*arguments)
        finally:
            self.devices.kill()
            self.devices.wait()
            self.devices.stdout.close()

    def lit(self):
        """Which accept lights are on, by the devices' own account."""
        return {name for name in LIT if self.files[name].read_bytes()[:1] == b"1"}

    def other_lights(self):
        """The levels of the lamp on lines: green, red, blue."""
        return (self.gpio / "gpiochip7.levels").read_text(encoding="utf-8")[:3]
