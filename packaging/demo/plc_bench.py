# SPDX-License-Identifier: Apache-2.0
"""A PLC that polls a cell over Modbus TCP (pymodbus, an implementation that shares nothing with the cell's) and runs
packaging/examples/plc/cell_handshake.st every scan; and the machine around it, which moves only while the PLC says so.
"""
import pathlib
import socket
import threading
import time

from pymodbus.client import ModbusTcpClient
from pymodbus.exceptions import ModbusException

from structured_text import Program

CELL_SIZE, PLC_SIZE = 75, 64
EXAMPLE = pathlib.Path(__file__).resolve().parent.parent / "examples" / "plc" / "cell_handshake.st"


class PlcBench:
    """Scans in a thread of its own; `inputs` and `outputs` are the program's VAR_INPUT and VAR_OUTPUT by name."""

    def __init__(self, host, port, unit=1, scan_s=0.02, program=EXAMPLE):
        self.client, self.unit = ModbusTcpClient(host, port=port, timeout=1), unit
        self._prepare(scan_s, program)

    def _prepare(self, scan_s=0.02, program=EXAMPLE):
        """All but the way to the cell."""
        self.scan_s = scan_s
        self.program = Program(pathlib.Path(program).read_text(encoding="utf-8"), CELL_SIZE, PLC_SIZE)
        self.lock = threading.Lock()
        self.frozen = False  # a PLC whose program stands still: no scans, socket open
        self.away = False  # a PLC whose cable is out: no scans, socket closed
        self.stopping = False
        self.scans = 0
        self.thread = threading.Thread(target=self._scan_forever, daemon=True)

    def start(self):
        self.thread.start()
        return self

    def stop(self):
        self.stopping = True
        self.thread.join(timeout=5)
        self.client.close()

    def set(self, **inputs):
        with self.lock:
            for name, value in inputs.items():
                if name not in self.program.input_names:
                    raise KeyError(name)
                self.program.values[name] = value

    def get(self, name):
        with self.lock:
            return self.program.values[name]

    def block(self):
        """The cell's registers as the last scan read them."""
        with self.lock:
            return list(self.program.inputs)

    def wait_for(self, condition, seconds):
        """True once condition(self) holds; False after that many seconds."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            if condition(self):
                return True
            time.sleep(0.005)
        return False

    def _scan_forever(self):
        while not self.stopping:
            started = time.monotonic()
            if self.away:
                self.client.close()  # by the thread that reads from it
            elif not self.frozen:
                self._scan_once()
            time.sleep(max(0.0, self.scan_s - (time.monotonic() - started)))

    def _scan_once(self):
        registers = None
        try:
            if self.client.connect():
                reply = self.client.read_input_registers(0, CELL_SIZE, slave=self.unit)
                if not reply.isError():
                    registers = list(reply.registers)
        except (ModbusException, OSError):
            self.client.close()
        with self.lock:
            self.program.values["LinkUp"] = registers is not None
            self.program.inputs = registers or [0] * CELL_SIZE
            self.program.scan(int(time.monotonic() * 1000))
            outputs = list(self.program.outputs)
            self.scans += 1
        if registers is None:
            return
        try:
            self.client.write_registers(0, outputs, slave=self.unit)
        except (ModbusException, OSError):
            self.client.close()


class BenchControl:
    """The hands at the software gauge: which part lies in the fixture, which zone stands under the stylus."""

    def __init__(self, port, host="127.0.0.1"):
        self.socket = socket.create_connection((host, port), timeout=5)
        self.lines = self.socket.makefile("rw", encoding="utf-8", newline="\n")
        self.part = None

    def say(self, line):
        self.lines.write(line + "\n")
        self.lines.flush()
        answer = self.lines.readline().strip()
        if not answer.startswith("ok"):
            raise RuntimeError(f"{line}: {answer or 'no answer'}")
        return answer

    def place(self, part):
        self.remove()
        self.say(f"place {part}")
        self.part = part

    def remove(self):
        if self.part:
            self.say("remove")
        self.part = None

    def close(self):
        self.lines.close()
        self.socket.close()


class Machine:
    """Loads a part, moves the zones under the stylus as the PLC wants them, takes the part away."""

    def __init__(self, plc, control):
        self.plc, self.control = plc, control
        self.before_zone = None  # called with the zone's number before it is brought under the stylus

    def measure(self, part, known_as=None, seconds=60, **identity):
        """Returns the outputs of the PLC program once the cell has answered, or None when it did not in time."""
        self.control.place(part)
        self.plc.set(PartName=part if known_as is None else known_as, ZoneUnderStylus=0, **identity)
        self.plc.set(PartOnBench=True)
        return self.answer(seconds)

    def answer(self, seconds):
        """Moves the zones of the part that lies there until the cell has answered."""
        deadline = time.monotonic() + seconds
        zone = self.plc.get("ZoneUnderStylus")
        self.plc.wait_for(lambda plc: not plc.get("Finished"), seconds)
        while time.monotonic() < deadline:
            if self.plc.get("Finished"):
                return {name: self.plc.get(name) for name in self.plc.program.output_names}
            wanted = self.plc.get("MoveToZone")
            if wanted not in (0, zone) and self.plc.get("MayMove"):
                if self.before_zone:
                    self.before_zone(wanted)
                self.plc.set(ZoneUnderStylus=0)
                self.control.say(f"zone {wanted}")
                zone = wanted
                self.plc.set(ZoneUnderStylus=zone)
            time.sleep(0.005)
        return None

    def unload(self, seconds=20):
        """Waits until the stylus is clear, then takes the part away and waits until the cell is ready again."""
        clear = self.plc.wait_for(lambda plc: plc.get("MayMove"), seconds)
        self.plc.set(PartOnBench=False, ZoneUnderStylus=0)
        self.control.remove()
        settled = self.plc.wait_for(lambda plc: plc.get("Step") == 0 and not plc.get("Finished"), seconds)
        return clear and settled
