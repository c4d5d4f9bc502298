#!/usr/bin/python3
"""The daemon is killed, or stands still, while units are powered: the relay module's watchdog opens the outlets by itself, the
store stays whole, the run is taken up again with its gap shown, and nothing comes on before a person says so.

watchdog.py --bench P --daemon P --source DIR --folder DIR [--times N] [--prove]
Virtual bench and daemon in real time. --prove plants the bug that the watchdog is not wired: the campaign must fail."""
import argparse
import json
import pathlib
import random
import re
import signal
import sqlite3
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "support"))
from bench_process import end, free_port, Http, Processes, wait_for, with_values  # noqa: E402

WATCHDOG_S = 2.0
SLACK_S = 0.5
UNIT = "hollin_p4"


def options_of():
    parser = argparse.ArgumentParser()
    for name in ("bench", "daemon", "source", "folder"):
        parser.add_argument(f"--{name}", required=True)
    parser.add_argument("--times", type=int, default=4)
    parser.add_argument("--prove", action="store_true")
    return parser.parse_args()


class Campaign:
    def __init__(self, options, processes):
        self.options, self.processes, self.folder = options, processes, processes.folder
        source = pathlib.Path(options.source).resolve()
        night = (source / "demo/nights/healthy.toml").read_text().replace("contactor = true", f"contactor = true\nwatchdog_seconds = {WATCHDOG_S}")
        (self.folder / "night.toml").write_text(night)
        self.state_file = self.folder / "bench.json"
        processes.start("bench", options.bench, "--night", self.folder / "night.toml", "--port", 0, "--pty", self.folder / "bench.pty", "--rate", 1, "--state", self.state_file)
        said = wait_for("the bench", lambda: re.search(r"^port (\d+)$", processes.log("bench"), re.M), 10)
        self.port = free_port()
        config = with_values((source / "demo/steadyglow.toml").read_text(), [
            ("store", f'"{self.folder}/s.db"'), ("listen", f'"127.0.0.1:{self.port}"'), ("instrument_folder", f'"{source}/config/instruments"'), ("profile_folder", f'"{source}/config/profiles"'),
            ("plan_folder", f'"{source}/config/plans"'), ("clock_rate", "1.0"), ("port", said.group(1)), ("device", f'"{self.folder}/bench.pty"'), ("poll_seconds", "0.3"),
            ("program", f'["{source}/demo/letterbox"]'), ("every_seconds", "0.5"), ("drops_after_seconds", str(WATCHDOG_S))])
        config = config.replace('start = "at_once"', 'start = "by_person"')
        if options.prove:
            config = re.sub(r"\[bench\.watchdog\]\n(?:\w+ = .*\n)+", "", config)
        (self.folder / "bench.toml").write_text(config)
        self.http = Http(self.port)
        self.start()

    def start(self):
        self.daemon = self.processes.start("daemon", self.options.daemon, "--config", self.folder / "bench.toml")
        wait_for("the daemon", self.http.is_up, 15)

    def truth(self):
        return next(u for u in json.loads(self.state_file.read_text())["units"] if u["name"] == UNIT)

    def post(self, path, body):
        status, answer = self.http.post(path, {"who": "Ada"} | body)
        assert status == 200, (path, status, answer)

    def drawing(self):
        wait_for("the unit to draw power", lambda: self.truth()["powered"], 10)
        wait_for("the daemon to see it", lambda: self.http.unit(UNIT)["outlet"]["state"] == "on", 10)

    def off_after(self, began):
        wait_for(f"the watchdog to open the outlet within {WATCHDOG_S} s", lambda: not self.truth()["powered"], WATCHDOG_S + SLACK_S + 0.6)
        return time.monotonic() - began

    def whole(self):
        db = sqlite3.connect(f"file:{self.folder}/s.db?mode=ro", uri=True)
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        return db.execute("SELECT count(*) FROM reading_batch").fetchone()[0]

    def stays_off(self):
        """Taken up again, its gap shown; off until a person says so."""
        run = wait_for("the run to wait", lambda: (r := self.http.unit(UNIT)["run"])["power"] == "lost" and r, 10)
        assert run["interruptions"] and run["interruptions"][-1]["to_s"] is None, run["interruptions"]
        for _ in range(8):
            assert not self.truth()["powered"], "nothing comes on by itself"
            time.sleep(0.1)

    def killed(self):
        self.drawing()
        time.sleep(random.uniform(0.1, 1.0))
        rows = self.whole()
        end(self.daemon, signal.SIGKILL)
        seconds = self.off_after(time.monotonic())
        self.start()
        self.stays_off()
        assert self.whole() >= rows, "rows that were on the disk are gone"
        self.go_on()
        return seconds

    def stopped(self):
        """The whole process stands still, and then goes on as if nothing had been."""
        self.drawing()
        self.daemon.send_signal(signal.SIGSTOP)
        try:
            seconds = self.off_after(time.monotonic())
            time.sleep(0.5)
        finally:
            self.daemon.send_signal(signal.SIGCONT)
        self.stays_off()
        self.go_on()
        return seconds

    def go_on(self):
        bench = self.http.get("/api/v1/bench")["benches"][0]
        if bench["contactor"]["state"] != "closed" or not self.options.prove:
            self.post(f"/api/v1/benches/{bench['name'].replace(' ', '%20')}/close", {"at_the_bench": True})
        self.post(f"/api/v1/units/{UNIT}/acts", {"kind": "go_on"})


def main():
    options = options_of()
    try:
        with Processes(options.folder) as processes:
            campaign = Campaign(options, processes)
            campaign.post(f"/api/v1/units/{UNIT}/start", {"at_the_bench": True})
            for what in (campaign.killed, campaign.stopped):
                times = [what() for _ in range(options.times)]
                print(f"{what.__name__} while powered, {options.times} times: outlet open after {min(times):.2f} to {max(times):.2f} s (watchdog {WATCHDOG_S} s), store whole, off until a person said so", flush=True)
    except AssertionError as failure:
        if not options.prove:
            raise
        print(f"without its watchdog the campaign fails, as it must: {failure}")
        return 0
    assert not options.prove, "the campaign did not notice that there is no watchdog"
    return 0


if __name__ == "__main__":
    sys.exit(main())
