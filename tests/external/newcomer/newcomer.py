#!/usr/bin/python3
"""A newcomer's path: from a module that nobody has described to its values on the page, from an empty folder, using only what the tool prints.

newcomer.py --daemon D --command C --folder F --chromedriver X
Each step takes what it needs from the words that were printed before. What a person adds: which port the module is at, what its display shows (6.31 V and
24.6 degrees), and which of the printed lines they copy. A person reads and types besides: this clock is the machine's share of the five minutes.
"""
import pathlib
import re
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "browser"))
from bench_process import end, free_port, Http, named_options, Processes, wait_for  # noqa: E402
from webdriver import Browser  # noqa: E402

DISPLAY = [("6.31", "voltage", "V"), ("24.6", "temperature", "Cel")]
MACHINE_SECONDS_MAX = 60.0  # of the five minutes; the rest is a person's


class Walk:
    def __init__(self, options, folder):
        self.command, self.folder, self.began = options.command, folder, time.monotonic()

    def step(self, what):
        print(f"{time.monotonic() - self.began:6.1f} s  {what}", flush=True)

    def run(self, *words, may_fail=False):
        done = subprocess.run([self.command, *map(str, words)], cwd=self.folder, capture_output=True, text=True, timeout=120)
        assert may_fail or done.returncode == 0, f"{words}: {done.returncode}\n{done.stdout}{done.stderr}"
        return done.stdout + done.stderr


def first_channel(printed):
    """The likeliest of the printed [[channel]]s: the first."""
    return re.search(r"^\[\[channel\]\]\n(?:.+\n?)+", printed, re.M).group(0) + "\n"


def walk(options, folder, module_port):
    here = Walk(options, folder)
    place = f"127.0.0.1:{module_port}"
    assert "new-bench" in here.run("--help"), "the help names the word to begin with"
    said = here.run("new-bench", "bench", may_fail=True)
    for word in ("steadyglow devices", "steadyglow scan --tcp", "--expect", "channels.toml"):
        assert word in said, said
    here.step("the tool says how to begin")

    said = here.run("scan", "--tcp", place, "--last", 16)
    address = re.search(r"address\s+(\d+)\s+answers", said).group(1)
    here.step(f"address {address} answers")

    channels, table = [], None
    for figure, quantity, uom in DISPLAY:
        for table in [table] if table else ["holding", "input"]:
            said = here.run("scan", "--tcp", place, "--address", address, "--table", table, "--expect", figure, "--quantity", quantity, "--uom", uom, may_fail=True)
            if "[[channel]]" in said:
                break
        channels.append(first_channel(said))
        here.step(f"there: {figure} in the {table} registers")
    (folder / "channels.toml").write_text("".join(channels))

    listen = f"127.0.0.1:{free_port()}"
    said = here.run("new-bench", "bench", "--tcp", place, "--address", address, "--channels", "channels.toml", "--listen", listen)
    config = re.search(r"steadyglow check (\S+)", said).group(1)
    page = re.search(r"http://\S+", said).group(0)
    here.step("a first configuration is written")
    assert "good" in here.run("check", config)
    assert "answered 3 of 3" in here.run("probe", config)
    assert "it is there already" in here.run("new-bench", "bench", "--tcp", place, "--channels", "channels.toml", may_fail=True), "what a person wrote stays"
    here.step("checked, and read once by the command line")
    return here, folder / config, page


def begin_module(modules):
    """An unknown module, and the port that it is at."""
    module = subprocess.Popen([sys.executable, str(pathlib.Path(__file__).with_name("unknown_module.py"))], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    modules.append(module)
    return module, int(module.stdout.readline().split()[1])


def the_daemon_looks_itself(here, http, other_port):
    """At a second module of the same kind: the first one's place is a bus of the daemon now."""
    window = {"who": "Ada", "kind": "registers", "host": "127.0.0.1", "address": 7, "table": "input", "from": 0, "count": 20}
    status, answer = http.post("/api/v1/wiring/look", window | {"port": int(here.place.split(":")[1])})
    assert status == 409 and "belongs to bus `found`" in str(answer), answer
    status, answer = http.post("/api/v1/wiring/look", window | {"port": other_port})
    assert status == 200, answer
    found = wait_for("the window by the daemon", lambda: http.get("/api/v1/wiring/search?expect=6.31")["matches"], 10)
    assert found[0]["way"]["address"] == 12 and 'word_order = "CDAB"' in found[0]["lines"], found[0]
    here.step("the daemon's own search finds the same register")


def values_on_the_page(here, options, processes, config, page, module, other_port):
    daemon = processes.start("daemon", options.daemon, "--config", config)
    http = Http(int(page.split(":")[2].split("/")[0]))
    wait_for("the daemon", http.is_up, 15)
    with Browser(processes.folder / "browser", options.chromedriver) as browser:
        browser.go(page)
        seen = lambda: browser.script("return [...document.querySelectorAll('.points tbody tr td:nth-child(2) strong')].map((e) => e.innerText)")  # noqa: E731
        browser.wait("both values", lambda: len(seen()) == 2 and all(re.match(r"[\d.]+\s", text) for text in seen()), 15)
        assert seen() == ["6.31\u202fV", "24.6\u202f°C"], seen()
        here.step(f"on the page: {', '.join(seen())}")
        here.took = time.monotonic() - here.began
        browser.shoot(processes.folder / "first-values.png")
    unit = http.unit("new-unit")
    assert unit["outlet"]["state"] in ("unknown", "off") and all(point["trip_high"] is None for point in unit["points"]), "nothing is switched and nothing judged"
    the_daemon_looks_itself(here, http, other_port)
    assert http.post("/api/v1/wiring/look", {"who": "Ada", "kind": "addresses", "host": "192.0.2.1"})[0] == 409
    assert http.post("/api/v1/wiring/stop", {"who": "Ada"})[0] == 200
    a_touched_clip_is_named_and_ticked(here, http, module)
    end(daemon)
    processes.start("daemon_again", options.daemon, "--config", config)
    wait_for("the daemon again", http.is_up, 15)
    ticked = {clip["point"]: clip["ticked"] for clip in http.get("/api/v1/units/new-unit/clips")["clips"]}
    assert ticked["r16"]["who"] == "Ada" and ticked["r16"]["is_seen"] and ticked["r12"] is None, ticked
    here.step("the tick is in the journal: it stands after a restart")


def a_touched_clip_is_named_and_ticked(here, http, module):
    def states():
        return {point["point"]: point["state"] for point in http.get("/api/v1/units/new-unit/wiggle")["points"]}
    wait_for("both traces are known and still", lambda: states() == {"r12": "quiet", "r16": "quiet"}, 30)
    module.stdin.write("set 16 320\n")
    module.stdin.flush()
    told = wait_for("the one that moved", lambda: (now := http.get("/api/v1/units/new-unit/wiggle"))["mover"] and now, 6)
    assert told["mover"] == "r16" and abs(told["points"][1]["moved_by"] - 7.4) < 0.01, told
    status, list_ = http.post("/api/v1/units/new-unit/touched", {"who": "Ada", "point": "r16", "text": "warmed with a finger"})
    assert status == 200 and list_["clips"][1]["ticked"]["is_seen"], list_
    assert http.post("/api/v1/units/new-unit/touched", {"who": "Ada", "point": "nothing"})[0] == 404
    alive = next(item for item in http.get("/api/v1/units/new-unit/ready?who=Ada")["items"] if item["key"] == "points_alive")
    assert alive["state"] == "no", "a tick is no protective point"
    here.step("a touch: the trace that moved is named, and ticked off")


def main():
    options = named_options("daemon", "command", "folder", "chromedriver")
    options.command = str(pathlib.Path(options.command).resolve())
    modules = []
    try:
        module, port = begin_module(modules)
        _, other_port = begin_module(modules)
        with Processes(options.folder) as processes:
            empty = processes.folder / "empty"
            empty.mkdir()
            here, config, page = walk(options, empty, port)
            here.place = f"127.0.0.1:{port}"
            values_on_the_page(here, options, processes, config, page, module, other_port)
    finally:
        for module in modules:
            module.stdin.close()
            module.wait(10)
    assert here.took < MACHINE_SECONDS_MAX, f"{here.took:.1f} s"
    print(f"from an empty folder to the values on the page: {here.took:.1f} s of the machine's time")


if __name__ == "__main__":
    main()
