# SPDX-License-Identifier: Apache-2.0
"""Runs a small part of IEC 61131-3 structured text, enough for packaging/examples/plc: so that the PLC example which
ships is what the demonstration and the tests execute, word for word.

Understood: one PROGRAM; VAR_INPUT, VAR_OUTPUT, VAR with initial values and AT %IWn, %QWn, %IXn.b, %QXn.b; BOOL, UINT,
UDINT, STRING[n], TON; assignment; IF / ELSIF / ELSE; calls of TON with IN and PT; OR AND NOT, comparison, + - MOD *.
Everything else is refused when the program is read.
"""
import re

TOKEN = re.compile(r"""\s+|\(\*.*?\*\)|(?P<location>%[IQ][WX]\d+(\.\d+)?)|(?P<time>T\#\d+(ms|s))|(?P<hex>16\#[0-9A-Fa-f]+)
|(?P<number>\d+)|(?P<text>'[^']*')|(?P<name>[A-Za-z_]\w*(\.[A-Za-z_]\w*)?)|(?P<mark>:=|<>|<=|>=|[-+*=<>():;,\[\]])""",
                   re.VERBOSE | re.DOTALL)


class ProgramError(Exception):
    """The text is not in the part of the language that is understood here."""


def tokens_of(source):
    position, line, found = 0, 1, []
    while position < len(source):
        match = TOKEN.match(source, position)
        if not match:
            raise ProgramError(f"line {line}: cannot read {source[position:position + 20]!r}")
        if match.lastgroup:
            kind = next(k for k in ("location", "time", "hex", "number", "text", "name", "mark") if match.group(k))
            found.append((kind, match.group(kind), line))
        line += match.group().count("\n")
        position = match.end()
    return found


class Ton:
    """On-delay timer: Q is set once IN has been true for PT."""

    def __init__(self):
        self.since_ms, self.q = None, False

    def call(self, given, preset_ms, now_ms):
        if not given:
            self.since_ms, self.q = None, False
            return
        if self.since_ms is None:
            self.since_ms = now_ms
        self.q = now_ms - self.since_ms >= preset_ms


class Program:
    """Variables in `values`; registers are read from `inputs` before a scan and written to `outputs` after it."""

    def __init__(self, source, input_size, output_size):
        self.tokens, self.at = tokens_of(source), 0
        self.values, self.places, self.kinds = {}, {}, {}
        self.input_names, self.output_names = set(), set()
        self.inputs, self.outputs = [0] * input_size, [0] * output_size
        self.expect("PROGRAM")
        self.take("name")
        while self.peek() in ("VAR", "VAR_INPUT", "VAR_OUTPUT"):
            self.declarations()
        self.body = self.statements(("END_PROGRAM",))
        self.expect("END_PROGRAM")
        self.now_ms = 0

    # ---- reading ----
    def peek(self):
        return self.tokens[self.at][1] if self.at < len(self.tokens) else ""

    def take(self, kind=None):
        if self.at >= len(self.tokens):
            raise ProgramError("the text ends too early")
        found = self.tokens[self.at]
        if kind and found[0] != kind:
            raise ProgramError(f"line {found[2]}: expected a {kind}, found {found[1]!r}")
        self.at += 1
        return found[1]

    def expect(self, *words):
        for word in words:
            line = self.tokens[self.at][2] if self.at < len(self.tokens) else "end"
            if self.peek() != word:
                raise ProgramError(f"line {line}: expected {word}, found {self.peek()!r}")
            self.at += 1

    def declarations(self):
        section = self.take()
        while self.peek() != "END_VAR":
            name = self.take("name")
            place = None
            if self.peek() == "AT":
                self.take()
                place = self.take("location")
            self.expect(":")
            kind, length = self.take("name"), 0
            if kind == "STRING":
                self.expect("[")
                length = int(self.take("number"))
                self.expect("]")
            elif kind not in ("BOOL", "UINT", "UDINT", "TON"):
                raise ProgramError(f"type {kind} is not understood")
            value = {"BOOL": False, "STRING": "", "TON": None}.get(kind, 0)
            if kind == "TON":
                value = Ton()
            if self.peek() == ":=":
                self.take()
                value = int(self.take("number"))
            self.expect(";")
            self.values[name], self.kinds[name] = value, (kind, length)
            if place:
                self.places[name] = place
            if section == "VAR_INPUT":
                self.input_names.add(name)
            if section == "VAR_OUTPUT":
                self.output_names.add(name)
        self.expect("END_VAR", ";") if self.tokens[self.at + 1][1] == ";" else self.expect("END_VAR")

    def statements(self, ends):
        found = []
        while self.peek() not in ends:
            found.append(self.statement())
        return found

    def statement(self):
        if self.peek() == "IF":
            self.take()
            branches = []
            while True:
                condition = self.expression()
                self.expect("THEN")
                branches.append((condition, self.statements(("ELSIF", "ELSE", "END_IF"))))
                if self.peek() != "ELSIF":
                    break
                self.take()
            otherwise = []
            if self.peek() == "ELSE":
                self.take()
                otherwise = self.statements(("END_IF",))
            self.expect("END_IF", ";")
            return ("if", branches, otherwise)
        name = self.take("name")
        if name not in self.values:
            raise ProgramError(f"{name} is not declared")
        if self.peek() == "(":
            self.expect("(", "IN", ":=")
            given = self.expression()
            self.expect(",", "PT", ":=")
            preset = self.take("time")
            self.expect(")", ";")
            amount = int(re.sub(r"\D", "", preset))
            return ("ton", name, given, amount if preset.endswith("ms") else 1000 * amount)
        self.expect(":=")
        value = self.expression()
        self.expect(";")
        return ("assign", name, value)

    def expression(self):
        left = self.conjunction()
        while self.peek() == "OR":
            self.take()
            left = ("OR", left, self.conjunction())
        return left

    def conjunction(self):
        left = self.comparison()
        while self.peek() == "AND":
            self.take()
            left = ("AND", left, self.comparison())
        return left

    def comparison(self):
        if self.peek() == "NOT":
            self.take()
            return ("NOT", self.comparison())
        left = self.sum()
        if self.peek() in ("=", "<>", "<", ">", "<=", ">="):
            operator = self.take()
            return (operator, left, self.sum())
        return left

    def sum(self):
        left = self.product()
        while self.peek() in ("+", "-"):
            operator = self.take()
            left = (operator, left, self.product())
        return left

    def product(self):
        left = self.primary()
        while self.peek() in ("MOD", "*"):
            operator = self.take()
            left = (operator, left, self.primary())
        return left

    def primary(self):
        kind, word, line = self.tokens[self.at]
        self.at += 1
        if word == "(":
            inner = self.expression()
            self.expect(")")
            return inner
        if kind == "number":
            return ("value", int(word))
        if kind == "hex":
            return ("value", int(word[3:], 16))
        if kind == "text":
            return ("value", word[1:-1])
        if word in ("TRUE", "FALSE"):
            return ("value", word == "TRUE")
        if kind == "name" and word.split(".")[0] in self.values:
            return ("name", word)
        raise ProgramError(f"line {line}: {word!r} is not declared")

    # ---- running ----
    def evaluate(self, node):
        operator = node[0]
        if operator == "value":
            return node[1]
        if operator == "name":
            name, _, member = node[1].partition(".")
            return self.values[name].q if member == "Q" else self.values[name]
        if operator == "NOT":
            return not self.evaluate(node[1])
        left, right = self.evaluate(node[1]), self.evaluate(node[2])
        return {"OR": lambda: left or right, "AND": lambda: left and right, "=": lambda: left == right,
                "<>": lambda: left != right, "<": lambda: left < right, ">": lambda: left > right,
                "<=": lambda: left <= right, ">=": lambda: left >= right, "+": lambda: left + right,
                "-": lambda: left - right, "*": lambda: left * right, "MOD": lambda: left % right}[operator]()

    def run(self, statements):
        for statement in statements:
            if statement[0] == "assign":
                self.values[statement[1]] = self.evaluate(statement[2])
            elif statement[0] == "ton":
                self.values[statement[1]].call(self.evaluate(statement[2]), statement[3], self.now_ms)
            else:
                for condition, body in statement[1]:
                    if self.evaluate(condition):
                        self.run(body)
                        break
                else:
                    self.run(statement[2])

    def scan(self, now_ms):
        self.now_ms = now_ms
        for name, place in self.places.items():
            if place[1] == "I":
                self.values[name] = self.load(name, place)
        self.run(self.body)
        for name, place in self.places.items():
            if place[1] == "Q":
                self.store(name, place)

    def load(self, name, place):
        if place[2] == "X":
            word, bit = map(int, place[3:].split("."))
            return bool(self.inputs[word] >> bit & 1)
        first, (kind, length) = int(place[3:]), self.kinds[name]
        if kind == "STRING":
            data = b"".join(word.to_bytes(2, "big") for word in self.inputs[first:first + length // 2])
            return data.split(b"\0")[0].decode("ascii", "replace")
        if kind == "UDINT":
            return self.inputs[first] << 16 | self.inputs[first + 1]
        return self.inputs[first]

    def store(self, name, place):
        value = self.values[name]
        if place[2] == "X":
            word, bit = map(int, place[3:].split("."))
            self.outputs[word] = self.outputs[word] & ~(1 << bit) | int(value) << bit
            return
        first, (kind, length) = int(place[3:]), self.kinds[name]
        if kind == "STRING":
            data = value.encode("ascii", "replace")[:length].ljust(length, b"\0")
            for i in range(length // 2):
                self.outputs[first + i] = data[2 * i] << 8 | data[2 * i + 1]
        elif kind == "UDINT":
            self.outputs[first:first + 2] = [value >> 16 & 0xFFFF, value & 0xFFFF]
        else:
            self.outputs[first] = value & 0xFFFF
