"""A shop for the fault campaigns: the virtual bench and the real daemon in real time, a listener on their wire, and the figures
that a campaign leaves behind."""
import json
import pathlib
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "support"))
from bench_process import demo_config, end, free_port, Http, Processes, wait_for  # noqa: E402
from wire import Wire  # noqa: E402

WATCHDOG_S = 2.0
FEED_S = 0.5
POLL_S = 0.3
# The bench looks at its clock ten times a second.
BENCH_GRAIN_S = 0.1
BENCH = "bench 1"
RELAY_DEVICE = 21
CONTACTOR, WATCHDOG = 8, 9
COIL = {"brindlecombe35": 0, "fennimark120": 1, "hollin_p4": 2}
UNITS = list(COIL)


class Said:
    """The lines of a program's output, each with the moment (monotonic, s) at which it came."""

    def __init__(self, process, file):
        self.lines = []
        threading.Thread(target=self.listen, args=(process.stdout, open(file, "ab")), daemon=True).start()

    def listen(self, stream, file):
        with file:
            for line in stream:
                self.lines.append((time.monotonic(), line.decode(errors="replace").rstrip()))
                file.write(line)
                file.flush()

    def first(self, text, since=0.0):
        return next((at for at, line in list(self.lines) if at >= since and text in line), None)


class Shop:
    """A context. `night`: text replaced in the bench's night of health; `config`: (key, value) replaced in the daemon's."""

    def __init__(self, options, units=UNITS, night=(), config=(), swallows=lambda write: False, has_watchdog=True, daemon_environment=None):
        self.options, self.units, self.swallows, self.environment, self.has_watchdog = options, list(units), swallows, daemon_environment, has_watchdog
        self.processes = Processes(options.folder)
        self.folder = self.processes.folder
        self.source = pathlib.Path(options.source).resolve()
        text = (self.source / "demo/nights/healthy.toml").read_text().replace("contactor = true", f"contactor = true\nwatchdog_seconds = {WATCHDOG_S}")
        for old, new in night:
            assert old in text, old
            text = text.replace(old, new)
        (self.folder / "night.toml").write_text(text)
        self.bench_port, self.port = free_port(), free_port()
        self.wire = Wire(self.bench_port, lambda write: self.swallows(write))
        self.write_config(config)
        self.http = Http(self.port)

    def write_config(self, more):
        usual = {"plan_folder": f'"{self.source}/config/plans"', "clock_rate": 1.0, "poll_seconds": POLL_S, "every_seconds": FEED_S, "drops_after_seconds": WATCHDOG_S}
        config = demo_config(self.source, self.folder, self.port, self.wire.port, **(usual | dict(more)))
        if not self.has_watchdog:
            config = re.sub(r"\[bench\.watchdog\]\n(?:\w+ = .*\n)+", "", config)
        (self.folder / "bench.toml").write_text(config)

    def __enter__(self):
        try:
            self.start_bench()
            self.start_daemon()
        except BaseException:
            self.processes.__exit__()
            raise
        return self

    def __exit__(self, *what):
        self.processes.__exit__(*what)

    # ---- programs ----
    def start_bench(self):
        """Every contact of a bench that comes up is open, and its watchdog sleeps until it is written once."""
        self.began_at = time.monotonic()
        self.bench = subprocess.Popen([str(w) for w in (self.options.bench, "--night", self.folder / "night.toml", "--port", self.bench_port, "--pty", self.folder / "bench.pty", "--rate", 1)],
                                      stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        self.processes.running.append(self.bench)
        self.said = Said(self.bench, self.folder / "bench.log")
        wait_for("the bench", lambda: self.said.first("ready"), 10)

    def start_daemon(self):
        self.began_at = time.monotonic()
        log = open(self.folder / "daemon.log", "ab")
        self.daemon = subprocess.Popen([str(self.options.daemon), "--config", str(self.folder / "bench.toml")], stdout=log, stderr=log, env=self.environment)
        log.close()
        self.processes.running.append(self.daemon)
        wait_for("the daemon", self.http.is_up, 15)

    def kill(self, process):
        end(process, signal.SIGKILL)
        self.processes.running.remove(process)

    # ---- what a person does ----
    def post(self, path, **body):
        status, answer = self.http.post(path, {"who": "Ada"} | body)
        assert status == 200, (path, status, answer)
        return answer

    def start_runs(self, **policy):
        for unit in self.units:
            self.post(f"/api/v1/units/{unit}/start", at_the_bench=True, policy=policy or None) if policy else self.post(f"/api/v1/units/{unit}/start", at_the_bench=True)
        self.wait_powered()

    def go_on(self):
        """Somebody stands at the bench, has looked, and lets everything go on."""
        self.post(f"/api/v1/benches/{BENCH.replace(' ', '%20')}/close", at_the_bench=True)
        wait_for("the contactor to be closed", lambda: self.bench_view()["benches"][0]["contactor"]["state"] == "closed", 5)
        for unit in self.units:
            self.post(f"/api/v1/units/{unit}/acts", kind="go_on")
        self.wait_powered()

    # ---- what is true ----
    def powered(self):
        """Who has power, by what the bench itself has said."""
        has = dict.fromkeys(UNITS, False)
        for _, line in list(self.said.lines):
            for unit in UNITS:
                has[unit] = True if line.endswith(f"{unit} has power") else False if line.endswith(f"{unit} lost its power") else has[unit]
        return [unit for unit in UNITS if has[unit]]

    def wait_powered(self):
        wait_for("the units to draw power", lambda: self.powered() == self.units, 15)
        wait_for("the daemon to see it", lambda: all(u["outlet"]["state"] == "on" and u["run"]["power"] == "on" for u in self.bench_view()["units"] if u["name"] in self.units), 15)
        # The module's watchdog sleeps until its first word: the campaigns begin when it is awake.
        if self.has_watchdog:
            wait_for("the watchdog to be fed", lambda: self.wire.of(WATCHDOG, True, self.began_at), 5)

    def bench_view(self):
        return self.http.get("/api/v1/bench")

    def all_off_after(self, began, bound):
        """Seconds from `began` until no unit has power; fails when that is later than `bound`."""
        wait_for(f"no unit to have power within {bound:.1f} s", lambda: not self.powered(), bound + 0.5 - (time.monotonic() - began))
        last = max(at for at, line in list(self.said.lines) if line.endswith("lost its power"))
        assert last - began <= bound, f"the last outlet opened after {last - began:.2f} s; at most {bound:.2f} s"
        return last - began

    def stays_off(self, seconds, since):
        """Nothing comes on, and nobody even orders it, for so long."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            time.sleep(0.05)
            assert not self.powered(), f"{self.powered()} came on by itself"
            ordered = [write for write in self.wire.writes if write.at > since and write.on and write.coil != WATCHDOG]
            assert not ordered, f"the daemon ordered a contact closed by itself: {ordered}"

    def waits_for_a_person(self):
        """Each run is the one it was, was taken up, shows its gap and waits."""
        def waiting():
            runs = {u["name"]: u["run"] for u in self.bench_view()["units"] if u["name"] in self.units}
            return runs if all(r and r["power"] in ("lost", "bench_open") and r["interruptions"] and r["interruptions"][-1]["to_s"] is None for r in runs.values()) else None
        return wait_for("the runs to wait, with their gap shown", waiting, 15)

    def rows(self):
        """How many rows are on the disk, by table: what another program reads of the file."""
        with sqlite3.connect(f"file:{self.folder}/s.db?mode=ro", uri=True, timeout=5) as db:
            return {table: db.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in ("run", "reading_batch", "input", "event", "journal")}

    def check_store(self, before):
        with sqlite3.connect(f"file:{self.folder}/s.db?mode=ro", uri=True, timeout=5) as db:
            answer = db.execute("PRAGMA integrity_check").fetchone()[0]
            assert answer == "ok", answer
        now = self.rows()
        lost = {table: (count, now[table]) for table, count in before.items() if now[table] < count}
        assert not lost, f"rows that were on the disk are gone: {lost}"


class Figures:
    """Numbers of one campaign, printed and written beside its files."""

    def __init__(self, name):
        self.name, self.series, self.counts, self.claims = name, {}, {}, {}

    def add(self, what, seconds):
        self.series.setdefault(what, []).append(seconds)

    def count(self, what, by=1):
        self.counts[what] = self.counts.get(what, 0) + by

    def most(self, what, value):
        self.counts[what] = max(self.counts.get(what, 0), value)

    def held(self, *claims):
        """Said after the checks of one turn have passed: a campaign ends at the first that does not."""
        for claim in claims:
            self.claims[claim] = self.claims.get(claim, 0) + 1

    def write(self, folder):
        lines = [f"{self.name}: " + ", ".join(f"{count} {what}" for what, count in self.counts.items())]
        for what, seconds in self.series.items():
            ordered = sorted(seconds)
            lines.append(f"  {what}: {ordered[0]:.2f} to {ordered[-1]:.2f} s, median {ordered[len(ordered) // 2]:.2f} s, {len(ordered)} times")
        lines += [f"  {count} times: {claim}" for claim, count in self.claims.items()]
        print("\n".join(lines), flush=True)
        (pathlib.Path(folder) / "figures.json").write_text(json.dumps({"campaign": self.name, "counts": self.counts, "held": self.claims, "seconds": self.series}, indent=1))
