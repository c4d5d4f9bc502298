#!/usr/bin/python3
"""A module that nobody has described, by pymodbus (Debian's python3-pymodbus 3.0.0): Modbus address 7, two quantities somewhere in its input registers.

It listens on a free port of 127.0.0.1, prints "port N", and ends when its standard input ends; a line "set 16 310" on it changes a register. Its display would show 6.31 V and 24.6 degrees Celsius.
"""
import asyncio
import sys

from pymodbus.constants import Endian
from pymodbus.datastore import ModbusServerContext, ModbusSlaveContext, ModbusSparseDataBlock
from pymodbus.payload import BinaryPayloadBuilder
from pymodbus.server import async_io

ADDRESS = 7
VOLTS_AT, TENTHS_AT = 12, 16


def registers():
    """Microvolts as a whole number of two registers, the low one first; tenths of a degree in one register; other figures round them."""
    builder = BinaryPayloadBuilder(byteorder=Endian.Big, wordorder=Endian.Little)
    builder.add_32bit_int(6310000)
    low, high = builder.to_registers()
    held = {address: 0 for address in range(0, 40)}
    held |= {0: 0x0104, 1: 3, VOLTS_AT: low, VOLTS_AT + 1: high, TENTHS_AT: 246, 20: 65535}
    return held


async def main():
    unit = ModbusSlaveContext(ir=ModbusSparseDataBlock(registers()), hr=ModbusSparseDataBlock({0: 1}), zero_mode=True)
    server = async_io.ModbusTcpServer(ModbusServerContext(slaves={ADDRESS: unit}, single=False), address=("127.0.0.1", 0))
    serving = asyncio.ensure_future(server.serve_forever())
    await server.serving
    print(f"port {server.server.sockets[0].getsockname()[1]}", flush=True)
    while line := await asyncio.get_running_loop().run_in_executor(None, sys.stdin.readline):
        _, address, word = line.split()
        unit.setValues(4, int(address), [int(word)])  # function 4: input registers
    await server.shutdown()
    serving.cancel()


if __name__ == "__main__":
    asyncio.run(main())
