#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""A PLC or an I/O block that only is a server, with pymodbus. Argument: its watchdog in ms, 0: none; when no request
came for so long, all coils go off. Prints its port on 127.0.0.1, then answers each line with one line:
  registers FIRST COUNT      the holding registers
  set FIRST VALUE...         sets holding registers
  coils FIRST COUNT          the coils
  fallen                     how often the watchdog put coils off"""
import asyncio
import sys
import time

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.server.async_io import ModbusTcpServer

heard = time.monotonic()


class Heard(ModbusSequentialDataBlock):
    """Notes when a request came."""

    def getValues(self, address, count=1):
        global heard
        heard = time.monotonic()
        return super().getValues(address, count)

    def setValues(self, address, values):
        global heard
        heard = time.monotonic()
        return super().setValues(address, values)


registers, coils = Heard(0, [0] * 65536), Heard(0, [False] * 2000)
fallen = 0


async def watch(limit_s):
    global fallen
    while limit_s > 0:
        await asyncio.sleep(limit_s / 10)
        if time.monotonic() - heard > limit_s and any(coils.values):
            coils.values[:] = [False] * len(coils.values)
            fallen += 1


def answer(words):
    numbers = [int(word) for word in words[1:]]
    if words[0] == "registers":
        return " ".join(str(value) for value in registers.values[numbers[0]:numbers[0] + numbers[1]])
    if words[0] == "coils":
        return " ".join(str(int(value)) for value in coils.values[numbers[0]:numbers[0] + numbers[1]])
    if words[0] == "set":
        registers.values[numbers[0]:numbers[0] + len(numbers) - 1] = numbers[1:]
        return "ok"
    return str(fallen)


async def commands():
    loop = asyncio.get_running_loop()
    while line := await loop.run_in_executor(None, sys.stdin.readline):
        print(answer(line.split()), flush=True)


async def main():
    context = ModbusServerContext(slaves={1: ModbusSlaveContext(hr=registers, co=coils, zero_mode=True)}, single=False)
    server = ModbusTcpServer(context, address=("127.0.0.1", 0))
    serving = asyncio.create_task(server.serve_forever())
    await server.serving
    watching = asyncio.create_task(watch(int(sys.argv[1]) / 1000))
    print(server.server.sockets[0].getsockname()[1], flush=True)
    await commands()
    for task in (serving, watching):
        task.cancel()


asyncio.run(main())
