#!/usr/bin/python3
"""A Modbus device by pymodbus (Debian's python3-pymodbus 3.0.0), for the driver to be read against.

  server.py tcp            listens on a free port of 127.0.0.1 and prints "port N"
  server.py rtu DEVICE     answers on a serial device and prints "ready"

Ends when its standard input ends. Unit 1 holds one value of each type; the units of KINDS are laid out as the generic instrument
files say. All values are laid out by pymodbus' own payload builder; it also answers who it is (function 43 / 14).
"""
import asyncio
import sys

from pymodbus.constants import Endian
from pymodbus.device import ModbusDeviceIdentification
from pymodbus.datastore import ModbusServerContext, ModbusSequentialDataBlock, ModbusSlaveContext, ModbusSparseDataBlock
from pymodbus.payload import BinaryPayloadBuilder
from pymodbus.server import async_io

UNIT = 1
BAUD = 115200
# (bytes within a register, order of registers) for A B C D, C D A B, B A D C, D C B A
ORDERS = [(Endian.Big, Endian.Big), (Endian.Big, Endian.Little), (Endian.Little, Endian.Big), (Endian.Little, Endian.Little)]


def wide_values():
    """Input registers from 100: for each order a float32, an int32 and a uint32, two registers each."""
    registers = []
    for byte_order, word_order in ORDERS:
        builder = BinaryPayloadBuilder(byteorder=byte_order, wordorder=word_order)
        builder.add_32bit_float(230.5)
        builder.add_32bit_int(-40000)
        builder.add_32bit_uint(912351)
        registers += builder.to_registers()
    return registers


def laid_out(word_order, *values):
    """Registers of (kind, value) pairs, the high byte of each first."""
    builder = BinaryPayloadBuilder(byteorder=Endian.Big, wordorder=word_order)
    for kind, value in values:
        getattr(builder, "add_" + kind)(value)
    return builder.to_registers()


def kinds():
    """unit: (input registers, holding registers) by address."""
    def at(address, registers):
        return {address + i: word for i, word in enumerate(registers)}
    big, little = Endian.Big, Endian.Little
    energy_whole = at(0, laid_out(little, ("32bit_int", 2305), ("32bit_int", 433), ("32bit_int", 998)))
    energy_whole |= {6: 0, 7: 0, 9: 0, 10: 0, 11: 0} | at(8, laid_out(little, ("16bit_uint", 5002))) | at(12, laid_out(little, ("64bit_uint", 912351)))
    return {
        11: (at(0, laid_out(big, *[("16bit_int", value) for value in (1216, -3200, 32767, -32768, 0, 1, 2, 3)])), {}),
        12: (at(0, laid_out(little, *[("32bit_int", value) for value in (380000, -12500, 2147483647, -2147483648, 0, 1, 2, 3)])), {}),
        13: ({}, at(0, laid_out(big, *[("16bit_int", value) for value in (234, -10, 32767, 455, 612, 0, 1, 2)]))),
        14: (at(0, laid_out(big, *[("16bit_int", value) for value in (2345, -4000, 32767, 10000)])), {}),
        15: (at(0, laid_out(big, *[("32bit_float", value) for value in (230.5, 0.433, 99.8125, 50.0, 912.375)])), {}),
        16: (energy_whole, at(100, laid_out(little, ("32bit_uint", 4120417)))),
        17: (at(0, laid_out(big, ("16bit_int", 214), ("16bit_int", 455))), {}),
    }


def kind_unit(inputs, held):
    return ModbusSlaveContext(
        di=ModbusSequentialDataBlock(0, [False, True, True, False, False, False, False, True]), co=ModbusSequentialDataBlock(0, [False] * 10),
        hr=ModbusSparseDataBlock(held or {0: 0}), ir=ModbusSparseDataBlock(inputs or {0: 0}), zero_mode=True)


def who_it_is():
    return ModbusDeviceIdentification(info={0x00: "Test bench", 0x01: "eight kinds", 0x02: "1.0"})


def context():
    inputs = {0: 380, 1: 0x10000 - 245, 2: 32767, 3: 60000}
    inputs.update({100 + i: word for i, word in enumerate(wide_values())})
    unit = ModbusSlaveContext(
        di=ModbusSequentialDataBlock(0, [False, True, True, False]),
        co=ModbusSequentialDataBlock(0, [False] * 8),
        hr=ModbusSequentialDataBlock(0, [555, 0, 100]),
        ir=ModbusSparseDataBlock(inputs),
        zero_mode=True,
    )
    return ModbusServerContext(slaves={UNIT: unit} | {number: kind_unit(*registers) for number, registers in kinds().items()}, single=False)


async def end_of_input():
    reader = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    await reader.read()


async def serve_tcp():
    server = async_io.ModbusTcpServer(context(), identity=who_it_is(), address=("127.0.0.1", 0), ignore_missing_slaves=True)
    serving = asyncio.create_task(server.serve_forever())
    await server.serving
    print("port", server.server.sockets[0].getsockname()[1], flush=True)
    await end_of_input()
    serving.cancel()


async def serve_rtu(device):
    server = async_io.ModbusSerialServer(
        context(), identity=who_it_is(), framer=async_io.ModbusRtuFramer, port=device, baudrate=BAUD, parity="N", stopbits=1, timeout=0, ignore_missing_slaves=True)
    await server.start()
    if server.transport is None:
        sys.exit("cannot open " + device)
    print("ready", flush=True)
    await end_of_input()


asyncio.run(serve_tcp() if sys.argv[1] == "tcp" else serve_rtu(sys.argv[2]))
