#!/usr/bin/python3
"""From "not ready" to "left unattended" on the virtual bench, line by line: every red line is mended as its owner would."""
import json
import pathlib
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from bench_process import begin_demo, Http, named_options, Processes, wait_for  # noqa: E402

RATE = 240.0
UNIT = "hollin_p4"
BENCH = "/api/v1/benches/bench%201"


def begin(options, processes):
    folder = processes.folder
    port = begin_demo(options, processes, RATE)
    processes.start("daemon", options.daemon, "--config", folder / "bench.toml")
    http = Http(port)
    wait_for("the daemon", http.is_up, 15)
    return http, folder / "bench.json", port


def main():
    options = named_options("bench", "daemon", "command", "source", "folder")
    with Processes(options.folder) as processes:
        http, state, port = begin(options, processes)

        def post(path, expected=200, **body):
            status, answer = http.post(path, {"who": "Ada"} | body)
            assert status == expected, (path, status, answer)
            return answer

        def red(who="Ada"):
            ready = http.get(f"/api/v1/units/{UNIT}/ready?who={who}")
            return {item["key"]: item["reason"] for item in ready["items"] if item["state"] == "no"}

        def powered():
            return next(u for u in json.loads(state.read_text())["units"] if u["name"] == UNIT)["powered"]

        refused = post(f"/api/v1/units/{UNIT}/start", 409, at_the_bench=True, policy={"is_unattended": True})
        assert "not ready" in refused["error"] and "rehearsal" in refused["error"], refused
        assert not powered(), "a refusal energises nothing"
        post(f"{BENCH}/rehearse", 409, unit=UNIT)  # nothing runs: nothing could be proven
        post(f"/api/v1/units/{UNIT}/start", at_the_bench=True)
        wait_for("power", powered, 10)
        wait_for("points", lambda: "points_alive" not in red(), 20)
        print("at the start red:", ", ".join(sorted(red())), flush=True)

        post(f"/api/v1/units/{UNIT}/facts", kind="safety_test", text="earth 0.09 ohm, insulation above 50 Mohm")
        post(f"/api/v1/units/{UNIT}/facts", kind="limits_reviewed", text="service sheet p. 4")
        post(f"/api/v1/units/{UNIT}/facts", 409, kind="horoscope", text="fine")
        cautions = http.get("/api/v1/cautions")["cautions"]
        post(f"{BENCH}/cautions", accepted=[c["key"] for c in cautions[:-1]])
        assert "cautions" in red(), "one is missing"
        post(f"{BENCH}/cautions", accepted=[c["key"] for c in cautions])
        assert "cautions" not in red() and "cautions" in red("Ben"), "accepted by name"
        post("/api/v1/notify/test")
        wait_for("the test message", lambda: "notify_test" not in red(), 10)

        post(f"{BENCH}/rehearse", unit=UNIT)
        seen_off = wait_for("the relay to open", lambda: not powered(), 10)
        assert seen_off
        rehearsal = wait_for("the rehearsal", lambda: (r := http.get("/api/v1/bench")["benches"][0]["rehearsal"])["state"] in ("passed", "failed") and r, 60)
        assert rehearsal["state"] == "passed", rehearsal
        assert "bench contactor opened: no current" in rehearsal["text"], rehearsal
        print("rehearsal:", rehearsal["text"], flush=True)
        wait_for("power again", powered, 10)

        assert "attended_first" in red(), "an hour with somebody near it is wanted first"
        post(f"/api/v1/units/{UNIT}/leave", 409, policy={})
        try:
            wait_for("an attended hour", lambda: red() == {}, 3600 / RATE + 30)
        except AssertionError as late:
            raise AssertionError(f"{late}; red: {red()}") from late
        print("every line is yes", flush=True)
        done = subprocess.run([options.command, "leave", UNIT, "--who", "Ada", "--back-at", "08:00", "--staged-restart", "--port", str(port)], capture_output=True, text=True, timeout=20)
        assert done.returncode == 0, done.stdout + done.stderr
        run = http.unit(UNIT)["run"]
        assert run["is_unattended"] and run["policy"]["set_by"] == "Ada" and run["policy"]["after_mains"] == "staged" and run["policy"]["on_forecast"] == "cut", run["policy"]
        # From afar: off at once, and nothing on.
        post(f"{BENCH}/cut", why="I smell something")
        wait_for("off", lambda: not powered(), 10)
        assert http.unit(UNIT)["run"]["power"] == "bench_open"
        post(f"/api/v1/units/{UNIT}/acts", 409, kind="go_on")
        time.sleep(0.5)
        assert not powered(), "behind an open contactor nothing comes on"
        post(f"{BENCH}/close", 409, at_the_bench=False)
        kept = subprocess.run(["sqlite3", "-readonly", processes.folder / "s.db", "SELECT kind, count(*) FROM journal GROUP BY kind"], capture_output=True, text=True, timeout=20)
        for kind in ("cautions", "notify_test", "ready", "rehearsal", "unit_fact"):
            assert kind in kept.stdout, (kind, kept.stdout, kept.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
