#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Reads and writes the register table as a PLC would, with pymodbus. Argument: the port on 127.0.0.1.
Addresses and words are those of the register page. Exits 0 when everything is as the page says."""
import sys

from pymodbus.client import ModbusTcpClient
from pymodbus.constants import Endian
from pymodbus.payload import BinaryPayloadBuilder, BinaryPayloadDecoder

failures = []


def expect(what, found, wanted):
    if found != wanted:
        failures.append(f"{what}: expected {wanted!r}, found {found!r}")


def decoder(registers):
    return BinaryPayloadDecoder.fromRegisters(registers, byteorder=Endian.Big, wordorder=Endian.Big)


def check_block(name, block):
    expect(f"{name} size", len(block), 75)
    expect(f"{name} map version", block[1], 1)
    expect(f"{name} verdict", block[6], 0xA5C3)
    expect(f"{name} accept bit", block[5] >> 3 & 1, 1)
    expect(f"{name} sequence", (block[0], block[74]), (5, 5))
    expect(f"{name} float", decoder(block[69:71]).decode_32bit_float(), 123456.0)
    expect(f"{name} signed", decoder(block[71:73]).decode_32bit_int(), -70000)
    expect(f"{name} text", decoder(block[73:74]).decode_string(2), b"AB")
    expect(f"{name} no value", decoder(block[16:18]).decode_32bit_int(), -2147483648)


client = ModbusTcpClient("127.0.0.1", port=int(sys.argv[1]))
if not client.connect():
    sys.exit("cannot connect")

check_block("input registers", client.read_input_registers(0, 75, slave=1).registers)
check_block("mirror", client.read_holding_registers(100, 75, slave=1).registers)

builder = BinaryPayloadBuilder(byteorder=Endian.Big, wordorder=Endian.Big)
builder.add_string("SHAFT-0815")
part_id = builder.to_registers()
expect("write part id", client.write_registers(16, part_id, slave=1).isError(), False)
builder.reset()
builder.add_32bit_uint(70001)
expect("write wheel", client.write_registers(8, builder.to_registers(), slave=1).isError(), False)
expect("write recipe", client.write_register(5, 3, slave=1).isError(), False)

both = client.readwrite_registers(
    read_address=100, read_count=75, write_address=0, write_registers=[7, 42, 1], slave=1
)
check_block("function 23", both.registers)

plc = client.read_holding_registers(0, 64, slave=1).registers
expect("own block", plc[:3], [7, 42, 1])
expect("own part id", decoder(plc[16:21]).decode_string(10), b"SHAFT-0815")
expect("own wheel", decoder(plc[8:10]).decode_32bit_uint(), 70001)

forbidden = client.write_register(106, 0xA5C3, slave=1)
expect("write into the mirror", (forbidden.isError(), getattr(forbidden, "exception_code", None)), (True, 2))
outside = client.read_input_registers(70, 10, slave=1)
expect("read beyond the block", (outside.isError(), getattr(outside, "exception_code", None)), (True, 2))
coils = client.read_coils(0, 1, slave=1)
expect("read coils", (coils.isError(), getattr(coils, "exception_code", None)), (True, 1))
client.close()

for failure in failures:
    print(failure)
sys.exit(1 if failures else 0)
