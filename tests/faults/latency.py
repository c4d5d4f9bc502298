"""From the reading that should trip to the coil on the wire: how long, and what can make it longer?

A Modbus TCP server of the test's own answers with a figure beyond the trip limit (no dwell) and keeps the time; the next write of
the unit's coil ends the measurement. Before anything is measured in a state, it must have been seen: a sync that takes 5 s, a
mail server that holds a connection, a query that no name server answers."""
import asyncio
import fcntl
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

HERE = pathlib.Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "support")]
from bench_process import end, free_port, Http, Processes, wait_for, write_files  # noqa: E402
from sinks import SmtpSink  # noqa: E402

POLL_S = 0.1
TIMEOUT_S = 0.25
P99_MS = 250.0
# Few trips on a machine that also builds: what the short form allows more.
SHORT_MORE_MS = 250.0
LONG_TRIPS = 100
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
# Slow as long as the file of SLOW_FLAG is there; every wait leaves a byte in the file of SLOW_LOG.
SLOW = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <netdb.h>
#include <stdlib.h>
#include <unistd.h>
static void wait_long(const char* seconds) {
  const char* flag = getenv("SLOW_FLAG");
  const char* log = getenv("SLOW_LOG");
  if (!seconds || !flag || access(flag, F_OK) != 0) return;
  int file = log ? open(log, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600) : -1;
  if (file >= 0) { if (write(file, ".", 1) != 1) abort(); close(file); }
  usleep((useconds_t)(strtod(seconds, 0) * 1e6));
}
int fsync(int f) { int (*real)(int) = dlsym(RTLD_NEXT, "fsync"); wait_long(getenv("SLOW_SYNC_S")); return real(f); }
int fdatasync(int f) { int (*real)(int) = dlsym(RTLD_NEXT, "fdatasync"); wait_long(getenv("SLOW_SYNC_S")); return real(f); }
int getaddrinfo(const char* n, const char* s, const struct addrinfo* h, struct addrinfo** r) {
  int (*real)(const char*, const char*, const struct addrinfo*, struct addrinfo**) = dlsym(RTLD_NEXT, "getaddrinfo");
  wait_long(getenv("SLOW_NAMES_S"));
  return real(n, s, h, r);
}
"""
STATES = {
    "quiet bench": {},
    "dead neighbour on the bus": {"neighbour": "dead"},
    "every fsync takes 5 s": {"slow": "SLOW_SYNC_S", "slow_s": 5},
    "mail server hangs": {"hung_mail": True},
    "name server is silent": {"silent_names": True},
    "500 slow web clients": {"web_clients": 500},
}


class Meter:
    """Modbus TCP on a thread of its own; device 1 answers, device 2 does as it is told."""

    def __init__(self, neighbour):
        self.neighbour = neighbour
        self.volts = 15.0
        self.tripped_at = None
        self.latencies = []
        self.asked_neighbour = 0
        self.off = threading.Event()
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=lambda: asyncio.run(self.serve()), daemon=True).start()

    async def serve(self):
        async with await asyncio.start_server(self.client, sock=self.listener) as server:
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
                    self.asked_neighbour += 1
                    if self.neighbour == "dead":
                        continue
                    await asyncio.sleep(SLOW_NEIGHBOUR_S)
                if pdu[0] == 4:
                    answer = b"\x04\x04" + struct.pack(">f", self.volts if head[6] == 1 else 15.0)
                    if head[6] == 1 and self.volts > 17.0 and self.tripped_at is None:
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


# The planted bug: the relay hangs on the wire of a meter that takes this long for every answer.
SLOW_NEIGHBOUR_S = 1.5


class HungMail(SmtpSink):
    """Takes a message's text, and says nothing more."""
    held = 0

    async def handle_DATA(self, server, session, envelope):
        self.held += 1
        await asyncio.sleep(600)


class SilentNames:
    """A name server that hears every query and answers none; for the program in a network namespace of its own."""

    def __init__(self, folder):
        with socket.socket() as one:  # the loopback of a new namespace is down
            SIOCGIFFLAGS, SIOCSIFFLAGS, IFF_UP = 0x8913, 0x8914, 1
            name, flags = struct.unpack("16sh", fcntl.ioctl(one, SIOCGIFFLAGS, struct.pack("16sh", b"lo", 0)))
            fcntl.ioctl(one, SIOCSIFFLAGS, struct.pack("16sh", name, flags | IFF_UP))
        (folder / "resolv.conf").write_text("nameserver 127.0.0.1\n")
        subprocess.run(["mount", "--bind", folder / "resolv.conf", os.path.realpath("/etc/resolv.conf")], check=True)
        self.queries = 0
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.bind(("127.0.0.1", 53))
        threading.Thread(target=self.listen, daemon=True).start()

    def listen(self):
        while self.socket.recv(512):
            self.queries += 1


class State:
    """One state of the shop: a daemon, a meter, and what hangs."""

    def __init__(self, options, folder, neighbour=None, slow=None, slow_s=0, hung_mail=False, silent_names=False, web_clients=0):
        self.options, self.processes = options, Processes(folder)
        self.folder, self.port, self.web_clients = self.processes.folder, free_port(), web_clients
        self.neighbour, self.slow, self.slow_s, self.hung_mail, self.silent_names = neighbour, slow, slow_s, hung_mail, silent_names
        self.meter, self.clients = Meter(neighbour), 0

    def measure(self):
        """Milliseconds of each trip, and how often something hung until the last of them."""
        names = SilentNames(self.folder) if self.silent_names else None
        with self.processes, HungMail() as mail:
            self.start(mail)
            self.trip()  # what hangs has something to hang on
            self.see_that_it_hangs(mail, names)
            self.meter.latencies.clear()
            for turn in range(self.options.times):
                self.trip(0.05 + POLL_S * (turn % 7) / 7)
            return [1000 * s for s in self.meter.latencies], self.hung(mail, names)

    def start(self, mail):
        write_files(self.folder, {"instruments/one.toml": INSTRUMENT, "profiles/p.toml": PROFILE, "plans/l.toml": PLAN, "bench.toml": self.config(mail.port)})
        environment = dict(os.environ)
        if self.slow:
            (self.folder / "slow.c").write_text(SLOW)
            subprocess.run(["cc", "-shared", "-fPIC", "-o", self.folder / "slow.so", self.folder / "slow.c", "-ldl"], check=True)
            environment |= {"LD_PRELOAD": str(self.folder / "slow.so"), self.slow: str(self.slow_s), "SLOW_FLAG": str(self.folder / "slow.on"), "SLOW_LOG": str(self.folder / "slow.log")}
        log = open(self.folder / "daemon.log", "wb")
        self.processes.running.append(subprocess.Popen([self.options.daemon, "--config", self.folder / "bench.toml"], stdout=log, stderr=log, env=environment))
        self.http = Http(self.port)
        wait_for("the daemon", self.http.is_up, 30)
        (self.folder / "slow.on").touch()

    def config(self, mail_port):
        routes = {}
        if self.hung_mail:
            routes["mail"] = f'kind = "smtp"\nurl = "smtp://127.0.0.1:{mail_port}"\ntls = "none"\nfrom = "a@b.example"\nto = "a@b.example"\n'
        if self.silent_names or self.slow == "SLOW_NAMES_S":
            routes["hook"] = 'kind = "webhook"\nurl = "https://bench.example.org/hook"\n'
        notify = "[notify]\n" + "".join(f'[[notify.route]]\nname = "{name}"\n{text}' for name, text in routes.items())
        notify += f'[[notify.person]]\nname = "Ada"\nroutes = {json.dumps(list(routes))}\n[notify.timing]\nproof_wait_seconds = 1.0\n'
        neighbour = f'[[bus.meter]]\nname = "neighbour"\ninstrument = "one"\naddress = 2\npoll_seconds = {POLL_S}\n' if self.neighbour else ""
        return f"""[daemon]
store = "s.db"
listen = "127.0.0.1:{self.port}"
[[bus]]
name = "b"
driver = "modbus_tcp"
host = "127.0.0.1"
port = {self.meter.port}
timeout_seconds = {2 * SLOW_NEIGHBOUR_S if self.neighbour == "slow" else TIMEOUT_S}
[[bus.meter]]
name = "one"
instrument = "one"
address = 1
poll_seconds = {POLL_S}
{neighbour}{notify if routes else ""}[[unit]]
name = "unit"
profile = "p"
plan = "l"
[unit.outlet]
meter = "one"
output = "outlet"
[[unit.point]]
name = "rail_v"
channel = "one.value"
"""

    def hung(self, mail, names):
        """Messages held, queries heard, slow calls, requests that the neighbour got, clients that read nothing."""
        slow = (self.folder / "slow.log").stat().st_size if (self.folder / "slow.log").exists() else 0
        return mail.held + (names.queries if names else 0) + slow + self.meter.asked_neighbour + self.clients

    def see_that_it_hangs(self, mail, names):
        if self.hung_mail or names or self.slow or self.neighbour or self.web_clients:
            wait_for("something to hang", lambda: self.hung(mail, names), 15)

    def trip(self, pause=0.1):
        meter = self.meter
        meter.tripped_at, meter.volts = None, 15.0
        meter.off.clear()
        wait_for("a start", lambda: self.http.post("/api/v1/units/unit/start", {"who": "Ada", "at_the_bench": True})[0] == 200, 15)
        slow = [self.slow_client() for _ in range(self.web_clients)]
        self.clients += len(slow)
        time.sleep(pause)
        meter.volts = 20.0
        assert meter.off.wait(15), "no coil was written"
        for client in slow:
            client.close()

    def slow_client(self):
        """Asks for the live stream, and never reads it."""
        client = socket.create_connection(("127.0.0.1", self.port))
        try:
            client.sendall(b"GET /api/v1/stream HTTP/1.1\r\nHost: localhost:%d\r\n\r\n" % self.port)
        except OSError:
            pass  # one too many: hung up at once
        return client


def in_own_network(options, folder):
    """The state of the silent name server, in a network of its own; without the right to make one, a look-up that waits."""
    inside = [sys.executable, __file__, "--inside", str(options.daemon), str(folder), str(options.times)]
    if subprocess.run(["unshare", "--net", "--mount", "true"], capture_output=True).returncode != 0:
        return "name look-up waits 10 s", State(options, folder, slow="SLOW_NAMES_S", slow_s=10).measure()
    answer = subprocess.run(["unshare", "--net", "--mount", *inside], capture_output=True, text=True)
    assert answer.returncode == 0, answer.stderr
    return "name server is silent", json.loads(answer.stdout)


class Table:
    def __init__(self):
        self.rows = []

    def add(self, name, times, hung):
        times = sorted(times)
        p99 = times[min(len(times) - 1, int(0.99 * len(times)))]
        row = {"state": name, "trips": len(times), "hung": hung, "p50_ms": statistics.median(times), "p99_ms": p99, "max_ms": times[-1]}
        first = self.rows[0] if self.rows else row
        row |= {"p50_ratio": row["p50_ms"] / first["p50_ms"], "p99_ratio": p99 / first["p99_ms"]}
        self.rows.append(row)
        if first is row:
            print(f"{'':28}{'trips':>7}{'hung':>8}{'p50 ms':>9}{'p99 ms':>9}{'max ms':>9}{'p50 ratio':>11}{'p99 ratio':>11}")
        print(f"{name:28}{len(times):7}{hung:8}{row['p50_ms']:9.2f}{p99:9.2f}{times[-1]:9.2f}{row['p50_ratio']:11.2f}{row['p99_ratio']:11.2f}", flush=True)
        return row

    def write(self, folder):
        (pathlib.Path(folder) / "figures.json").write_text(json.dumps({"campaign": "from the reading to the coil", "rows": self.rows}, indent=1))


class Latency:
    """From the reading that should trip to the coil on the wire: how long, whatever else hangs."""
    plants = f"the relay hangs on the wire of a meter that takes {SLOW_NEIGHBOUR_S} s for every answer"
    fails_by = "quiet bench: p99"

    def run(self, options, is_planted):
        table = Table()
        more = SHORT_MORE_MS if options.times < LONG_TRIPS else 0.0
        for name, state in STATES.items():
            if is_planted:
                state = state | {"neighbour": "slow"}
            folder = pathlib.Path(options.folder) / name.replace(" ", "_")
            if state.get("silent_names"):
                name, (times, hung) = in_own_network(options, folder)
            else:
                times, hung = State(options, folder, **state).measure()
            row = table.add(name, times, hung)
            bound = P99_MS + more + (1000 * TIMEOUT_S if state.get("neighbour") == "dead" else 0.0)
            assert row["p99_ms"] < bound, f"{name}: p99 {row['p99_ms']:.0f} ms; under {bound:.0f} ms"
        return table


def inside(daemon, folder, times):
    class Options:
        pass
    options = Options()
    options.daemon, options.times = daemon, int(times)
    print(json.dumps(State(options, folder, silent_names=True).measure()))


if __name__ == "__main__" and sys.argv[1:2] == ["--inside"]:
    inside(*sys.argv[2:])
