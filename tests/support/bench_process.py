"""Starts the virtual bench and the daemon on free loopback ports, and ends just what it started."""
import argparse
import json
import os
import pathlib
import re
import shutil
import signal
import socket
import subprocess
import time
import urllib.error
import urllib.request


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


patience = 1.0  # of wait_for: more where a night is played slower than it was written for


def wait_for(what, condition, seconds):
    """Polls until condition() is true; its last answer comes back. Fails with `what` after so many seconds, times `patience`."""
    end = time.monotonic() + seconds * patience
    while time.monotonic() < end:
        answer = condition()
        if answer:
            return answer
        time.sleep(0.05)
    raise AssertionError(f"not within {seconds} s: {what}")


class Processes:
    """A context: every process started in it is ended at its end, by its id."""

    def __init__(self, folder):
        self.folder = pathlib.Path(folder).resolve()
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir(parents=True)
        self.running = []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        for process in reversed(self.running):
            end(process)

    def start(self, name, *command):
        log = open(self.folder / f"{name}.log", "ab")
        process = subprocess.Popen([str(c) for c in command], stdout=log, stderr=subprocess.STDOUT)
        log.close()
        self.running.append(process)
        return process

    def log(self, name):
        return (self.folder / f"{name}.log").read_text(errors="replace")


def end(process, how=signal.SIGTERM, seconds=20):
    if process.poll() is None:
        process.send_signal(how)
        try:
            process.wait(seconds)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
    return process.returncode


class Http:
    def __init__(self, port):
        self.base = f"http://127.0.0.1:{port}"

    def text(self, path):
        with urllib.request.urlopen(self.base + path, timeout=10) as answer:
            return answer.read().decode()

    def get(self, path):
        return json.loads(self.text(path))

    def post(self, path, body):
        request = urllib.request.Request(self.base + path, json.dumps(body).encode(), {"Content-Type": "application/json"})
        try:
            with urllib.request.urlopen(request, timeout=10) as answer:
                return answer.status, json.loads(answer.read())
        except urllib.error.HTTPError as error:
            return error.code, json.loads(error.read() or b"{}")

    def is_up(self):
        try:
            self.text("/api/v1/bench")
            return True
        except (OSError, urllib.error.URLError):
            return False

    def unit(self, name):
        return next(u for u in self.get("/api/v1/bench")["units"] if u["name"] == name)


SHORT_PLAN = """[plan]
title = "short"
[[stage]]
kind = "baseline"
minutes = 30
[[stage]]
kind = "idle_soak"
minutes = 60
"""


def write_files(folder, files):
    """Writes each name -> text below the folder, and makes the folders that it takes."""
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)


def named_options(*names):
    """The values of --NAME, each of which must be given."""
    parser = argparse.ArgumentParser()
    for name in names:
        parser.add_argument(f"--{name}", required=True)
    return parser.parse_args()


def with_values(text, values):
    """Replaces the value of every `key = ...` line of a TOML text, for each (key, value)."""
    for key, value in values:
        text, count = re.subn(rf"(?m)^{re.escape(key)}\s*=.*$", f"{key} = {value}", text)
        assert count, f"no line for {key}"
    return text


def demo_config(source, folder, page_port, bench_port, **more):
    """The configuration of the demo for `folder`: everything it names lies there or in `source`, and no unit starts without a person.
    `more`: values of other keys, or other values, as TOML."""
    source = pathlib.Path(source).resolve()
    values = {"store": f'"{folder}/s.db"', "listen": f'"127.0.0.1:{page_port}"', "instrument_folder": f'"{source}/config/instruments"', "profile_folder": f'"{source}/config/profiles"',
              "plan_folder": f'"{source}/demo/plans"', "port": bench_port, "device": f'"{folder}/bench.pty"', "program": f'["{source}/demo/letterbox"]', "start": '"by_person"'}
    return with_values((source / "demo/steadyglow.toml").read_text(), (values | more).items())


def begin_demo(options, processes, rate):
    """Starts the virtual bench with its night of health; what it has done stands in bench.json. The port of the page that bench.toml gives."""
    source, folder = pathlib.Path(options.source).resolve(), processes.folder
    os.environ["STEADYGLOW_LETTERBOX"] = str(folder / "letters")
    processes.start("bench", options.bench, "--night", source / "demo/nights/healthy.toml", "--port", 0, "--pty", folder / "bench.pty", "--rate", rate, "--state", folder / "bench.json")
    said = wait_for("the bench", lambda: re.search(r"^port (\d+)$", processes.log("bench"), re.M), 10)
    port = free_port()
    (folder / "bench.toml").write_text(demo_config(source, folder, port, said.group(1), clock_rate=rate))
    return port
