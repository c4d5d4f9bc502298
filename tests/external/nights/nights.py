#!/usr/bin/python3
"""Nights that a shop must survive, live: text nights over real Modbus, the real daemon, a real mail server, web server, MQTT
broker and Alertmanager; and then the same story from the stored file alone.

nights.py --stage P --daemon P --command P --source DIR --folder DIR NAME...
Run time passes 1440 times faster, so what takes two seconds on a bench has three minutes of run time here (PLAN)."""
import argparse
import contextlib
import json
import pathlib
import re
import shutil
import sqlite3
import sys
import time
import tomllib

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from bench_process import end, free_port, Http, Processes, wait_for  # noqa: E402
from sinks import Alertmanager, MosquittoBroker, pictures_of, SmtpSink, WebhookSink  # noqa: E402

RATE = 1440.0
POLL = 20.0
PLAN = """[plan]
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


def at(clock, begins="20:00"):
    """Run time in seconds of a time of day."""
    def minutes(text):
        parts = [int(p) for p in text.split(":")] + [0]
        return parts[0] * 60 + parts[1] + parts[2] / 60
    return ((minutes(clock) - minutes(begins)) % 1440) * 60


class Live:
    """One night: the stage, the daemon and everybody who may be told."""

    def __init__(self, options, name, nights, hours=12.0):
        self.options, self.name, self.hours = options, name, hours
        self.nights = [self.find(n) for n in nights]
        self.units = [tomllib.loads(n.read_text())["scenario"]["profile"] for n in self.nights]
        self.processes = Processes(pathlib.Path(options.folder) / name)
        self.folder = self.processes.folder

    def find(self, name):
        source = pathlib.Path(self.options.source)
        for place in (source / "tests/external/nights/stories", source / "tests/scenarios/nights", source / "tests/scenarios/pending"):
            if (place / f"{name}.toml").exists():
                return place / f"{name}.toml"
        raise AssertionError(f"no night {name}")

    def __enter__(self):
        with contextlib.ExitStack() as stack:
            self.mail = stack.enter_context(SmtpSink())
            self.hook = stack.enter_context(WebhookSink())
            self.broker = stack.enter_context(MosquittoBroker(self.folder / "mqtt", "bench"))
            self.manager = stack.enter_context(Alertmanager(self.folder / "alertmanager"))
            stack.enter_context(self.processes)
            self.begin()
            self.sinks = stack.pop_all()  # a failure before this line has ended them already
        return self

    def begin(self):
        self.truth_file = self.folder / "truth.json"
        self.processes.start("stage", self.options.stage, "--rate", RATE, "--hours", self.hours, "--truth", self.truth_file, *self.nights)
        said = wait_for("the stage", lambda: (m := re.search(r"^port (\d+)$", self.processes.log("stage"), re.M)) and m, 10)
        meters = re.findall(r"^meter (\S+) (\S+) (\d+)$", self.processes.log("stage"), re.M)
        self.port = free_port()
        self.write_config(int(said.group(1)), meters)
        self.start_daemon()

    def start_daemon(self):
        self.daemon = self.processes.start("daemon", self.options.daemon, "--config", self.folder / "bench.toml")
        self.http = Http(self.port)
        wait_for("the daemon", self.http.is_up, 15)

    def __exit__(self, *_):
        self.sinks.close()

    def write_config(self, modbus, meters):
        source = pathlib.Path(self.options.source)
        folder = self.folder
        for name in ("instruments", "plans"):
            (folder / name).mkdir()
        (folder / "plans/night.toml").write_text(PLAN)
        shutil.copy(source / "config/instruments/relay-bench.toml", folder / "instruments/relays.toml")
        (folder / "instruments/mains.toml").write_text(INSTRUMENT.format(quantity="voltage", uom="V"))
        text = f"""[daemon]
store = "night.db"
listen = "127.0.0.1:{self.port}"
profile_folder = "{source}/config/profiles"
[demo]
clock_rate = {RATE}
[[bus]]
name = "switches"
driver = "modbus_tcp"
host = "127.0.0.1"
port = {modbus}
timeout_seconds = 0.1
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
[notify]
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
routes = ["mail"]
[[notify.person]]
name = "Screens"
routes = ["hook"]
[notify.timing]
proof_wait_seconds = 900.0
repeat_minutes = 600.0
ring_minutes = 600.0
escalate_minutes = 600.0
escalate_high_minutes = 1200.0
"""
        for unit in self.units:
            profile = tomllib.loads((source / f"config/profiles/{unit}.toml").read_text())
            points = {p["name"]: p for p in profile["point"]}
            text += f'[[bus]]\nname = "{unit}"\ndriver = "modbus_tcp"\nhost = "127.0.0.1"\nport = {modbus}\ntimeout_seconds = 0.1\n'
            for _, point, identifier in (m for m in meters if m[0] == unit):
                kind = f"{points[point]['quantity']}-{re.sub(r'[^a-zA-Z]', '', points[point]['uom']) or 'one'}"
                (folder / f"instruments/{kind}.toml").write_text(INSTRUMENT.format(quantity=points[point]["quantity"], uom=points[point]["uom"]))
                text += f'[[bus.meter]]\nname = "{unit}_{point}"\ninstrument = "{kind}"\naddress = {identifier}\npoll_seconds = {POLL}\n'
        for number, unit in enumerate(self.units):
            text += f'[[unit]]\nname = "{unit}"\ntitle = "{unit}"\nserial = "S-{number}"\nbench = "bench 1"\nprofile = "{unit}"\nplan = "night"\n[unit.outlet]\nmeter = "relays"\noutput = "outlet_{number + 1}"\n'
            for _, point, _ in (m for m in meters if m[0] == unit):
                text += f'[[unit.point]]\nname = "{point}"\nchannel = "{unit}_{point}.value"\n'
        (folder / "bench.toml").write_text(text)

    # ---- what a person does ----
    def post(self, path, expected=200, **body):
        status, answer = self.http.post(path, {"who": "Ada"} | body)
        assert status == expected, (path, status, answer)
        return answer

    def start(self, unit=None, **policy):
        """Attended, with a policy: the list of what must be so before one leaves is another test's matter."""
        for name in [unit] if unit else self.units:
            self.post(f"/api/v1/units/{name}/start", at_the_bench=True, policy={"after_mains": "staged", "person_back_in_minutes": 720} | policy)

    def run_time(self, unit=None):
        return self.http.unit(unit or self.units[0])["run"]["time_s"]

    def until(self, clock, begins="20:00"):
        wanted = at(clock, begins)
        wait_for(clock, lambda: self.run_time() >= wanted, self.hours * 3600 / RATE + 20)

    # ---- what came of it ----
    def truth(self):
        return json.loads(self.truth_file.read_text())

    def stop(self):
        """An orderly end, so that the file is whole; what was on its way out has arrived."""
        self.bench = self.http.get("/api/v1/bench")
        self.sheet = self.http.get("/api/v1/morning")
        self.live_findings = {u: self.http.get(f"/api/v1/units/{u}/findings")["findings"] for u in self.units}
        end(self.daemon)
        return Stored(self.folder / "night.db")


class Stored:
    """The night as the file tells it, read by nothing of ours."""

    def __init__(self, file):
        db = sqlite3.connect(f"file:{file}?mode=ro", uri=True)
        self.runs = {unit: run for run, unit in db.execute("SELECT id, unit FROM run ORDER BY id")}
        self.rows = [(run, ms / 1000, kind, json.loads(text)) for run, ms, kind, text in db.execute("SELECT run, at_ms, kind, json FROM event ORDER BY seq")]
        self.inputs = [(run, ms / 1000, kind, json.loads(text)) for run, ms, kind, text in db.execute("SELECT run, at_ms, kind, json FROM input ORDER BY seq")]
        self.journal = [(kind, json.loads(text)) for kind, text in db.execute("SELECT kind, json FROM journal ORDER BY seq")]

    def events(self, unit, *kinds):
        return [(t, body) for run, t, kind, body in self.rows if run == self.runs[unit] and kind in kinds]

    def findings(self, unit, severity=None, kinds=()):
        return [f for _, f in self.events(unit, "finding") if f["state"] == "raised" and (severity is None or f["severity"] == severity) and (not kinds or f["kind"] in kinds)]

    def orders(self, unit):
        return self.events(unit, "order")

    def messages(self, purpose=None):
        return [body for kind, body in self.journal if kind == "message" and (purpose is None or body["purpose"] == purpose)]

    def loud(self):
        return [m for m in self.messages() if m["priority"] >= 2]


def between(what, value, low, high):
    assert low <= value <= high, f"{what}: {value / 3600:.3f} h, wanted {low / 3600:.3f} to {high / 3600:.3f} h"


def quiet(night, stored):
    """Nobody was told anything at all."""
    assert not night.mail.messages and not stored.messages(), [m["Subject"] for m in night.mail.messages]


def same_live_and_stored(night, stored):
    for unit in night.units:
        kept = [f for _, f in stored.events(unit, "finding")]
        live = night.live_findings[unit]
        assert kept[: len(live)] == live, (unit, "the file tells another story than the page did")


# ---- the ten nights -------------------------------------------------------------------------------------------------

def one_tube_runs(options):
    with Live(options, "one_tube_runs", ["one_tube_runs"], hours=8) as night:
        night.start()
        night.until("02:40")
        wait_for("the cut", lambda: night.http.unit("brindlecombe35")["outlet"]["proof"] == "proven", 15)
        wait_for("the mail", lambda: night.mail.messages, 5)
        wait_for("the bleed-down", lambda: "below 50 V" in night.http.unit("brindlecombe35")["outlet"]["bleed_text"], 5)
        status, answer = night.http.post("/api/v1/units/brindlecombe35/start", {"who": "Ada", "at_the_bench": False})
        assert status == 409 and "interlock" in answer["error"], answer
        stored = night.stop()
        truth = night.truth()
        assert truth["powered"] == {"brindlecombe35": False}, truth
        first = stored.orders("brindlecombe35")[0]
        between("the cut", first[0], at("02:42"), at("02:45"))
        assert first[1]["is_trip"] and "v3" in first[1]["reason"], first
        trips = stored.findings("brindlecombe35", "trip")
        assert all("v3_cathode_mv" in f["points"] for f in trips if f["kind"] != "outlet"), trips
        assert len(stored.loud()) == 1, [m["subject"] for m in stored.messages()]
        mail, = night.mail.messages
        assert pictures_of(mail)[0].startswith(b"\x89PNG"), "the last two hours are with it"
        assert mail["Subject"] == "SLEEP: brindlecombe35, bench 1: OFF, proven", mail["Subject"]
        assert [kind for _, kind in [(0, b["is_safe"]) for _, b in stored.events("brindlecombe35", "bleed_down")]] == [True]
        same_live_and_stored(night, stored)


def mains_steps(options):
    with Live(options, "mains_steps", ["mains_step"]) as night:
        night.start()
        night.until("02:00")
        stored = night.stop()
        assert not stored.findings("brindlecombe35", "warn") + stored.findings("brindlecombe35", "trip"), stored.findings("brindlecombe35", "warn")
        quiet(night, stored)
        same_live_and_stored(night, stored)


def the_clip_falls(options):
    with Live(options, "the_clip_falls", ["clip_falls"]) as night:
        night.start()
        night.until("01:40")
        unit = night.http.unit("fennimark120")
        assert "no view" in unit["run"]["not_counting_because"], unit["run"]["not_counting_because"]
        assert night.truth()["powered"]["fennimark120"], "it runs on"
        stored = night.stop()
        lost = [f for f in stored.findings("fennimark120", kinds=("sensor",))]
        assert lost and "contact lost" in lost[0]["message"], lost
        between("contact lost", lost[0]["time_s"], at("01:22") - 60, at("01:24"))
        assert not [f for f in stored.findings("fennimark120", "trip")]
        quiet(night, stored)
        assert any(item["priority"] == "low" for unit in night.sheet["units"] for item in unit["items"]), night.sheet
        same_live_and_stored(night, stored)


def power_cut(options):
    with Live(options, "power_cut", ["supply_fails_triode", "supply_fails_receiver"]) as night:
        night.start()
        night.until("03:11")
        counted = {u: night.http.unit(u)["run"]["counted_s"] for u in night.units}
        wait_for("the dark", lambda: night.truth()["is_dark"], 10)
        wait_for("the light", lambda: not night.truth()["is_dark"], 10)
        wait_for("the triode on again", lambda: night.truth()["powered"]["ostrel9"], 10)
        wait_for("the receiver's outlet", lambda: night.truth()["powered"]["tolvane_r22"], 10)
        night.until("07:30")
        stored = night.stop()
        on_again = {u: stored.events(u, "close")[-1][0] for u in night.units}
        # Dead meters are asked again every second or two of real time: half an hour and more of run time here.
        between("nothing for ten steady minutes", on_again["ostrel9"], at("04:08"), at("05:10"))
        assert on_again["tolvane_r22"] - on_again["ostrel9"] >= 50, on_again
        for unit in night.units:
            assert stored.orders(unit), "the outlet is ordered off while the supply is gone"
            gaps = next(u for u in night.bench["units"] if u["name"] == unit)["run"]["interruptions"]
            assert len(gaps) == 1 and not gaps[0]["is_planned"], gaps
            between("the gap", gaps[0]["to_s"] - gaps[0]["from_s"], 50 * 60, 125 * 60)
        triode = next(u for u in night.bench["units"] if u["name"] == "ostrel9")["run"]
        receiver = next(u for u in night.bench["units"] if u["name"] == "tolvane_r22")["run"]
        assert triode["counted_s"] - counted["ostrel9"] < 1.6 * 3600 and triode["counted_s"] > counted["ostrel9"], triode["counted_s"]
        assert receiver["counted_s"] - counted["tolvane_r22"] < 300, "standby is no soak"
        assert not stored.loud(), stored.loud()


def bias_supply_slips(options):
    with Live(options, "bias_supply_slips", ["bias_supply_is_cut"]) as night:
        night.start(on_forecast="cut")
        night.until("02:00")
        wait_for("the planned cut", lambda: night.http.unit("brindlecombe35")["outlet"]["proof"] == "proven", 15)
        wait_for("the silent word", lambda: night.mail.messages, 5)
        stored = night.stop()
        cut = stored.orders("brindlecombe35")[0]
        between("the planned cut", cut[0], at("02:30"), at("03:28"))
        assert "cut as planned" in cut[1]["reason"], cut
        assert not stored.loud(), [m["subject"] for m in stored.loud()]
        assert all(m["priority"] == 1 and m["advice"] == "SLEEP" for m in stored.messages()), stored.messages()
        common = [f for f in stored.findings("brindlecombe35", "warn") if "grid_bias_v" in f["points"]]
        assert common, "the bias feed is named"
        assert not [f for f in stored.findings("brindlecombe35") if f["kind"] == "mains" and f["severity"] != "note"]
        incident, = [i for i in night.bench["incidents"] if i["cause"] == "unit"]
        assert len(incident["alarms"]) >= 1
        same_live_and_stored(night, stored)


def cold_night_then_a_cloth(options):
    with Live(options, "cold_night_then_a_cloth", ["cold_night_then_a_cloth"]) as night:
        night.start()
        night.until("07:50")
        stored = night.stop()
        warned = stored.findings("carrowen_a30", "warn")
        assert warned and all(f["time_s"] >= at("05:00") for f in warned), warned
        assert any("air path" in f["message"] for f in stored.findings("carrowen_a30")), warned
        assert not stored.orders("carrowen_a30")
        quiet(night, stored)
        same_live_and_stored(night, stored)


def ports_swap(options):
    with Live(options, "ports_swap", ["ports_reset"]) as night:
        night.start()
        night.until("01:30")
        before = night.run_time()
        # The clock on the wall is a label: nothing is computed from it while the daemon runs.
        stored = night.stop()
        assert night.truth()["powered"]
        times = [t for _, t, _, _ in stored.rows]
        assert times == sorted(times) or len(night.units) > 1, "run time never goes back"
        assert before > at("01:29")
        quiet(night, stored)
        same_live_and_stored(night, stored)


def tape(options):
    with Live(options, "tape", ["tape_sticks_and_is_cut"]) as night:
        night.start(is_cut_when_stuck=True)
        night.until("02:05")
        wait_for("the deck off", lambda: night.http.unit("skelby_4t")["outlet"]["proof"] == "proven", 10)
        wait_for("the silent word", lambda: night.mail.messages, 5)
        stored = night.stop()
        cut = stored.orders("skelby_4t")[0]
        between("the cut", cut[0], at("02:05"), at("02:20"))
        assert "tape off or stuck" in cut[1]["reason"], cut
        assert not stored.loud() and not [f for f in stored.findings("skelby_4t", "warn") if f["time_s"] < at("02:05")]
        same_live_and_stored(night, stored)


def the_relay_welds(options):
    with Live(options, "the_relay_welds", ["relay_welds_live", "neighbour"], hours=10) as night:
        night.start()
        night.until("04:17")
        wait_for("the contactor", lambda: not night.truth()["powered"]["pellisk_t1"], 10)
        wait_for("proof by the contactor", lambda: night.http.unit("ombrel250")["outlet"]["proof"] == "proven", 10)
        wait_for("the loud word", lambda: [m for m in night.mail.messages], 5)
        unit = night.http.unit("ombrel250")
        assert unit["outlet"]["is_defective"], unit["outlet"]
        neighbour = night.http.unit("pellisk_t1")
        assert neighbour["run"]["power"] == "bench_open" and neighbour["run"]["verdict"] is None, "paused as collateral, not failed"
        status, answer = night.http.post("/api/v1/units/ombrel250/start", {"who": "Ada", "at_the_bench": True})
        assert status == 409 and "defective" in answer["error"], answer
        stored = night.stop()
        orders = stored.orders("ombrel250")
        assert [o["attempt"] for _, o in orders] == [1, 2], orders
        bench, = stored.events("ombrel250", "open_bench")
        between("the second order", orders[1][0] - orders[0][0], 199, 320)
        between("the contactor", bench[0] - orders[0][0], 399, 520)
        assert len(stored.loud()) == 1 and "OFF, proven" in stored.loud()[0]["subject"], [m["subject"] for m in stored.messages()]
        assert any(kind == "contact" and body["is_defective"] for kind, body in stored.journal), "the mark is kept"
        # A fresh daemon knows it.
        night.start_daemon()
        assert night.http.unit("ombrel250")["outlet"]["is_defective"]
        night.post("/api/v1/units/ombrel250/repaired", note="new relay")
        ready = night.http.get("/api/v1/units/ombrel250/ready?who=Ada")
        rehearsal, = [i for i in ready["items"] if i["key"] == "rehearsal"]
        assert rehearsal["state"] == "no", rehearsal


def midnight_trim(options):
    with Live(options, "midnight_trim", ["trimmed_at_night"], hours=20) as night:
        night.start()
        night.until("22:30", "08:30")
        night.post("/api/v1/units/wexmere_m50/acts", kind="touch", points=["right_v1_mv", "right_v2_mv"], control="right bias", before=440.0, after=380.0, why="ran hot")
        night.until("04:00", "08:30")
        run = night.http.unit("wexmere_m50")["run"]
        segment, = run["segments"]
        assert segment["points"] == ["right_v1_mv", "right_v2_mv"] and "-13.6 %" in segment["why"], segment
        stored = night.stop()
        loud = [f for f in stored.findings("wexmere_m50", "warn") if f["time_s"] > at("22:31", "08:30") and set(f["points"]) & {"left_v1_mv", "left_v2_mv"}]
        assert not loud, loud
        touched, = [b for run, _, kind, b in stored.inputs if kind == "touch"]
        assert touched["why"] == "ran hot" and touched["who"] == "Ada"
        assert stored.events("wexmere_m50", "segment")
        assert not stored.orders("wexmere_m50")
        assert not stored.loud()
        same_live_and_stored(night, stored)


NIGHTS = {f.__name__: f for f in (one_tube_runs, mains_steps, the_clip_falls, power_cut, bias_supply_slips, cold_night_then_a_cloth, ports_swap, tape, the_relay_welds, midnight_trim)}


def main():
    parser = argparse.ArgumentParser()
    for name in ("stage", "daemon", "command", "source", "folder"):
        parser.add_argument(f"--{name}", required=True)
    parser.add_argument("nights", nargs="*", choices=[[], *NIGHTS])
    options = parser.parse_args()
    for name in options.nights or NIGHTS:
        began = time.monotonic()
        NIGHTS[name](options)
        print(f"{name}: as told, live and from the file ({time.monotonic() - began:.0f} s)", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
