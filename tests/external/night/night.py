#!/usr/bin/python3
"""A whole night on the virtual bench, over real Modbus, with a real daemon, and then read again from what was stored.

The truth comes from the bench's own state file; what the daemon made of it comes from its API; and the same readings,
exported and replayed, must give the same findings, event by event.
"""
import json
import pathlib
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
import bench_process  # noqa: E402
import calm  # noqa: E402
from bench_process import demo_config, end, free_port, Http, named_options, Processes, wait_for  # noqa: E402

RATE = 480.0
NIGHT_SECONDS = 24 * 3600
# What the night's own faults may raise above a note. Everything else would be a false alarm.
GUILTY = {"brindlecombe35": "v3_cathode_mv", "fennimark120": "idle_left_mv"}


def start(processes, options, port, rate):
    folder, source = processes.folder, pathlib.Path(options.source)
    state = folder / "bench.json"
    pty = folder / "bench.pty"
    processes.start("bench", options.bench, "--night", source / "demo/nights/night.toml", "--rate", rate, "--port", 0, "--pty", pty, "--state", state)
    wait_for("the virtual bench", lambda: state.exists() and pty.exists() and truth(state), 10)
    (folder / "bench.toml").write_text(demo_config(source, folder, port, truth(state)["port"], clock_rate=rate, start='"at_once"'))
    processes.start("daemon", options.daemon, "--config", folder / "bench.toml")
    return state


def truth(state):
    try:
        return json.loads(state.read_text())
    except (OSError, json.JSONDecodeError):
        return None


def watch_until_the_end(http, rate):
    """Waits for the night to be over for every unit, and keeps what could be seen on the way."""
    seen_accelerated = False

    def is_over():
        nonlocal seen_accelerated
        bench = http.get("/api/v1/bench")
        seen_accelerated = seen_accelerated or bench["is_accelerated"]
        return all(u["run"] and u["run"]["state"] == "ended" for u in bench["units"]) and bench

    def poll():
        time.sleep(0.5)
        return is_over()

    bench = wait_for("the end of the night", poll, 1.6 * NIGHT_SECONDS / rate)
    assert seen_accelerated, "the demo says that its clock is fast"
    return bench


def replayed(options, folder, unit, run):
    csv, events = folder / f"{unit}.csv", folder / f"{unit}.jsonl"
    subprocess.run([options.command, "export", folder / "s.db", str(run), csv], check=True, timeout=60)
    source = pathlib.Path(options.source)
    began = time.monotonic()
    answer = subprocess.run([options.command, "replay", "--profile", source / f"config/profiles/{unit}.toml", "--plan", plan_file(folder, unit),
                             "--csv", csv, "--events", events], capture_output=True, text=True, timeout=120)
    assert answer.returncode in (0, 1), answer.stderr
    return [json.loads(line) for line in events.read_text().splitlines()], answer.stdout, time.monotonic() - began


def plan_file(folder, unit):
    import tomllib
    config = tomllib.loads((folder / "bench.toml").read_text())
    plan = next(u["plan"] for u in config["unit"] if u["name"] == unit)
    return pathlib.Path(config["daemon"]["plan_folder"]) / f"{plan}.toml"


def profile_points_are_named(options):
    import tomllib
    for unit, point in GUILTY.items():
        profile = tomllib.loads((pathlib.Path(options.source) / f"config/profiles/{unit}.toml").read_text())
        assert point in [p["name"] for p in profile["point"]], (unit, point)


def loud(findings):
    return [f for f in findings if f["state"] == "raised" and f["severity"] != "note"]


def check_units(bench, http, state):
    units = {u["name"]: u for u in bench["units"]}
    findings = {name: http.get(f"/api/v1/units/{name}/findings")["findings"] for name in units}
    real = {u["name"]: u for u in truth(state)["units"]}

    preamp = units["hollin-p4"] if "hollin-p4" in units else units["hollin_p4"]
    assert preamp["run"]["verdict"]["word"] == "pass", preamp["run"]["verdict"]
    assert loud(findings[preamp["name"]]) == [], loud(findings[preamp["name"]])

    tube = units["brindlecombe35"]
    assert tube["run"]["verdict"]["word"] == "fail" and tube["outlet"]["proof"] == "proven" and tube["outlet"]["is_interlocked"], tube["outlet"]
    assert not real["brindlecombe35"]["damaged"], real["brindlecombe35"]
    assert not real["brindlecombe35"]["powered"], "it stays off"
    trips = [f for f in findings["brindlecombe35"] if f["severity"] == "trip" and f["kind"] != "outlet"]
    assert trips and all(f["points"][0] == GUILTY["brindlecombe35"] for f in trips), trips

    drift = [f for f in loud(findings["fennimark120"]) if f["kind"] in ("drift", "imbalance")]
    assert drift and all(f["point"] == GUILTY["fennimark120"] for f in drift), loud(findings["fennimark120"])
    assert any("limit" in f["message"] and " in about " in f["message"] for f in drift), [f["message"] for f in drift]
    # Nobody is alarmed about anything but the two faults.
    for name, point in GUILTY.items():
        innocent = [f for f in loud(findings[name]) if point not in f["points"] and f["kind"] != "outlet"]
        assert innocent == [], innocent
    return findings


def whole_night(options, rate):
    with Processes(options.folder) as processes:
        port = free_port()
        http = Http(port)
        state = start(processes, options, port, rate)
        wait_for("the daemon", http.is_up, 15)
        bench = watch_until_the_end(http, rate)
        findings = check_units(bench, http, state)
        status, answer = http.post("/api/v1/units/brindlecombe35/start", {"who": "Ada", "at_the_bench": False})
        assert status == 409 and "interlock" in answer["error"], (status, answer)
        metrics = http.text("/metrics")
        for unit in bench["units"]:
            assert f'steadyglow_unit_info{{unit="{unit["name"]}"' in metrics
        daemon = processes.running[-1]
        assert end(daemon) == 0
        for unit in bench["units"]:
            again, said, seconds = replayed(options, processes.folder, unit["name"], unit["run"]["id"])
            live = findings[unit["name"]]
            assert again[: len(live)] == live, first_difference(live, again)
            # The recording went on for a little after the findings were asked for.
            assert all(f["time_s"] >= unit["run"]["time_s"] for f in again[len(live):]), again[len(live):]
            print(f"{unit['name']}: {len(live)} findings, the same live and replayed ({seconds:.2f} s); {said.strip().splitlines()[-1]}")


def played(options, slower):
    bench_process.patience = slower
    whole_night(options, RATE / slower)


def main():
    options = named_options("bench", "daemon", "command", "source", "folder")
    profile_points_are_named(options)
    calm.play(lambda slower: played(options, slower), "the night")
    return 0


def first_difference(live, again):
    for index, (a, b) in enumerate(zip(live, again)):
        if a != b:
            return f"event {index}: live {a}\nreplayed {b}"
    return f"{len(live)} events live, {len(again)} replayed; first extra: {(live + again)[min(len(live), len(again))]}"


if __name__ == "__main__":
    sys.exit(main())
