#!/usr/bin/python3
"""What programs of the Prometheus project make of /metrics.

check.py promtool SERVED_BENCH           `promtool check metrics` finds nothing to say
check.py scrape SERVED_BENCH FOLDER      a real Prometheus scrapes it, with and without a password, and holds what was served

FOLDER is made anew and takes the database. Every wait is bounded; all that was started is ended by its handle.
"""
import base64
import contextlib
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.parse
import urllib.request

WAIT_SECONDS = 20.0
PASSWORD = "a word for the test"
# Surroundings may name a proxy; loopback needs none.
OPENER = urllib.request.build_opener(urllib.request.ProxyHandler({}))
SAMPLE = re.compile(r'^([a-z_:][a-z0-9_:]*)(?:\{(.*)\})? (\S+)$')
LABEL = re.compile(r'([a-z_]+)="((?:[^"\\]|\\.)*)"')
# What moves between the scrape that is compared and our own reading.
MOVING = re.compile(r"^(process_|steadyglow_http_|steadyglow_stream_)")


def get(url, password=None):
    request = urllib.request.Request(url)
    if password:
        request.add_header("Authorization", "Basic " + base64.b64encode(f":{password}".encode()).decode())
    with OPENER.open(request, timeout=5) as answer:
        return answer.read().decode()


@contextlib.contextmanager
def running(command, **kinds):
    process = subprocess.Popen(command, **kinds)
    try:
        yield process
    finally:
        if process.stdin:
            process.stdin.close()
        process.terminate()
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


@contextlib.contextmanager
def served(program, *words):
    with running([program, *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        yield process, int(process.stdout.readline())


def wait_for(what, claim):
    """Until claim() is true; it may fail meanwhile."""
    end = time.monotonic() + WAIT_SECONDS
    while time.monotonic() < end:
        try:
            found = claim()
        except OSError:
            found = None
        if found:
            print(f"ok: {what}")
            return
        time.sleep(0.1)
    sys.exit(f"not within {WAIT_SECONDS:.0f} s: {what}")


def expect(what, is_so, detail=""):
    if not is_so:
        sys.exit(f"FAILED: {what} {detail}")
    print(f"ok: {what}")


def samples(text):
    """{(name, labels): value} of a text page."""
    found = {}
    for line in text.splitlines():
        if line.startswith("#"):
            continue
        name, labels, value = SAMPLE.match(line).groups()
        pairs = tuple(sorted((key, re.sub(r"\\(.)", lambda m: {"n": "\n"}.get(m[1], m[1]), raw)) for key, raw in LABEL.findall(labels or "")))
        # An empty label is no label to Prometheus (its data model says so).
        found[name, tuple(pair for pair in pairs if pair[1])] = float(value)
    return found


def promtool(program):
    with served(program) as (_, port):
        text = get(f"http://127.0.0.1:{port}/metrics")
    done = subprocess.run(["promtool", "check", "metrics"], input=text, capture_output=True, text=True, timeout=WAIT_SECONDS, check=False)
    expect(f"promtool has nothing to say of {len(samples(text))} samples", done.returncode == 0 and not done.stdout + done.stderr, done.stdout + done.stderr)
    planted = subprocess.run(["promtool", "check", "metrics"], input="# TYPE a_total gauge\na_total 1\n", capture_output=True, text=True, timeout=WAIT_SECONDS, check=False)
    expect("promtool does find a planted fault", planted.returncode != 0)


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


CONFIG = """
global:
  scrape_interval: 1s
scrape_configs:
  - job_name: bench
    static_configs: [{{targets: ["127.0.0.1:{open}"]}}]
  - job_name: bench_with_password
    basic_auth: {{username: prometheus, password_file: password}}
    static_configs: [{{targets: ["127.0.0.1:{guarded}"]}}]
"""


class Prometheus:
    def __init__(self, port):
        self.base = f"http://127.0.0.1:{port}/api/v1/"

    def targets(self):
        return {t["labels"]["job"]: t["health"] for t in json.loads(get(self.base + "targets"))["data"]["activeTargets"]}

    def query(self, expression):
        """{(name, labels without job and instance): value}"""
        answer = json.loads(get(self.base + "query?" + urllib.parse.urlencode({"query": expression})))
        found = {}
        for series in answer["data"]["result"]:
            labels = series["metric"]
            name = labels.pop("__name__", "")
            pairs = tuple(sorted((key, value) for key, value in labels.items() if key not in ("job", "instance")))
            found[name, pairs] = float(series["value"][1])
        return found


def scrape(program, folder):
    shutil.rmtree(folder, ignore_errors=True)
    os.makedirs(folder)
    with served(program) as (bench, port), served(program, PASSWORD) as (_, guarded):
        with open(os.path.join(folder, "password"), "w", encoding="utf-8") as file:
            file.write(PASSWORD)
        config = os.path.join(folder, "prometheus.yml")
        with open(config, "w", encoding="utf-8") as file:
            file.write(CONFIG.format(open=port, guarded=guarded))
        web = free_port()
        command = ["prometheus", "--config.file", config, "--storage.tsdb.path", os.path.join(folder, "data"), "--web.listen-address", f"127.0.0.1:{web}"]
        with open(os.path.join(folder, "log"), "w", encoding="utf-8") as log, running(command, stdout=log, stderr=log):
            follow(Prometheus(web), bench, port)


def follow(prometheus, bench, port):
    wait_for("the target is up, and so is the one behind a password", lambda: prometheus.targets() == {"bench": "up", "bench_with_password": "up"})
    page = {key: value for key, value in samples(get(f"http://127.0.0.1:{port}/metrics")).items() if not MOVING.match(key[0])}
    held = prometheus.query('{job="bench",__name__=~"steadyglow_.+"}')
    held = {key: value for key, value in held.items() if not MOVING.match(key[0])}
    expect(f"Prometheus holds all {len(page)} series, value for value", held == page, f"{set(held.items()) ^ set(page.items())}")
    expect("the figure that a technician would look up is right", prometheus.query('steadyglow_point_volts{job="bench",point="v1_cathode_mv"}').popitem()[1] == 0.4376)
    joined = prometheus.query('steadyglow_point_celsius{job="bench"} * on (job, unit) group_left (serial) steadyglow_unit_info')
    expect("a reading can be joined with its unit's serial number", any(("serial", "B35-0117") in labels for _, labels in joined), joined)

    expect("a lost point has no series from the start", not prometheus.query('steadyglow_point_volts{point="v2_cathode_mv"}'))
    bench.stdin.write("lose heatsink_celsius\n")
    bench.stdin.flush()
    celsius = 'steadyglow_point_celsius{job="bench"}'
    wait_for("a reading that is lost ends its series at the next scrape", lambda: not prometheus.query(celsius))


if __name__ == "__main__":
    if sys.argv[1] == "promtool":
        promtool(sys.argv[2])
    else:
        scrape(sys.argv[2], sys.argv[3])
