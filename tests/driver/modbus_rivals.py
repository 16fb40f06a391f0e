#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Two PLCs on one server, with pymodbus. Arguments: the port on 127.0.0.1, the holder's silence in ms.
Exits 0 when the first one holds the line until it is silent for longer."""
import sys
import time

from pymodbus.client import ModbusTcpClient

failures = []


def expect(what, found, wanted):
    if found != wanted:
        failures.append(f"{what}: expected {wanted!r}, found {found!r}")


def plc(address):
    client = ModbusTcpClient("127.0.0.1", port=int(sys.argv[1]), source_address=(address, 0))
    if not client.connect():
        sys.exit(f"cannot connect from {address}")
    return client


def code(answer):
    return answer.exception_code if answer.isError() else 0


first, second = plc("127.0.0.2"), plc("127.0.0.3")
expect("the first one writes", code(first.write_registers(0, [1, 11], slave=1)), 0)
expect("the second one is refused", code(second.write_registers(0, [1, 22], slave=1)), 6)
expect("the second one reads", second.read_holding_registers(0, 2, slave=1).registers, [1, 11])

again = plc("127.0.0.2")
expect("a new connection of the first one writes", code(again.write_register(1, 12, slave=1)), 0)
expect("its old one writes as well", code(first.write_register(1, 13, slave=1)), 0)
expect("its old one reads", first.read_holding_registers(1, 1, slave=1).registers, [13])

time.sleep(int(sys.argv[2]) / 1000 + 0.1)
expect("the second one takes a silent line", code(second.write_register(1, 22, slave=1)), 0)
expect("the first one is the other now", code(again.write_register(1, 14, slave=1)), 6)

for client in (first, second, again):
    client.close()
for failure in failures:
    print(failure)
sys.exit(1 if failures else 0)
