#!/usr/bin/python3
"""A Modbus device by pymodbus (Debian's python3-pymodbus 3.0.0), for the driver to be read against.

  server.py tcp            listens on a free port of 127.0.0.1 and prints "port N"
  server.py rtu DEVICE     answers on a serial device and prints "ready"

Ends when its standard input ends. Unit 1 answers; the 32-bit values are laid out by pymodbus' own payload builder.
"""
import asyncio
import sys

from pymodbus.constants import Endian
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
    return ModbusServerContext(slaves={UNIT: unit}, single=False)


async def end_of_input():
    reader = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    await reader.read()


async def serve_tcp():
    server = async_io.ModbusTcpServer(context(), address=("127.0.0.1", 0), ignore_missing_slaves=True)
    serving = asyncio.create_task(server.serve_forever())
    await server.serving
    print("port", server.server.sockets[0].getsockname()[1], flush=True)
    await end_of_input()
    serving.cancel()


async def serve_rtu(device):
    server = async_io.ModbusSerialServer(
        context(), framer=async_io.ModbusRtuFramer, port=device, baudrate=BAUD, parity="N", stopbits=1, timeout=0, ignore_missing_slaves=True)
    await server.start()
    if server.transport is None:
        sys.exit("cannot open " + device)
    print("ready", flush=True)
    await end_of_input()


asyncio.run(serve_tcp() if sys.argv[1] == "tcp" else serve_rtu(sys.argv[2]))
