#!/usr/bin/python3
"""The daemon as its user meets it: bad files, a second daemon, a reload, a crash. Meters: none answers, on purpose."""
import pathlib
import signal
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from bench_process import end, free_port, Http, named_options, Processes, SHORT_PLAN, wait_for, write_files  # noqa: E402

INSTRUMENT = """[instrument]
title = "Module"
protocol = "modbus"
[[channel]]
name = "ch1"
table = "input"
address = 0
type = "int16"
scale = 0.001
quantity = "voltage"
uom = "V"
"""
PROFILE = """[profile]
kind = "line-preamp"
[[point]]
name = "rail_plus"
quantity = "voltage"
uom = "V"
role = "supply"
nominal = 15.0
warn = { low = 14.0, high = 16.0 }
"""
CONFIG = """[daemon]
store = "steadyglow.db"
listen = "127.0.0.1:{page}"
[[bus]]
name = "tcp"
driver = "modbus_tcp"
host = "127.0.0.1"
port = {modbus}
timeout_seconds = 0.1
[[bus.meter]]
name = "analog"
instrument = "module"
address = 1
poll_seconds = 0.2
[[unit]]
name = "hollin"
title = "Hollin P4"
profile = "preamp"
plan = "short"
[[unit.point]]
name = "rail_plus"
channel = "analog.ch1"
"""


def run(*command, **options):
    return subprocess.run([str(c) for c in command], capture_output=True, text=True, timeout=30, **options)


def bad_files_are_refused_all_at_once(daemon, command, folder, config):
    bad = folder / "bad.toml"
    bad.write_text(config.replace("poll_seconds = 0.2", 'poll_secnds = 0.2').replace('port = ', 'port = "x" #', 1).replace('profile = "preamp"', 'profile = "preampp"'))
    for program in ((daemon, "--config", bad), (command, "check", bad)):
        answer = run(*program)
        assert answer.returncode == 78, (program, answer.returncode, answer.stderr)
        for wanted in ("bad.toml:8:8: error: `port` must be a whole number", "bad.toml:14:1: error: unknown key `poll_secnds` hint: did you mean `poll_seconds`?", "profile `preampp` cannot be read"):
            assert wanted in answer.stderr, (wanted, answer.stderr)
    missing = run(daemon, "--config", folder / "nowhere.toml")
    assert missing.returncode == 78 and "No such file" in missing.stderr, missing.stderr
    assert run(command, "check", folder / "bench.toml").returncode == 0
    assert run(command, "status", "--port", str(free_port())).returncode == 69
    assert run(command, "frobnicate").returncode == 64


def a_second_daemon_is_refused(daemon, folder):
    began = time.monotonic()
    second = run(daemon, "--config", folder / "bench.toml")
    assert second.returncode == 69 and "one store has one daemon" in second.stderr, second.stderr
    return time.monotonic() - began


def a_bad_reload_changes_nothing(process, processes, folder, config, http):
    (folder / "bench.toml").write_text(config.replace('uom = "V"', "").replace("[daemon]", "[deamon]"))
    process.send_signal(signal.SIGHUP)
    wait_for("the complaint of the reload", lambda: "the configuration in force stays" in processes.log("daemon"), 5)
    assert "bench.toml:1:" in processes.log("daemon")
    assert http.unit("hollin")["title"] == "Hollin P4"
    (folder / "bench.toml").write_text(config)


def a_crash_loses_nothing_and_shows_the_gap(process, processes, daemon, command, folder, http):
    status, answer = http.post("/api/v1/units/hollin/start", {"who": "Ada", "at_the_bench": True})
    assert status == 200, answer
    run_id = answer["unit"]["run"]["id"]
    wait_for("three seconds of run", lambda: http.unit("hollin")["run"]["time_s"] >= 3, 10)
    end(process, signal.SIGKILL)
    time.sleep(1.0)
    processes.start("daemon2", daemon, "--config", folder / "bench.toml")
    wait_for("the daemon's return", http.is_up, 10)
    back = http.unit("hollin")["run"]
    assert back["id"] == run_id and back["state"] == "running", back
    assert back["time_s"] >= 4, "run time went on while nobody was there"
    assert "was not running for" in processes.log("daemon2"), processes.log("daemon2")
    exported = folder / "run.csv"
    assert run(command, "export", folder / "steadyglow.db", run_id, exported).returncode == 0
    rows = exported.read_text().splitlines()
    assert rows[0] == "time_s,rail_plus" and len(rows) > 5 and rows[1].endswith(",no_answer"), rows[:3]


def main():
    options = named_options("daemon", "command", "folder")
    with Processes(options.folder) as processes:
        folder = processes.folder
        write_files(folder, {"instruments/module.toml": INSTRUMENT, "profiles/preamp.toml": PROFILE, "plans/short.toml": SHORT_PLAN})
        page = free_port()
        config = CONFIG.format(page=page, modbus=free_port())
        (folder / "bench.toml").write_text(config)
        bad_files_are_refused_all_at_once(options.daemon, options.command, folder, config)
        http = Http(page)
        process = processes.start("daemon", options.daemon, "--config", folder / "bench.toml")
        wait_for("the daemon", http.is_up, 10)
        seconds = a_second_daemon_is_refused(options.daemon, folder)
        a_bad_reload_changes_nothing(process, processes, folder, config, http)
        a_crash_loses_nothing_and_shows_the_gap(process, processes, options.daemon, options.command, folder, http)
        print(f"second daemon refused in {seconds:.2f} s")
        last = processes.running[-1]
        assert end(last) == 0, "a clean stop exits 0"
    return 0


if __name__ == "__main__":
    sys.exit(main())
