"""One night, live: the stage that plays it over real Modbus, the real daemon, a real mail server, web server, MQTT broker and
Alertmanager; and the file that it leaves, read by nothing of ours."""
import contextlib
import json
import os
import pathlib
import re
import shutil
import signal
import sqlite3
import subprocess
import time
import tomllib

from bench_process import end, free_port, Http, Processes, wait_for
from sinks import Alertmanager, MosquittoBroker, SmtpSink, WebhookSink

FAST = 1440.0
# Run time passes 1440 times faster: the two seconds of a bench are three minutes here.
FAST_PLAN = """[plan]
title = "night"
off_proven_within_seconds = 200
bench_opened_after_seconds = 400
silent_after_seconds = 300
blind_trip_after_seconds = 300
[[stage]]
kind = "warm_up"
minutes = 60
[[stage]]
kind = "baseline"
minutes = 30
[[stage]]
kind = "idle_soak"
minutes = 1350
"""
# The times that the program has by itself: for nights that are played slowly enough to have seconds.
PLAN_OF_SECONDS = """[plan]
title = "minutes of a night"
[[stage]]
kind = "baseline"
minutes = 30
[[stage]]
kind = "idle_soak"
minutes = 600
"""
# A mains failure with its own ten minutes and its warm-up: 480 times faster. A meter that was dead is asked again every two
# seconds of real time: sixteen minutes here, during which a unit is not blind.
MAINS_PLAN = FAST_PLAN.replace("_seconds = 200", "_seconds = 60").replace("_seconds = 400", "_seconds = 120").replace("blind_trip_after_seconds = 300", "blind_trip_after_seconds = 1800")
INSTRUMENT = """[instrument]
title = "one figure"
protocol = "modbus"
word_order = "ABCD"
[[channel]]
name = "value"
table = "input"
address = 0
type = "float32"
quantity = "{quantity}"
uom = "{uom}"
"""
STAGE_HOURS_MORE = 48.0  # it is ended, it does not end
FAKETIME = "/usr/lib/x86_64-linux-gnu/faketime/libfaketimeMT.so.1"


class Live:
    """A context. `timeout` of the wires, real time: long enough for a busy machine, short where something is to be missed. `serial`: every unit has a line of its own by this name in the stage's folder ("by-id/{unit}"), instead of TCP."""

    def __init__(self, options, name, nights, hours=12.0, rate=FAST, poll=20.0, plan=FAST_PLAN, timeout=1.0, serial=None, resets_at=None, wall_clock_can_step=False):
        self.options, self.name, self.hours, self.rate, self.poll, self.plan, self.timeout = options, name, hours, rate / options.slower, poll, plan, timeout
        self.serial, self.resets_at, self.wall_clock_can_step = serial, resets_at, wall_clock_can_step
        self.source = pathlib.Path(options.source).resolve()
        self.nights = [self.find(n) for n in nights]
        scenarios = [tomllib.loads(n.read_text())["scenario"] for n in self.nights]
        self.units = [s["profile"] for s in scenarios]
        self.begins = scenarios[0]["begins"]
        self.profiles = {u: tomllib.loads((self.source / f"config/profiles/{u}.toml").read_text()) for u in self.units}

    def find(self, name):
        places = [self.source / place / f"{name}.toml" for place in ("tests/external/nights/stories", "tests/scenarios/nights", "tests/scenarios/pending")]
        return next(place for place in places if place.exists())

    def __enter__(self):
        with contextlib.ExitStack() as stack:
            self.processes = stack.enter_context(Processes(pathlib.Path(self.options.folder) / self.name))
            self.folder = self.processes.folder
            self.mail, self.hook = stack.enter_context(SmtpSink()), stack.enter_context(WebhookSink())
            self.broker = stack.enter_context(MosquittoBroker(self.folder / "mqtt", "bench"))
            self.manager = stack.enter_context(Alertmanager(self.folder / "alertmanager"))
            self.start_stage()
            self.port = free_port()
            self.http = Http(self.port)
            self.write_config()
            self.start_daemon()
            self.stack = stack.pop_all()
        return self

    def __exit__(self, kind, *_):
        try:
            if kind is not None and self.daemon.poll() is None:
                with contextlib.suppress(OSError):  # it may be dying just now
                    self.keep()
        finally:
            self.stack.close()

    # ---- the programs ----
    def start_stage(self):
        self.truth_file = self.folder / "truth.json"
        more = ["--serial", self.folder / "serial"] if self.serial else []
        more += ["--reset", self.seconds(self.resets_at)] if self.resets_at else []
        self.processes.start("stage", self.options.stage, "--rate", self.rate, "--hours", self.hours + STAGE_HOURS_MORE, "--truth", self.truth_file, *more, *self.nights)
        said = wait_for("the stage", lambda: re.search(r"^port (\d+)$", self.processes.log("stage"), re.M), 10)
        self.modbus_port = int(said.group(1))
        self.meters = re.findall(r"^meter (\S+) (\S+) (\d+)$", self.processes.log("stage"), re.M)

    def start_daemon(self):
        command = [self.options.daemon, "--config", self.folder / "bench.toml"]
        if self.wall_clock_can_step:
            self.step_wall_clock(0)
            command = ["/usr/bin/env", f"LD_PRELOAD={FAKETIME}", "FAKETIME_DONT_FAKE_MONOTONIC=1", "FAKETIME_NO_CACHE=1", f"FAKETIME_TIMESTAMP_FILE={self.folder}/wall_clock", *command]
        self.daemon = self.processes.start("daemon", *command)
        wait_for("the daemon", self.http.is_up, 15)

    def step_wall_clock(self, seconds):
        """The daemon's wall clock stands so much beside the machine's from now on; what counts seconds goes on."""
        (self.folder / "wall_clock.new").write_text(f"{seconds:+d}\n")
        os.replace(self.folder / "wall_clock.new", self.folder / "wall_clock")

    def write_config(self):
        for name in ("instruments", "plans"):
            (self.folder / name).mkdir()
        (self.folder / "plans/night.toml").write_text(self.plan)
        shutil.copy(self.source / "config/instruments/relay-bench.toml", self.folder / "instruments/relays.toml")
        (self.folder / "instruments/mains.toml").write_text(INSTRUMENT.format(quantity="voltage", uom="V"))
        parts = [self.bench_text(), self.notify_text(), *(self.unit_text(number, unit) for number, unit in enumerate(self.units))]
        (self.folder / "bench.toml").write_text("\n".join(parts))

    def bench_text(self):
        return f"""[daemon]
store = "night.db"
listen = "127.0.0.1:{self.port}"
profile_folder = "{self.source}/config/profiles"
[demo]
clock_rate = {self.rate}
[[bus]]
name = "switches"
driver = "modbus_tcp"
host = "127.0.0.1"
port = {self.modbus_port}
timeout_seconds = {self.timeout}
[[bus.meter]]
name = "relays"
instrument = "relays"
address = 200
poll_seconds = 60.0
[[bus.meter]]
name = "mains"
instrument = "mains"
address = 201
poll_seconds = 60.0
[[bench]]
name = "bench 1"
person_on_call = "Ada"
[bench.contactor]
meter = "relays"
output = "contactor_1"
[bench.watchdog]
meter = "relays"
output = "watchdog"
every_seconds = 1.0
drops_after_seconds = 20.0
[bench.mains]
channel = "mains.value"
"""

    def notify_text(self):
        """One loud message for Ada; who is told next, and when again, is beyond these nights (`ring_minutes`, ... are long)."""
        return f"""[notify]
link_base = "http://127.0.0.1:{self.port}"
[[notify.route]]
name = "mail"
kind = "smtp"
url = "smtp://127.0.0.1:{self.mail.port}"
tls = "none"
from = "bench@example.org"
to = "ada@example.org"
[[notify.route]]
name = "hook"
kind = "webhook"
url = "{self.hook.url}"
[[notify.route]]
name = "mqtt"
kind = "mqtt"
host = "127.0.0.1"
port = {self.broker.port}
topic = "bench"
[[notify.route]]
name = "manager"
kind = "alertmanager"
url = "{self.manager.url}"
[[notify.person]]
name = "Ada"
routes = ["mail", "hook", "mqtt", "manager"]
[notify.timing]
proof_wait_seconds = {max(30.0, self.rate / 2)}
repeat_minutes = 600.0
ring_minutes = 600.0
escalate_minutes = 600.0
escalate_high_minutes = 1200.0
"""

    def unit_text(self, number, unit):
        points = {p["name"]: p for p in self.profiles[unit]["point"]}
        meters = [(point, identifier) for name, point, identifier in self.meters if name == unit]
        wire = f'driver = "modbus_tcp"\nhost = "127.0.0.1"\nport = {self.modbus_port}\n'
        if self.serial:
            wire = f'driver = "modbus_rtu"\ndevice = "{self.folder}/serial/{self.serial.format(unit=unit, number=number)}"\nbaud = 115200\n'
        text = f'[[bus]]\nname = "{unit}"\n{wire}timeout_seconds = {self.timeout}\n'
        for point, identifier in meters:
            kind = f"{points[point]['quantity']}-{re.sub(r'[^a-zA-Z]', '', points[point]['uom']) or 'one'}"
            (self.folder / f"instruments/{kind}.toml").write_text(INSTRUMENT.format(quantity=points[point]["quantity"], uom=points[point]["uom"]))
            text += f'[[bus.meter]]\nname = "{unit}_{point}"\ninstrument = "{kind}"\naddress = {identifier}\npoll_seconds = {self.poll}\n'
        text += f'[[unit]]\nname = "{unit}"\ntitle = "{unit}"\nserial = "S-{number}"\nbench = "bench 1"\nprofile = "{unit}"\nplan = "night"\n[unit.outlet]\nmeter = "relays"\noutput = "outlet_{number + 1}"\n'
        return text + "".join(f'[[unit.point]]\nname = "{point}"\nchannel = "{unit}_{point}.value"\n' for point, _ in meters)

    # ---- what a person does ----
    def post(self, path, expected=200, **body):
        status, answer = self.http.post(path, {"who": "Ada"} | body)
        assert status == expected, (path, status, answer)
        return answer

    def start(self, **policy):
        """Attended, with a policy: the list of what must be so before one leaves is another test's matter."""
        for name in self.units:
            self.post(f"/api/v1/units/{name}/start", at_the_bench=True, policy={"after_mains": "staged", "person_back_in_minutes": 720} | policy)

    # ---- time ----
    def seconds(self, clock):
        """Run time of a time of day, in seconds."""
        def minutes(text):
            parts = [int(p) for p in text.split(":")] + [0]
            return parts[0] * 60 + parts[1] + parts[2] / 60
        return ((minutes(clock) - minutes(self.begins)) % 1440) * 60

    def until(self, clock):
        wait_for(clock, lambda: self.http.unit(self.units[0])["run"]["time_s"] >= self.seconds(clock), self.hours * 3600 / self.rate + 20)

    def wait_off(self, unit, seconds=15):
        wait_for(f"{unit} off, and proven", lambda: self.http.unit(unit)["outlet"]["proof"] == "proven", seconds)

    def within(self, what, value, low, high):
        assert self.seconds(low) <= value <= self.seconds(high), f"{what}: at {value / 3600:.4f} h of run time, wanted {low} to {high} ({self.seconds(low) / 3600:.4f} to {self.seconds(high) / 3600:.4f} h)"

    # ---- what came of it ----
    def truth(self):
        wait_for("the stage's first word", self.truth_file.exists, 5)
        return json.loads(self.truth_file.read_text())

    def switched(self, text):
        return [e["time_s"] for e in self.truth()["events"] if e["text"] == text]

    def keep(self):
        """What the page says now, beside the store."""
        self.bench = self.http.get("/api/v1/bench")
        self.sheet = self.http.get("/api/v1/morning")
        self.findings = {u: self.http.get(f"/api/v1/units/{u}/findings")["findings"] for u in self.units}
        for name, what in (("bench", self.bench), ("morning", self.sheet)):
            (self.folder / f"{name}.json").write_text(json.dumps(what, indent=1))

    def unit(self, name):
        return next(u for u in self.bench["units"] if u["name"] == name)

    def morning(self, name):
        return next(u for u in self.sheet["units"] if u["name"] == name)

    def kill(self):
        """The daemon is killed in the middle of its work; what the page said a moment before must be in the file."""
        self.keep()
        time.sleep(1.2)
        self.killed_at = self.truth()["seconds"]
        end(self.daemon, signal.SIGKILL)
        stored = Stored(self.folder / "night.db")
        for unit in self.units:
            kept = [f for _, f in stored.events(unit, "finding")]
            assert kept[: len(self.findings[unit])] == self.findings[unit], (unit, "the file tells another story than the page did")
        return stored

    def read_again(self):
        """A fresh daemon on the same file says the same, tells nobody a second time and switches nothing on."""
        letters = self.letters()
        switched = len(self.truth()["events"])
        before = {name: getattr(self, name) for name in ("bench", "sheet", "findings")}
        self.start_daemon()
        time.sleep(1.0)
        self.keep()
        on = [e for e in self.truth()["events"][switched:] if e["text"].endswith(" on") or e["text"].endswith("has power")]
        assert not on, f"a start of the daemon switched something on: {on}"
        assert self.letters() == letters, "somebody was told a second time"
        for unit in self.units:
            was, now = (next(u for u in b["units"] if u["name"] == unit) for b in (before["bench"], self.bench))
            for key in ("is_interlocked", "is_defective"):
                assert now["outlet"][key] == was["outlet"][key], f"{unit}: {key} was {was['outlet'][key]} before the daemon was killed and is {now['outlet'][key]} after its start"
            assert now["run"], f"{unit}: its last run is forgotten"
            assert self.findings[unit][: len(before["findings"][unit])] == before["findings"][unit], f"{unit}: other findings than before"
            for key in ("segments", "interruptions"):
                known = [part for part in was["run"][key] if part.get("to_s", 0) is not None]
                assert now["run"][key][: len(known)] == known, (unit, key, now["run"][key], known)
            # One kill, one start and the moments between them.
            assert was["run"]["counted_s"] <= now["run"]["counted_s"] <= was["run"]["counted_s"] + 5 * self.rate, (unit, was["run"]["counted_s"], now["run"]["counted_s"])
            assert now["run"]["signature"] == was["run"]["signature"], unit
            if was["run"]["verdict"]:
                assert now["run"]["verdict"]["word"] == was["run"]["verdict"]["word"], unit
        told = [{(i["id"], i["cause"], tuple(i["units"])) for i in b["incidents"]} for b in (before["bench"], self.bench)]
        assert told[0] <= told[1], f"incidents before {told[0]}, after {told[1]}"
        sheets = [{u["name"] for u in s["units"]} for s in (before["sheet"], self.sheet)]
        assert sheets[0] == sheets[1], f"the morning sheet had {sheets[0]}, and has {sheets[1]} after a start of the daemon"

    def replayed(self, unit):
        """The recording of the run, exported and judged anew by the command line, gives the same findings, one by one."""
        run = next(u for u in self.bench["units"] if u["name"] == unit)["run"]["id"]
        csv, events = self.folder / f"{unit}.csv", self.folder / f"{unit}.jsonl"
        subprocess.run([self.options.command, "export", self.folder / "night.db", str(run), csv], check=True, timeout=60)
        answer = subprocess.run([self.options.command, "replay", "--profile", self.source / f"config/profiles/{unit}.toml", "--plan", self.folder / "plans/night.toml", "--csv", csv, "--events", events],
                                capture_output=True, text=True, timeout=60)
        assert answer.returncode in (0, 1), answer.stderr
        again = [json.loads(line) for line in events.read_text().splitlines()]
        live = self.findings[unit]
        assert again[: len(live)] == live, next((f"live {a}\nreplayed {b}" for a, b in zip(live, again) if a != b), "fewer when replayed")

    def letters(self):
        return len(self.mail.messages), len(self.hook.requests), len(self.broker.messages())


class Stored:
    """The night as the file tells it."""

    def __init__(self, file):
        db = sqlite3.connect(f"file:{file}?mode=ro", uri=True)
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        self.runs = {unit: run for run, unit in db.execute("SELECT id, unit FROM run ORDER BY id")}
        self.rows = [(run, ms / 1000, kind, json.loads(text)) for run, ms, kind, text in db.execute("SELECT run, at_ms, kind, json FROM event ORDER BY seq")]
        self.inputs = [(run, ms / 1000, kind, json.loads(text)) for run, ms, kind, text in db.execute("SELECT run, at_ms, kind, json FROM input ORDER BY seq")]
        self.batches = [(run, ms / 1000) for run, ms in db.execute("SELECT run, at_ms FROM reading_batch ORDER BY seq")]
        self.journal = [(kind, json.loads(text)) for kind, text in db.execute("SELECT kind, json FROM journal ORDER BY seq")]
        db.close()

    def events(self, unit, *kinds):
        return [(t, body) for run, t, kind, body in self.rows if run == self.runs[unit] and kind in kinds]

    def findings(self, unit, *severities, kinds=()):
        return [f for _, f in self.events(unit, "finding") if f["state"] == "raised" and (not severities or f["severity"] in severities) and (not kinds or f["kind"] in kinds)]

    def orders(self, unit):
        return self.events(unit, "order")

    def messages(self):
        return [body for kind, body in self.journal if kind == "message"]

    def loud(self):
        return [m for m in self.messages() if m["priority"] >= 2]
