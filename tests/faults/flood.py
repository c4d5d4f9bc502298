"""Everything trips at once: how many messages is that, and does the one that matters get through?"""
import asyncio
import json
import pathlib
import socket
import struct
import threading
import time

from bench_process import free_port, Http, Processes, wait_for, write_files
from shop import Figures
from sinks import WebhookSink

UNITS = 12
POINTS = 4
RATE = 60.0  # bench seconds in one of ours: ten minutes are ten seconds
TEN_MINUTES_S = 600.0 / RATE
MESSAGES_MAX = 10
# Ten messages by one route come one after the other: so much may the first be late against the last.
ON_ITS_WAY_S = 0.5
PLAYED_S = 4 * TEN_MINUTES_S
HIGHEST_WITHIN_S = 3.0
RELAYS = 100
SMOKE = 101
VALUE = '[[channel]]\nname = "{name}"\ntable = "input"\naddress = {address}\ntype = "float32"\nquantity = "{quantity}"\nuom = "{uom}"\n'
INSTRUMENT = '[instrument]\ntitle = "figures"\nprotocol = "modbus"\nword_order = "ABCD"\n'
METER = INSTRUMENT + "".join(VALUE.format(name=f"v{i}", address=2 * i, quantity="voltage", uom="V") for i in range(POINTS)) + VALUE.format(name="amps", address=2 * POINTS, quantity="current", uom="A")
RELAY = INSTRUMENT + "".join(f'[[output]]\nname = "outlet_{i}"\ncoil = {i}\n' for i in range(UNITS)) + f'[[output]]\nname = "contactor"\ncoil = {UNITS}\n'
LOOP = INSTRUMENT + VALUE.format(name="smoke", address=0, quantity="state", uom="1")
PROFILE = '[profile]\nkind = "line-preamp"\n' + "".join(
    f'[[point]]\nname = "rail_{i}_v"\nquantity = "voltage"\nuom = "V"\nrole = "supply"\nnominal = 15.0\nwarn = {{ high = 16.0 }}\ntrip = {{ high = 17.0 }}\ntrip_dwell_seconds = 0\n' for i in range(POINTS)
) + '[[point]]\nname = "mains_current"\nquantity = "current"\nuom = "A"\nrole = "mains_current"\nnominal = 0.3\n'
# A second of ours is a minute here: what a bench has two seconds for takes two minutes.
PLAN = """[plan]
title = "short"
off_proven_within_seconds = 120
bench_opened_after_seconds = 240
silent_after_seconds = 300
blind_trip_after_seconds = 300
[[stage]]
kind = "baseline"
minutes = 30
[[stage]]
kind = "idle_soak"
minutes = 600
"""


class Meters:
    """Every unit's meter, the relays and the smoke loop, on one port; an open contact takes the current away."""

    def __init__(self):
        self.volts, self.smoke = 15.0, 0.0
        self.coils = [False] * (UNITS + 1)
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=lambda: asyncio.run(self.serve()), daemon=True).start()

    async def serve(self):
        async with await asyncio.start_server(self.client, sock=self.listener) as server:
            await server.serve_forever()

    def registers(self, device):
        if device == SMOKE:
            return [self.smoke]
        is_on = self.coils[device - 1] and self.coils[UNITS]
        return [self.volts if is_on else 0.0] * POINTS + [0.3 if is_on else 0.0]

    async def client(self, reader, writer):
        try:
            while True:
                head = await reader.readexactly(7)
                pdu = await reader.readexactly(struct.unpack(">H", head[4:6])[0] - 1)
                if pdu[0] == 4:
                    first, count = struct.unpack(">HH", pdu[1:5])
                    words = b"".join(struct.pack(">f", v) for v in self.registers(head[6]))[2 * first:2 * (first + count)]
                    answer = bytes([4, len(words)]) + words
                elif pdu[0] == 5:
                    self.coils[struct.unpack(">H", pdu[1:3])[0]] = pdu[3] == 0xFF
                    answer = pdu
                else:
                    first, count = struct.unpack(">HH", pdu[1:5])
                    bits = sum(self.coils[first + i] << i for i in range(count))
                    answer = bytes([1, 1]) + bytes([bits & 0xFF])
                writer.write(head[:4] + struct.pack(">H", len(answer) + 1) + head[6:7] + answer)
                await writer.drain()
        except (asyncio.IncompleteReadError, ConnectionError):
            writer.close()


class Letters(WebhookSink):
    """Messages with the moment at which each came."""

    def came(self):
        while len(self.moments) < len(self.requests):
            self.moments.append(time.monotonic())
        return [(at, json.loads(body)) for at, (_, _, body) in zip(self.moments, list(self.requests))]

    def __enter__(self):
        self.moments = []
        return super().__enter__()


class AllTrip:
    """Twelve units trip in the same second: at most ten messages in ten minutes, every unit is told of, and what is highest gets through at once."""
    plants = "every unit has a daemon of its own, so nobody counts what all of them tell"
    fails_by = "messages in ten minutes"

    def run(self, options, is_planted):
        figures = Figures("everything trips at once")
        for turn in range(options.times):
            with Processes(pathlib.Path(options.folder) / str(turn)) as processes, Letters() as letters:
                self.one(options, processes, letters, figures, is_planted)
        return figures

    def one(self, options, processes, letters, figures, is_planted):
        meters = Meters()
        groups = [[u] for u in range(UNITS)] if is_planted else [list(range(UNITS))]
        daemons = [self.start(options, processes, meters, letters, number, units) for number, units in enumerate(groups)]
        for http, units in daemons:
            for unit in units:
                wait_for("a start", lambda: http.post(f"/api/v1/units/unit_{unit}/start", {"who": "Ada", "at_the_bench": True})[0] == 200, 15)
        wait_for("all to draw current", lambda: all(meters.coils), 10)
        time.sleep(2.0)
        assert not letters.came(), "somebody was told before anything happened"
        tripped_at = time.monotonic()
        meters.volts = 20.0
        wait_for("every outlet to be opened", lambda: not any(meters.coils[:UNITS]), 5)
        figures.add("trip to the last of twelve outlets open", time.monotonic() - tripped_at)
        self.let_pass(letters, tripped_at + 2.0)
        meters.smoke, smoke_at = 1.0, time.monotonic()
        self.let_pass(letters, tripped_at + PLAYED_S)
        (processes.folder / "letters.txt").write_text("".join(f"{at - tripped_at:7.2f} s  {m['person']:4}{m['priority']:9}{m['purpose']:11}{m['subject']}\n" for at, m in letters.came()))
        self.judge(letters.came(), smoke_at, figures)
        figures.count("floods"), figures.count("units in each", UNITS)

    def let_pass(self, letters, until):
        while time.monotonic() < until:
            letters.came()
            time.sleep(0.02)

    def judge(self, came, smoke_at, figures):
        highest = [at for at, message in came if message["priority"] == "highest"]
        others = [(at, message) for at, message in came if message["priority"] != "highest"]
        most = max((sum(1 for at, _ in others if begin <= at < begin + TEN_MINUTES_S - ON_ITS_WAY_S) for begin, _ in others), default=0)
        assert most <= MESSAGES_MAX, f"{most} messages in ten minutes; at most {MESSAGES_MAX}"
        assert highest and highest[0] >= smoke_at, "the smoke was not told"
        assert highest[0] - smoke_at <= HIGHEST_WITHIN_S, f"the smoke was told after {highest[0] - smoke_at:.1f} s"
        told = {unit for _, message in others for unit in range(UNITS) if f"unit_{unit}\"" in json.dumps(message)}
        assert len(told) == UNITS, f"nobody was told of {sorted(set(range(UNITS)) - told)}"
        figures.add("smoke to its message, in the middle of the flood", highest[0] - smoke_at)
        figures.count("messages beside the highest", len(others))
        figures.most("in ten minutes of one flood", most)
        figures.held("every unit was told of", "what is highest came through")

    def start(self, options, processes, meters, letters, number, units):
        port = free_port()
        meter = "".join(f'[[bus.meter]]\nname = "meter_{u}"\ninstrument = "meter"\naddress = {u + 1}\npoll_seconds = {0.2 * RATE}\n' for u in units)
        text = f"""[daemon]
store = "{number}.db"
listen = "127.0.0.1:{port}"
[demo]
clock_rate = {RATE}
[[bus]]
name = "figures"
driver = "modbus_tcp"
host = "127.0.0.1"
port = {meters.port}
timeout_seconds = 0.5
{meter}[[bus]]
name = "switches"
driver = "modbus_tcp"
host = "127.0.0.1"
port = {meters.port}
timeout_seconds = 0.5
[[bus.meter]]
name = "relays"
instrument = "relay"
address = {RELAYS}
poll_seconds = {RATE}
[[bus.meter]]
name = "loop"
instrument = "loop"
address = {SMOKE}
poll_seconds = {0.2 * RATE}
[[bench]]
name = "bench 1"
[bench.contactor]
meter = "relays"
output = "contactor"
[bench.smoke]
channel = "loop.smoke"
[notify]
[[notify.route]]
name = "ada"
kind = "webhook"
url = "{letters.url}"
[[notify.person]]
name = "Ada"
routes = ["ada"]
[[notify.route]]
name = "ben"
kind = "webhook"
url = "{letters.url}"
[[notify.person]]
name = "Ben"
routes = ["ben"]
"""
        for u in units:
            text += f'[[unit]]\nname = "unit_{u}"\ntitle = "Unit {u}"\nserial = "S-{u}"\nbench = "bench 1"\nprofile = "p"\nplan = "l"\n[unit.outlet]\nmeter = "relays"\noutput = "outlet_{u}"\n'
            text += "".join(f'[[unit.point]]\nname = "rail_{i}_v"\nchannel = "meter_{u}.v{i}"\n' for i in range(POINTS)) + f'[[unit.point]]\nname = "mains_current"\nchannel = "meter_{u}.amps"\n'
        write_files(processes.folder, {"instruments/meter.toml": METER, "instruments/relay.toml": RELAY, "instruments/loop.toml": LOOP, "profiles/p.toml": PROFILE, "plans/l.toml": PLAN, f"{number}.toml": text})
        processes.start(f"daemon-{number}", options.daemon, "--config", processes.folder / f"{number}.toml")
        http = Http(port)
        wait_for("the daemon", http.is_up, 30)
        return http, units
