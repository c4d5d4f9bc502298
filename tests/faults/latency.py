#!/usr/bin/python3
"""From the reading that should trip to the coil on the wire: how long, and what can make it longer?

latency.py --daemon P --source DIR --folder DIR [--times N] [--check]
A Modbus TCP server of the test's own answers with a figure beyond the trip limit (no dwell) and keeps the time; the next write of
the unit's coil ends the measurement. Prints one table: quiet bench, a dead neighbour on the bus, fsync that takes 5 s, a mail server
that hangs, a name server that is silent, 500 web clients that read nothing. --check: wide bounds only."""
import argparse
import asyncio
import json
import os
import pathlib
import socket
import statistics
import struct
import subprocess
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "support"))
from bench_process import end, free_port, Http, Processes, wait_for, write_files  # noqa: E402
from sinks import SmtpSink  # noqa: E402

POLL_S = 0.1
TIMEOUT_S = 0.25
INSTRUMENT = """[instrument]
title = "one figure"
protocol = "modbus"
word_order = "ABCD"
[[channel]]
name = "value"
table = "input"
address = 0
type = "float32"
quantity = "voltage"
uom = "V"
[[output]]
name = "outlet"
coil = 0
"""
PROFILE = """[profile]
kind = "line-preamp"
[[point]]
name = "rail_v"
quantity = "voltage"
uom = "V"
role = "supply"
nominal = 15.0
trip = { high = 17.0 }
trip_dwell_seconds = 0
"""
PLAN = """[plan]
title = "short"
[[stage]]
kind = "baseline"
minutes = 30
[[stage]]
kind = "idle_soak"
minutes = 60
"""
SLOW_DISK = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdlib.h>
#include <unistd.h>
static void wait_long(void) { const char* s = getenv("SLOW_SYNC_S"); if (s) usleep((useconds_t)(atof(s) * 1e6)); }
int fsync(int f) { int (*real)(int) = dlsym(RTLD_NEXT, "fsync"); wait_long(); return real(f); }
int fdatasync(int f) { int (*real)(int) = dlsym(RTLD_NEXT, "fdatasync"); wait_long(); return real(f); }
"""


class Meter:
    """Modbus TCP on a thread of its own; unit 1 answers, unit 2 never does."""

    def __init__(self):
        self.volts = 15.0
        self.tripped_at = None
        self.latencies = []
        self.off = threading.Event()
        self.port = free_port()
        threading.Thread(target=lambda: asyncio.run(self.serve()), daemon=True).start()

    async def serve(self):
        server = await asyncio.start_server(self.client, "127.0.0.1", self.port)
        async with server:
            await server.serve_forever()

    async def client(self, reader, writer):
        writer.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        coil = False
        try:
            while True:
                head = await reader.readexactly(7)
                pdu = await reader.readexactly(struct.unpack(">H", head[4:6])[0] - 1)
                now = time.monotonic()
                if head[6] == 2:
                    continue
                if pdu[0] == 4:
                    answer = b"\x04\x04" + struct.pack(">f", self.volts)
                    if self.volts > 17.0 and self.tripped_at is None:
                        self.tripped_at = now
                elif pdu[0] == 5:
                    coil = pdu[3] == 0xFF
                    if not coil and self.tripped_at is not None and not self.off.is_set():
                        self.latencies.append(now - self.tripped_at)
                        self.off.set()
                    answer = pdu
                else:
                    answer = b"\x01\x01" + bytes([coil])
                writer.write(head[:4] + struct.pack(">H", len(answer) + 1) + head[6:7] + answer)
                await writer.drain()
        except (asyncio.IncompleteReadError, ConnectionError):
            writer.close()


def measure(options, name, neighbour=False, slow_disk=False, hung_mail=False, silent_dns=False, web_clients=0):
    with Processes(pathlib.Path(options.folder) / name) as processes, SmtpSink() as mail:
        mail.hangs = 600.0
        folder, meter, port = processes.folder, Meter(), free_port()
        dead = f'[[bus.meter]]\nname = "dead"\ninstrument = "one"\naddress = 2\npoll_seconds = {POLL_S}\n' if neighbour else ""
        routes = ""
        if hung_mail:
            routes += f'[[notify.route]]\nname = "mail"\nkind = "smtp"\nurl = "smtp://127.0.0.1:{mail.port}"\ntls = "none"\nfrom = "a@b.example"\nto = "a@b.example"\n'
        if silent_dns:
            routes += '[[notify.route]]\nname = "hook"\nkind = "webhook"\nurl = "https://bench.example.org/hook"\n'
        names = [n for n, there in (("mail", hung_mail), ("hook", silent_dns)) if there]
        notify = f'[notify]\n{routes}[[notify.person]]\nname = "Ada"\nroutes = {json.dumps(names)}\n' if names else ""
        write_files(folder, {"instruments/one.toml": INSTRUMENT, "profiles/p.toml": PROFILE, "plans/l.toml": PLAN, "bench.toml": f"""[daemon]
store = "s.db"
listen = "127.0.0.1:{port}"
[[bus]]
name = "b"
driver = "modbus_tcp"
host = "127.0.0.1"
port = {meter.port}
timeout_seconds = {TIMEOUT_S}
[[bus.meter]]
name = "one"
instrument = "one"
address = 1
poll_seconds = {POLL_S}
{dead}{notify}[[unit]]
name = "unit"
profile = "p"
plan = "l"
[unit.outlet]
meter = "one"
output = "outlet"
[[unit.point]]
name = "rail_v"
channel = "one.value"
"""})
        environment = dict(os.environ)
        if slow_disk:
            (folder / "slow.c").write_text(SLOW_DISK)
            subprocess.run(["cc", "-shared", "-fPIC", "-o", folder / "slow.so", folder / "slow.c", "-ldl"], check=True)
            environment |= {"LD_PRELOAD": str(folder / "slow.so"), "SLOW_SYNC_S": "5"}
        log = open(folder / "daemon.log", "wb")
        daemon = subprocess.Popen([options.daemon, "--config", folder / "bench.toml"], stdout=log, stderr=log, env=environment)
        processes.running.append(daemon)
        http = Http(port)
        wait_for("the daemon", http.is_up, 60)
        for _ in range(options.times):
            meter.tripped_at, meter.volts = None, 15.0
            meter.off.clear()
            wait_for("a start", lambda: http.post("/api/v1/units/unit/start", {"who": "Ada", "at_the_bench": True})[0] == 200, 15)
            slow = [slow_client(port) for _ in range(web_clients)]
            time.sleep(0.05 + 0.1 * (len(meter.latencies) % 7) / 7)
            meter.volts = 20.0
            assert meter.off.wait(15), f"{name}: no coil was written"
            for client in slow:
                client.close()
        end(daemon, seconds=15)
        return sorted(1000 * s for s in meter.latencies)


def slow_client(port):
    """Asks for the live stream, and never reads it."""
    client = socket.create_connection(("127.0.0.1", port))
    client.sendall(b"GET /api/v1/stream HTTP/1.1\r\nHost: localhost:%d\r\n\r\n" % port)
    return client


def main():
    parser = argparse.ArgumentParser()
    for name in ("daemon", "source", "folder"):
        parser.add_argument(f"--{name}", required=True)
    parser.add_argument("--times", type=int, default=12)
    parser.add_argument("--check", action="store_true")
    options = parser.parse_args()
    states = {"quiet bench": {}, "dead neighbour": {"neighbour": True}, "fsync takes 5 s": {"slow_disk": True}, "mail server hangs": {"hung_mail": True}, "name that nobody answers for": {"silent_dns": True},
              "500 slow web clients": {"web_clients": 500}}
    quiet = None
    print(f"{'':32}{'p50 ms':>9}{'p99 ms':>9}{'max ms':>9}{'p99 / quiet':>13}")
    for name, state in states.items():
        times = measure(options, name.replace(" ", "_"), **state)
        p99 = times[min(len(times) - 1, int(0.99 * len(times)))]
        quiet = quiet or p99
        print(f"{name:32}{statistics.median(times):9.2f}{p99:9.2f}{times[-1]:9.2f}{p99 / quiet:13.2f}", flush=True)
        if options.check:
            bound = 250.0 + (1000 * TIMEOUT_S if state.get("neighbour") else 0.0) + 250.0  # wide: this machine may be busy
            assert p99 < bound, f"{name}: {p99:.0f} ms"
    return 0


if __name__ == "__main__":
    sys.exit(main())
