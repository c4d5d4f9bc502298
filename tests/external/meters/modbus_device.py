#!/usr/bin/python3
"""Modbus meters by pymodbus (Debian's python3-pymodbus) that say in each value who they are and when it was taken.

  modbus_device.py tcp PORT UNIT...        listens on 127.0.0.1
  modbus_device.py rtu DEVICE UNIT...      answers on a serial device, 115200 8N1
UNIT is ADDRESS:CODE:CHANNELS:NAME. Input registers from 0 hold CHANNELS signed 32-bit values, high word first: (CODE + channel) * 1000 +
tenths of a second of the clock, modulo 1000. Holding registers 100 to 107 hold NAME as text.

One JSON object a line on standard input: {"address": 1, "swapped": true}: another meter answers there from now on, NAME with a B behind
it, its codes 500 higher. Prints "ready"; ends when its standard input ends.
"""
import asyncio
import json
import logging
import sys
import time

from pymodbus.datastore import ModbusServerContext, ModbusSequentialDataBlock, ModbusSlaveContext
from pymodbus.server import async_io

NAME_AT, NAME_REGISTERS = 100, 8
SWAPPED_CODE = 500


class Unit:
    def __init__(self, text):
        address, code, channels, self.name = text.split(":")
        self.address, self.code, self.channels, self.is_swapped = int(address), int(code), int(channels), False

    def inputs(self):
        tenths = int(time.time() * 10) % 1000
        words = []
        for channel in range(self.channels):
            value = (self.code + channel + (SWAPPED_CODE if self.is_swapped else 0)) * 1000 + tenths
            words += [value >> 16, value & 0xFFFF]
        return words

    def holdings(self):
        text = (self.name + ("B" if self.is_swapped else "")).encode().ljust(2 * NAME_REGISTERS, b"\0")
        return [0] * NAME_AT + [text[i] << 8 | text[i + 1] for i in range(0, 2 * NAME_REGISTERS, 2)]


class Live(ModbusSequentialDataBlock):
    """Registers that are made when they are asked for."""

    def __init__(self, words):
        self.words = words
        super().__init__(0, words())

    def validate(self, address, count=1):
        return 0 <= address and address + count <= len(self.words())

    def getValues(self, address, count=1):
        return self.words()[address:address + count]


async def obey(units):
    reader = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    while line := await reader.readline():
        order = json.loads(line)
        next(u for u in units if u.address == order["address"]).is_swapped = order["swapped"]


async def main():
    logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # connections end all the time here
    kind, place, *texts = sys.argv[1:]
    units = [Unit(text) for text in texts]
    context = ModbusServerContext(single=False, slaves={
        unit.address: ModbusSlaveContext(ir=Live(unit.inputs), hr=Live(unit.holdings), di=ModbusSequentialDataBlock(0, [False]), co=ModbusSequentialDataBlock(0, [False]), zero_mode=True)
        for unit in units})
    if kind == "tcp":
        server = async_io.ModbusTcpServer(context, address=("127.0.0.1", int(place)), ignore_missing_slaves=True)
        asyncio.create_task(server.serve_forever())
        await server.serving
    else:
        server = async_io.ModbusSerialServer(context, framer=async_io.ModbusRtuFramer, port=place, baudrate=115200, parity="N", stopbits=1, timeout=0, ignore_missing_slaves=True)
        await server.start()
        assert server.transport, "cannot open " + place
    print("ready", flush=True)
    await obey(units)


asyncio.run(main())
