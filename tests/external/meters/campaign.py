#!/usr/bin/python3
"""Twelve meters over every protocol, read by the real daemon while they are unplugged, swapped, disturbed and late.

  campaign.py --daemon D --command C --source S --folder F [--seconds N] [--rate R] [--least N] [--seed N] [--prove]

Every value says which channel of which device it is of, and when it was taken: code * 1000 + tenths of a second. So each reading in
the store can be asked whether it stands at the point it belongs to. --seconds of real time, --rate run time over real time (24 h at 120
are 720 s); --least: how many good readings there must be. --prove: the meters are bound to nobody, one board speaks of what was 4 s ago,
and one meter's faults cannot be made: the campaign must notice all three.

Strangers: pymodbus (Modbus TCP and RTU), the SCPI peer, Mosquitto. Boards, the handheld and the sysfs tree speak here.
"""
import argparse
import bisect
import collections
import csv
import json
import os
import pathlib
import random
import re
import signal
import socket
import subprocess
import sys
import threading
import time

HERE = pathlib.Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parents[1] / "support"), str(HERE.parent / "sysfs")]
from bench_process import end, free_port, Http, Processes, wait_for, write_files  # noqa: E402
from sysfs_tree import SysfsTree  # noqa: E402
from wires import SerialWire, TcpWire  # noqa: E402

POLL_S = 0.05          # real time
TIMEOUT_S = 0.15
STALE_S = 0.3          # of those who talk by themselves
MQTT_STALE_S = 6.5     # above its poll in run time, as the daemon demands
RECOVERY_S = 9.0       # the pause between two looks at a silent meter grows to 5 s, that between two openings of a port to 2 s
SLACK_S = 0.25         # of a machine that does other things as well
TOO_OLD_TENTHS = 20
USUAL_AGE_MAX_S = 0.5
EARLY_TENTHS = 5       # a reading may seem to be of the future by so much: when a run began is known from outside only
WORK_S = 3.0           # making one fault and mending it takes no longer, with room for load
LAST_FAULT_S = 3.0 + RECOVERY_S  # before the end no fault is begun any more
PLANTED_AGE_S = 4.0
PLANTED = ("readings at the wrong point", "readings older than they may be", "faults that were not made", "broken threads")
SWAPPED_CODE = 500


def tenths(ago_s=0.0):
    return int((time.time() - ago_s) * 10) % 1000


class Meter:
    """name; code of its first channel; how many; what makes and heals its faults."""

    def __init__(self, name, code, channels, bus, faults, flag_s, is_bound=True):
        self.name, self.code, self.channels, self.bus, self.faults, self.flag_s, self.is_bound = name, code, channels, bus, faults, flag_s, is_bound


ASKED_S = 3 * (TIMEOUT_S + POLL_S) + SLACK_S
TALKS_S = STALE_S + 3 * (TIMEOUT_S + POLL_S) + SLACK_S


class Board:
    """A device that says lines or frames by itself, to whoever is connected to its port or line."""

    def __init__(self, make, name, code):
        self.make, self.name, self.code, self.is_swapped, self.is_silent, self.sinks, self.n = make, name, code, False, False, [], 0
        threading.Thread(target=self.talk, daemon=True).start()

    def on_tcp(self):
        listener = socket.create_server(("127.0.0.1", 0))
        def accept():
            while True:
                self.sinks.append(listener.accept()[0].sendall)
        threading.Thread(target=accept, daemon=True).start()
        return listener.getsockname()[1]

    def on_serial(self, device):
        line = os.open(device, os.O_WRONLY | os.O_NOCTTY)
        self.sinks.append(lambda data: os.write(line, data))

    def talk(self):
        while True:
            time.sleep(POLL_S)
            if self.is_silent:
                continue
            self.n += 1
            data = self.make(self.name + ("B" if self.is_swapped else ""), self.code + (SWAPPED_CODE if self.is_swapped else 0), self.n)
            for sink in list(self.sinks):
                try:
                    sink(data)
                except OSError:
                    self.sinks.remove(sink)


def crc16(data):
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0xA001 if crc & 1 else crc >> 1
    return crc


def pairs_line(channels, ago_s):
    def make(name, code, n):
        text = f"id={name} n={n} " + " ".join(f"v{c}={(code + c) * 1000 + tenths(ago_s)}" for c in range(channels)) + " "
        return f"{text}*{crc16(text.encode()):04X}\n".encode()
    return make


def handheld_frame(_, code, n):
    body = b"\x40" + f"{code % 10}{tenths():03d}".encode() + b"0" + b"V"
    return body + bytes([sum(body) % 256]) + b"\n"


CELSIUS = '"temperature"\nuom = "Cel"'

# ---- instruments ----------------------------------------------------------------------------------------------------

def instrument(protocol, head, channels, keys, quantity='"energy"\nuom = "J"'):
    """A channel is an energy where it may: a quantity of which the engine judges nothing."""
    text = f'[instrument]\ntitle = "of the campaign"\nprotocol = "{protocol}"\n{head}\n'
    return text + "".join(f'[[channel]]\nname = "c{c}"\nquantity = {quantity}\n{keys(c)}\n' for c in range(channels))


def modbus_instrument(channels, is_bound):
    head = "[instrument.identity]\nregisters = { table = \"holding\", address = 100, count = 8 }\n" if is_bound else ""
    return instrument("modbus", head, channels, lambda c: f'table = "input"\naddress = {2 * c}\ntype = "int32"')


class Campaign:
    def __init__(self, options):
        self.options, self.random = options, random.Random(options.seed)
        self.processes = Processes(options.folder)
        self.folder = self.processes.folder
        self.is_bound = not options.prove
        self.files, self.buses, self.meters, self.truth, self.lock = {}, [], [], [], threading.Lock()
        self.wall_s = time.time() - time.monotonic()
        self.trouble, self.is_over = [], False
        threading.excepthook = self.hear_of

    def hear_of(self, what):
        """What ends a thread must not end it in silence: a fault that could not be made has tested nothing."""
        if not self.is_over:
            self.trouble.append(f"{what.thread.name if what.thread else 'a thread'}: {what.exc_type.__name__}: {what.exc_value}")
            threading.__excepthook__(what)

    # ---- the meters ----
    def piped(self, name, *command):
        process = subprocess.Popen([sys.executable, *map(str, command)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1)
        self.processes.running.append(process)
        first = process.stdout.readline().strip()
        assert first.startswith("ready"), (name, first)
        threading.Thread(target=lambda: [None for _ in process.stdout], daemon=True).start()
        return process, first

    def add(self, meter, bus_text, meter_text):
        """`bus_text`: empty when it hangs on the bus of the meter before."""
        if bus_text:
            self.buses.append(f'[[bus]]\nname = "{meter.bus}"\n{bus_text}\n')
        self.buses[-1] += f'[[bus.meter]]\nname = "{meter.name}"\ninstrument = "{meter.name}"\npoll_seconds = {POLL_S * self.options.rate}\n{meter_text}\n'
        self.meters.append(meter)

    def bound(self, name):
        return f'identity = "{name}"\n' if self.is_bound else ""

    def swap_modbus(self, process, address, wire):
        def swap(is_swapped):
            # Whoever swaps a device unplugs it first.
            wire.set("mute")
            time.sleep(0.5)
            process.stdin.write(json.dumps({"address": address, "swapped": is_swapped}) + "\n")
            time.sleep(0.05)
            wire.set("ok")
        return lambda: swap(True), lambda: swap(False)

    @staticmethod
    def wire_faults(wire, *modes):
        return {mode: (lambda m=mode: wire.set(m), lambda: wire.set("ok")) for mode in modes}

    def make_modbus(self):
        for number, channels in ((1, 24), (2, 24)):
            port, near = free_port(), free_port()
            name = f"tcp{number}"
            process, _ = self.piped(name, HERE / "modbus_device.py", "tcp", port, f"1:{100 + 30 * number}:{channels}:{name}")
            wire = TcpWire(near, port, self.options.seed + number)
            faults = self.wire_faults(wire, "cut", "mute", "late", "half")
            faults["swap"] = self.swap_modbus(process, 1, wire)
            self.files[f"instruments/{name}.toml"] = modbus_instrument(channels, self.is_bound)
            self.add(Meter(name, 100 + 30 * number, channels, name, faults, ASKED_S), f'driver = "modbus_tcp"\nhost = "127.0.0.1"\nport = {near}\ntimeout_seconds = {TIMEOUT_S}', "address = 1\n" + self.bound(name))
        wire = SerialWire(self.folder / "rtu", self.options.seed + 3)
        process, _ = self.piped("rtu", HERE / "modbus_device.py", "rtu", wire.device, "1:190:4:rtu1", "2:200:4:rtu2")
        for address, code in ((1, 190), (2, 200)):
            name = f"rtu{address}"
            faults = self.wire_faults(wire, "cut", "mute", "late", "half", "noise") if address == 1 else {}
            faults["swap"] = self.swap_modbus(process, address, wire)
            self.files[f"instruments/{name}.toml"] = modbus_instrument(4, self.is_bound)
            line = f'driver = "modbus_rtu"\ndevice = "{wire.link}"\nbaud = 115200\nparity = "none"\ntimeout_seconds = {TIMEOUT_S}' if address == 1 else ""
            # Two on one line: each waits for the other's timeout.
            self.add(Meter(name, code, 4, "rtu", faults, 2 * ASKED_S), line, f"address = {address}\n" + self.bound(name))

    def make_scpi(self):
        peer = HERE.parent / "scpi/scpi_peer.py"
        for number, (where, channels) in enumerate((("tcp", 1), ("pty", 1), ("tcp", 10))):
            name, code = f"scpi{number}", 220 + 20 * number
            link = self.folder / name
            idn = f"Example,EX,{name},1.0"
            process, first = self.piped(name, peer, "--" + where, "0" if where == "tcp" else link, "--idn", idn, "--values", f"({code} + max(c - 1, 0)) * 1000 + floor(10 * w) % 1000", "--control", "0")
            port, control = re.match(r"ready \S+ (\S+) control (\d+)", first).groups()
            tell = self.talker(int(control))
            other = [(code + c + SWAPPED_CODE) * 1000 + 7 for c in range(10)]
            def swap(tell=tell, name=name, other=other):
                tell({"unplug": True})
                time.sleep(0.3)
                tell({"idn": f"Example,EX,{name}B,1.0", "values": {"volts": other[0], "scan": other}})
                tell({"plug": True})
            def back(tell=tell, idn=idn):
                tell({"unplug": True})
                time.sleep(0.3)
                tell({"idn": idn, "values": None})
                tell({"plug": True})
            faults = {"cut": (lambda tell=tell: tell({"unplug": True}), lambda tell=tell: tell({"plug": True})),
                      "mute": (lambda tell=tell: tell({"silent": True}), lambda tell=tell: tell({"well": True})),
                      "late": (lambda tell=tell: tell({"late_s": 0.3}), lambda tell=tell: tell({"well": True})),
                      "noise": (lambda tell=tell: tell({"noise": "\u0000\u00ff\u0080"}), lambda tell=tell: tell({"well": True})),
                      "half": (lambda tell=tell: tell({"half": "never"}), lambda tell=tell: tell({"well": True})),
                      "swap": (swap, back)}
            self.files[f"instruments/{name}.toml"] = instrument("scpi", 'setup = ["CONF:VOLT:DC AUTO"]\n' if channels == 1 else "", channels,
                                                                lambda c, channels=channels: 'query = "READ?"\n' + (f"field = {c + 1}\nfields = {channels}" if channels > 1 else ""))
            if channels > 1:
                self.files[f"instruments/{name}.toml"] = self.files[f"instruments/{name}.toml"].replace('protocol = "scpi"\n', 'protocol = "scpi"\nsetup = ["CONF:VOLT:DC AUTO", "ROUT:SCAN (@101:110)"]\n')
            place = f'host = "127.0.0.1"\nport = {port}' if where == "tcp" else f'device = "{link}"\nbaud = 115200'
            self.add(Meter(name, code, channels, name, faults, 2 * ASKED_S), f'driver = "scpi_{"tcp" if where == "tcp" else "serial"}"\n{place}\ntimeout_seconds = {TIMEOUT_S}', self.bound(idn))

    def talker(self, port):
        connection = socket.create_connection(("127.0.0.1", port))
        answers = connection.makefile()
        def tell(order):
            connection.sendall((json.dumps(order) + "\n").encode())
            answer = json.loads(answers.readline())
            assert answer["ok"], (order, answer)
        return tell

    def make_boards(self):
        head = f'format = "key_value"\nid = "id"\ncounter = "n"\nchecksum = "crc16_modbus"\nstale_after_seconds = {STALE_S}\n'
        for number, (where, channels) in enumerate((("tcp", 8), ("serial", 4))):
            name, code = f"board{number}", 300 + 10 * number
            board = Board(pairs_line(channels, PLANTED_AGE_S if self.options.prove and where == "serial" else 0.0), name, code)
            if where == "tcp":
                near = free_port()
                wire = TcpWire(near, board.on_tcp(), self.options.seed + 5)
                place = f'host = "127.0.0.1"\nport = {near}'
            else:
                wire = SerialWire(self.folder / name, self.options.seed + 6)
                board.on_serial(wire.device)
                place = f'device = "{wire.link}"\nbaud = 115200'
            def swap(is_swapped, board=board, wire=wire):
                wire.set("cut")
                time.sleep(0.5)
                board.is_swapped = is_swapped
                wire.set("ok")
            faults = self.wire_faults(wire, "cut", "mute", "half", "noise", "late")
            faults["swap"] = (lambda swap=swap: swap(True), lambda swap=swap: swap(False))
            self.files[f"instruments/{name}.toml"] = instrument("lines", head if self.is_bound else head.replace('id = "id"\n', ""), channels, lambda c: f'key = "v{c}"')
            self.add(Meter(name, code, channels, name, faults, TALKS_S), f'driver = "lines_{where}"\n{place}\ntimeout_seconds = {TIMEOUT_S}', self.bound(name))
        wire = SerialWire(self.folder / "handheld", self.options.seed + 7)
        Board(handheld_frame, "handheld", 7).on_serial(wire.device)
        source = (self.options.source / "config/instruments/handheld-ascii-9byte.toml").read_text()
        first = source[source.index("[instrument]"):source.index("[[channel]]")].replace("stale_after_seconds = 3.0", f"stale_after_seconds = {STALE_S}")
        self.files["instruments/handheld.toml"] = first + '[[channel]]\nname = "c0"\nmode = ["7=\'V\'"]\nquantity = "energy"\nuom = "J"\n'
        def broken():
            raise OSError("planted: this fault cannot be made")
        faults = {kind: (broken, broken) for kind in ("cut", "mute")} if self.options.prove else self.wire_faults(wire, "cut", "mute")
        self.add(Meter("handheld", 7, 1, "handheld", faults, TALKS_S, is_bound=False),
                 f'driver = "frames_serial"\ndevice = "{wire.link}"\nbaud = 9600\ntimeout_seconds = {TIMEOUT_S}', 'dial = "c0"\n')

    def make_sysfs(self):
        tree, rom, other = SysfsTree(self.folder / "sys"), "28-0000000000a1", "28-0000000000b2"
        state = {"rom": rom}
        def write():
            while True:
                code = 330 + (SWAPPED_CODE if state["rom"] == other else 0)
                if state["rom"]:
                    tree.w1(state["rom"], code * 1000 + tenths())
                time.sleep(POLL_S)
        def to(place):
            before, state["rom"] = state["rom"], None
            time.sleep(2 * POLL_S)
            if before:
                tree.w1_remove(before)
            state["rom"] = place
        threading.Thread(target=write, daemon=True).start()
        self.files["instruments/w1.toml"] = instrument("sysfs", 'kind = "w1"\n', 1, lambda c: "scale = 1.0", CELSIUS)
        self.add(Meter("w1", 330, 1, "w1", {"cut": (lambda: to(None), lambda: to(rom)), "swap": (lambda: to(other), lambda: to(rom))}, ASKED_S),
                 f'driver = "sysfs"\nroot = "{self.folder}/sys"', f'rom = "{rom}"\n')

    def make_mqtt(self):
        port = free_port()
        (self.folder / "mosquitto.conf").write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
        self.processes.start("mosquitto", "mosquitto", "-c", self.folder / "mosquitto.conf")
        wait_for("Mosquitto", lambda: socket.socket().connect_ex(("127.0.0.1", port)) == 0, 10)
        process, _ = self.piped("plug", HERE.parent / "mqtt/plug_peer.py", "--port", port, "--device", "bench/plug", "--id", "plug", "--every", "3600")
        state, lock = {"code": 340, "id": "plug", "talks": True}, threading.Lock()
        def tell(line):
            with lock:
                process.stdin.write(line + "\n")
        def say():
            while True:
                time.sleep(POLL_S)
                if state["talks"]:
                    tell("say " + json.dumps({"id": state["id"], "v": [(state["code"] + c) * 1000 + tenths() for c in range(3)]}))
        def swap(name, code):
            state["talks"] = False
            tell("drop")
            time.sleep(0.5)
            state.update(id=name, code=code)
            tell("back")
            time.sleep(0.3)
            state["talks"] = True
        def drop(is_back):
            if not is_back:
                state["talks"] = False
            tell("back" if is_back else "drop")
            if is_back:
                time.sleep(0.3)
                state["talks"] = True
        threading.Thread(target=say, daemon=True).start()
        head = f'stale_after_seconds = {MQTT_STALE_S}\n' + ('id_field = "/id"\n' if self.is_bound else "") + 'availability = { topic = "{device}/availability", online = "online", offline = "offline" }\n'
        self.files["instruments/plug.toml"] = instrument("mqtt", head, 3, lambda c: f'topic = "{{device}}/reading"\nfield = "/v/{c}"')
        faults = {"cut": (lambda: drop(False), lambda: drop(True)), "swap": (lambda: swap("plugB", 340 + SWAPPED_CODE), lambda: swap("plug", 340))}
        self.add(Meter("plug", 340, 3, "plug", faults, 3 * POLL_S + SLACK_S + 0.5), f'driver = "mqtt"\nhost = "127.0.0.1"\nport = {port}\ntimeout_seconds = {TIMEOUT_S}', 'device = "bench/plug"\n' + self.bound("plug"))

    # ---- the daemon ----
    def start_daemon(self):
        self.port = free_port()
        text = f'[daemon]\nstore = "s.db"\nlisten = "127.0.0.1:{self.port}"\n[demo]\nclock_rate = {self.options.rate}\n' + "".join(self.buses)
        for meter in self.meters:
            quantity = CELSIUS if meter.name == "w1" else '"energy"\nuom = "J"'
            points = "".join(f'[[point]]\nname = "c{c}"\nquantity = {quantity}\nrole = "other"\n' for c in range(meter.channels))
            self.files[f"profiles/{meter.name}.toml"] = f'[profile]\nkind = "campaign"\ntitle = "{meter.name}"\n{points}'
            text += f'[[unit]]\nname = "{meter.name}"\nprofile = "{meter.name}"\nplan = "long"\n' + "".join(f'[[unit.point]]\nname = "c{c}"\nchannel = "{meter.name}.c{c}"\n' for c in range(meter.channels))
        self.files["plans/long.toml"] = '[plan]\ntitle = "long"\n[[stage]]\nkind = "baseline"\nminutes = 30\n[[stage]]\nkind = "idle_soak"\nminutes = 2880\n'
        self.files["bench.toml"] = text
        write_files(self.folder, self.files)
        self.daemon = self.processes.start("daemon", self.options.daemon, "--config", self.folder / "bench.toml")
        self.http = Http(self.port)
        wait_for("the daemon", lambda: self.http.is_up() or self.daemon.poll() is not None, 20)
        assert self.daemon.poll() is None, self.processes.log("daemon")
        self.began = {}
        for meter in self.meters:
            status, answer = self.http.post(f"/api/v1/units/{meter.name}/start", {"who": "Ada", "at_the_bench": True, "policy": {"person_back_in_minutes": 2880}})
            assert status == 200, (meter.name, answer)
            self.began[meter.name] = time.monotonic()

    # ---- the faults ----
    def deal(self, bus):
        """The faults of a bus, without end: pause before it, meter, kind, how long. Each kind of each meter comes before one comes again."""
        meters = [meter for meter in self.meters if meter.bus == bus]
        chance = random.Random(f"{self.options.seed} {bus}")
        pause_s = chance.uniform(2, 6)
        while True:
            deck = [(meter, kind) for meter in meters for kind in meter.faults]
            chance.shuffle(deck)
            for meter, kind in deck:
                # A silent meter on a line with others is looked at once in 25 of its timeouts.
                yield pause_s, meter, kind, chance.uniform(2.5, 4.0) + (25 * TIMEOUT_S if kind == "swap" and len(meters) > 1 else 0.0)
                pause_s = RECOVERY_S + chance.uniform(1, 8)

    def disturb(self, bus, until):
        for pause_s, meter, kind, hold_s in self.deal(bus):
            time.sleep(pause_s)
            if time.monotonic() >= until - LAST_FAULT_S:
                return
            make, heal = meter.faults[kind]
            hit = [m.name for m in self.meters if m.bus == bus] if kind != "swap" else [meter.name]
            made = time.monotonic()
            make()
            time.sleep(hold_s)
            healing = time.monotonic()
            heal()
            with self.lock:
                self.truth.append({"bus": bus, "meters": hit, "kind": kind, "from": made, "healing": healing, "to": time.monotonic()})

    def least_faults(self):
        """(bus, kind) -> how many there must have been, were each as slow to make and mend as it may be."""
        least = collections.Counter()
        for bus in self.bus_names():
            at_s = 0.0
            for pause_s, _, kind, hold_s in self.deal(bus):
                at_s += pause_s
                if at_s >= self.options.seconds - LAST_FAULT_S:
                    break
                least[bus, kind] += 1
                at_s += hold_s + WORK_S
        return least

    def bus_names(self):
        return list(dict.fromkeys(meter.bus for meter in self.meters))

    def run(self):
        with self.processes:
            self.make_modbus()
            self.make_scpi()
            self.make_boards()
            self.make_sysfs()
            self.make_mqtt()
            assert len(self.meters) == 12, len(self.meters)
            self.start_daemon()
            wait_for("every meter", lambda: all(p["quality"] == "good" for m in self.meters for p in self.http.unit(m.name)["points"]), 20)
            until = time.monotonic() + self.options.seconds
            threads = [threading.Thread(target=self.disturb, args=(bus, until), name=f"faults of {bus}") for bus in self.bus_names()]
            for thread in threads:
                thread.start()
            while time.monotonic() < until:
                assert self.daemon.poll() is None, "the daemon ended"
                time.sleep(0.5)
            for thread in threads:
                thread.join()
            ended = [process.args for process in self.processes.running if process.poll() is not None]
            assert not ended, f"ended by themselves: {ended}"
            self.is_over = True
            code = end(self.daemon)
            return self.judge() + [f"the daemon ended with {code}"] * (code != 0)

    # ---- what came of it ----
    def readings(self, number, meter):
        file = self.folder / f"{meter.name}.csv"
        subprocess.run([self.options.command, "export", self.folder / "s.db", str(number), file], check=True, stdout=subprocess.DEVNULL)
        with open(file, newline="") as rows:
            table = csv.reader(rows)
            names = next(table)[1:]
            for row in table:
                yield self.began[meter.name] + float(row[0]) / self.options.rate, list(zip(names, row[1:]))

    def judge(self):
        """What is wrong, in words; nothing when all is well."""
        totals, wrong, old, unflagged, unhealed, believed, usual_age_s = collections.Counter(), [], [], [], [], [], {}
        flags, recoveries = collections.defaultdict(list), []
        for number, meter in enumerate(self.meters, 1):
            good_at, bad_at, ages = [], [], []
            for at, cells in self.readings(number, meter):
                for name, text in cells:
                    if not text:
                        continue
                    if text[0].isalpha():
                        totals["not good"] += 1
                        bad_at.append(at)
                        continue
                    totals["good"] += 1
                    good_at.append(at)
                    code, moment = divmod(float(text), 1000.0)
                    if code != meter.code + int(name[1:]) or moment != int(moment):
                        wrong.append((meter.name, name, text, round(at - self.began[meter.name], 3)))
                    else:
                        # Tenths of a second modulo a hundred seconds, from EARLY_TENTHS ahead on.
                        ages.append((at, (int((at + self.wall_s) * 10) - int(moment) + EARLY_TENTHS) % 1000 - EARLY_TENTHS))
            old += [(meter.name, round(at - self.began[meter.name], 3), age / 10) for at, age in ages if age > TOO_OLD_TENTHS]
            usual_age_s[meter.name] = sorted(age for _, age in ages)[len(ages) // 2] / 10 if ages else None
            for fault in (f for f in self.truth if meter.name in f["meters"]):
                is_sure = fault["kind"] in ("cut", "mute", "swap", "late") and not (fault["kind"] == "late" and meter.name.startswith("board"))
                i = bisect.bisect_left(bad_at, fault["from"])
                flagged = bad_at[i] - fault["from"] if i < len(bad_at) else float("inf")
                if is_sure:
                    flags[fault["kind"]].append(flagged)
                    if flagged > meter.flag_s:
                        unflagged.append((meter.name, fault["kind"], round(flagged, 2)))
                    between = good_at[bisect.bisect_right(good_at, fault["from"] + max(meter.flag_s, 1.5)):bisect.bisect_left(good_at, fault["healing"])]
                    if between:
                        believed.append((meter.name, fault["kind"], len(between)))
                i = bisect.bisect_left(good_at, fault["to"])
                back = good_at[i] - fault["to"] if i < len(good_at) else float("inf")
                recoveries.append(back)
                if back > RECOVERY_S:
                    unhealed.append((meter.name, fault["kind"], round(back, 2)))
        log = self.processes.log("daemon")
        swapped = {name for f in self.truth if f["kind"] == "swap" for name in f["meters"] if name != "w1"}
        unnamed = [name for name in swapped if self.is_bound and not re.search(rf"`[^`]*{name}B[^`]*` answers where `[^`]*{name}[^`]*` is bound", log)]
        faults = collections.Counter((f["bus"], f["kind"]) for f in self.truth)
        missing = [f"{bus} {kind}: {faults[bus, kind]} of {count}" for (bus, kind), count in self.least_faults().items() if faults[bus, kind] < count]
        figures = {"seconds": self.options.seconds, "run_hours": self.options.seconds * self.options.rate / 3600, "meters": len(self.meters), "points": sum(m.channels for m in self.meters),
                   "readings_good": totals["good"], "readings_not_good": totals["not good"], "faults": dict(collections.Counter(f["kind"] for f in self.truth)), "wrong": len(wrong), "too_old": len(old),
                   "faults_demanded": sum(self.least_faults().values()), "usual_age_s": usual_age_s,
                   "flagged_worst_s": {kind: round(max(values), 3) for kind, values in flags.items()}, "recovered_worst_s": round(max(recoveries, default=0), 2),
                   "not_flagged": unflagged, "not_recovered": unhealed, "believed_in_a_fault": believed, "without_both_names": unnamed}
        (self.folder / "figures.json").write_text(json.dumps(figures, indent=1))
        (self.folder / "truth.json").write_text(json.dumps(self.truth, indent=1))
        print(json.dumps(figures, indent=1))
        least = self.options.least
        complaints = {"readings at the wrong point": wrong[:10], "readings older than they may be": old[:10],
                      f"usually older than {USUAL_AGE_MAX_S} s": [meter for meter, age in usual_age_s.items() if age is not None and age > USUAL_AGE_MAX_S],
                      "not flagged": unflagged, "believed in a fault": believed,
                      "not recovered": unhealed, "without both names": unnamed, "faults that were not made": missing, "broken threads": self.trouble,
                      f"good readings, of {least}": [totals["good"]] if totals["good"] < least else []}
        return [f"{what}: {which}" for what, which in complaints.items() if which]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("daemon", "command", "source", "folder"):
        parser.add_argument("--" + name, required=True, type=pathlib.Path)
    parser.add_argument("--seconds", type=float, default=720.0)
    parser.add_argument("--rate", type=float, default=120.0)
    parser.add_argument("--least", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--prove", action="store_true")
    options = parser.parse_args()
    complaints = Campaign(options).run()
    for text in complaints:
        print(text[:400])
    if options.prove:
        unnoticed = [what for what in PLANTED if not any(text.startswith(what) for text in complaints)]
        print(f"planted, and not noticed: {unnoticed}" if unnoticed else "all of this was planted. The campaign fails, as it must")
        return 1 if unnoticed else 0
    return 1 if complaints else 0


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    code = main()
    sys.stdout.flush()
    os._exit(code)
