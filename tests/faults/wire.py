"""What is written on the wire, and when: a listener between the daemon and a Modbus TCP bench. It passes every frame on; a
campaign that plants a bug may have it swallow one (answered as if it had been obeyed)."""
import asyncio
import dataclasses
import socket
import struct
import threading
import time

WRITE_COIL = 5
MBAP_BYTES = 7


@dataclasses.dataclass
class Write:
    at: float  # monotonic, s
    device: int
    coil: int
    on: bool


class Wire:
    """A thread of its own; `writes` of coils in the order in which they came, `connections` ever made to it."""

    def __init__(self, port, swallows=lambda write: False):
        self.bench_port, self.swallows = port, swallows
        self.writes, self.connections = [], []
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=lambda: asyncio.run(self.serve()), daemon=True).start()

    async def serve(self):
        async with await asyncio.start_server(self.client, sock=self.listener) as server:
            await server.serve_forever()

    async def client(self, reader, writer):
        self.connections.append(time.monotonic())
        try:
            bench_reader, bench_writer = await asyncio.open_connection("127.0.0.1", self.bench_port)
        except OSError:
            writer.close()
            return
        for one in (writer, bench_writer):
            one.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        back = asyncio.create_task(self.answers(bench_reader, writer))
        try:
            while True:
                head = await reader.readexactly(MBAP_BYTES)
                pdu = await reader.readexactly(struct.unpack(">H", head[4:6])[0] - 1)
                if pdu[0] == WRITE_COIL:
                    write = Write(time.monotonic(), head[6], struct.unpack(">H", pdu[1:3])[0], pdu[3] == 0xFF)
                    self.writes.append(write)
                    if self.swallows(write):
                        writer.write(head + pdu)
                        continue
                bench_writer.write(head + pdu)
                await bench_writer.drain()
        except (asyncio.IncompleteReadError, OSError):
            pass
        finally:
            back.cancel()
            writer.close()
            bench_writer.close()

    async def answers(self, reader, writer):
        try:
            while data := await reader.read(4096):
                writer.write(data)
                await writer.drain()
        except OSError:
            pass
        finally:
            writer.close()

    def of(self, coil, on, since=0.0):
        return [write for write in self.writes if write.coil == coil and write.on == on and write.at >= since]


def write_coil(port, device, coil, on):
    """One order to the bench that does not come from the daemon."""
    pdu = struct.pack(">BHH", WRITE_COIL, coil, 0xFF00 if on else 0)
    with socket.create_connection(("127.0.0.1", port), timeout=2) as wire:
        wire.sendall(struct.pack(">HHHB", 1, 0, len(pdu) + 1, device) + pdu)
        wire.recv(64)
