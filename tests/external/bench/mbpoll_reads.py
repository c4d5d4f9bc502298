#!/usr/bin/python3
"""The running virtual bench, read and switched by mbpoll over TCP and over the serial line; the figures must agree with the
bench's own state file. A figure that moves is read between two states and must lie between them, or within the meter's digits.
"""
import argparse
import json
import pathlib
import re
import shutil
import signal
import socket
import subprocess
import sys
import time

CONTACTOR = 8  # stands before all outlets
RATE = 120.0
COILS, INPUTS, HOLDINGS = "0", "3", "4"
# Each place of the tube amplifier on analogue module 1: volts per count, and the divider before it.
COUNT_VOLTS = 10.24 / 32768
PLACES = {"v1_cathode_mv": (0, 1000.0), "v2_cathode_mv": (1, 1000.0), "v3_cathode_mv": (2, 1000.0), "v4_cathode_mv": (3, 1000.0),
          "b_plus_v": (4, 121.5), "grid_bias_v": (5, 11.0), "heater_v": (6, 1.0)}


def mbpoll(*arguments):
    """Values by reference. mbpoll prints `[4]:  12067` and, of a word that is negative as int16, `52817 (-12719)`."""
    answer = subprocess.run(["/usr/bin/mbpoll", "-1", "-0", "-o", "2", *map(str, arguments)], capture_output=True, text=True, timeout=20)
    values = {}
    for line in answer.stdout.splitlines():
        match = re.match(r"\[(\d+)\]:\s+(\S+)(?: \((-?\d+)\))?", line)
        if match:
            values[int(match[1])] = float(match[3] or match[2])
    return answer, values


class Bench:
    def __init__(self, options, *more):
        self.folder = pathlib.Path(options.folder).resolve()
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir(parents=True)
        self.state_file = self.folder / "bench.json"
        self.pty = self.folder / "bench.pty"
        self.process = subprocess.Popen([options.bench, "--port", "0", "--pty", self.pty, "--state", self.state_file, *more], stdout=subprocess.PIPE, text=True)
        said = [self.process.stdout.readline().split() for _ in range(3)]
        assert said[0][0] == "port" and said[2] == ["ready"], said
        self.port = int(said[0][1])

    def tcp(self, unit, kind, *more):
        return mbpoll("-m", "tcp", "-p", self.port, "-a", unit, "-t", kind, *more[:-1], "127.0.0.1", *(more[-1] or []))

    def read(self, unit, kind, count, *more):
        answer, values = self.tcp(unit, kind, "-r", 0, "-c", count, *more, None)
        assert answer.returncode == 0, answer.stdout + answer.stderr
        return values

    def read_line(self, unit, kind, count):
        answer, values = mbpoll("-m", "rtu", "-b", 115200, "-P", "none", "-a", unit, "-t", kind, "-r", 0, "-c", count, self.pty)
        assert answer.returncode == 0, answer.stdout + answer.stderr
        return values

    def switch(self, coil, on):
        answer, _ = self.tcp(21, COILS, "-r", coil, [1 if on else 0])
        assert answer.returncode == 0 and "Written 1 references" in answer.stdout, answer.stdout + answer.stderr

    def state(self):
        return json.loads(self.state_file.read_text())

    def next_state(self):
        """The first state written after now."""
        before = self.state_file.stat().st_mtime_ns
        end = time.monotonic() + 5
        while self.state_file.stat().st_mtime_ns == before:
            assert time.monotonic() < end, "the state file is not renewed"
            time.sleep(0.02)
        return self.state()

    def between(self, read):
        """What `read` says, with the truth before and after it."""
        before = self.next_state()
        values = read()
        return before, values, self.next_state()

    def end(self):
        self.process.send_signal(signal.SIGTERM)
        said = self.process.stdout.read()
        return self.process.wait(10), said


def unit(state, name):
    return next(u for u in state["units"] if u["name"] == name)


def agrees(value, before, after, digits, what):
    low, high = min(before, after), max(before, after)
    assert low - digits <= value <= high + digits, f"{what}: mbpoll reads {value}, the truth went from {before} to {after}"


def read_all(bench):
    """Everything that mbpoll can read of the bench, within one or two seconds."""
    return {"analog": bench.read(1, INPUTS, 8), "energy": {m: bench.read(m, "3:float", 5, "-B") for m in (11, 12, 13)},
            "microvolts": bench.read(2, "3:int", 8),  # mbpoll takes the low word first unless told otherwise
            "temperatures": bench.read_line(32, HOLDINGS, 8), "room": bench.read_line(33, INPUTS, 2)}


def figures(bench):
    before, values, after = bench.between(lambda: read_all(bench))

    def signals(name, point):
        return [unit(s, name)["signals"][point]["value"] for s in (before, after)]

    for point, (channel, factor) in PLACES.items():
        agrees(values["analog"][channel] * COUNT_VOLTS * factor, *signals("brindlecombe35", point), 5 * COUNT_VOLTS * factor, point)
    assert min(signals("brindlecombe35", "v3_cathode_mv")) > 300.0, "the unit is up"
    assert values["analog"][7] == -32768, "nothing is connected to the eighth channel"
    for meter, name in ((11, "brindlecombe35"), (12, "fennimark120"), (13, "hollin_p4")):
        truth = [(unit(s, name)["mains_volts"], unit(s, name)["mains_current"], unit(s, name)["mains_power"], s["mains"]["hertz"]) for s in (before, after)]
        for reference, index, digits in ((0, 0, 0.6), (2, 1, 0.006), (4, 2, 0.8), (6, 3, 0.03)):
            agrees(values["energy"][meter][reference], truth[0][index], truth[1][index], digits, f"{name} {reference}")
        assert values["energy"][meter][4] > 10.0, name
    for channel, point in enumerate(("idle_left_mv", "idle_right_mv", "offset_left_mv", "offset_right_mv")):
        agrees(values["microvolts"][2 * channel] / 1000.0, *signals("fennimark120", point), 0.08, point)
    for channel, (name, point) in enumerate((("fennimark120", "heatsink_left_c"), ("fennimark120", "heatsink_right_c"), ("fennimark120", "transformer_c"), ("hollin_p4", "regulator_c"))):
        agrees(values["temperatures"][channel] / 10.0, *signals(name, point), 0.25, point)
    assert values["temperatures"][7] == 32767, "no probe on the eighth channel"
    agrees(values["room"][0] / 10.0, before["room_celsius"], after["room_celsius"], 0.25, "room")


def nobody_at_an_address(bench):
    answer, _ = mbpoll("-m", "rtu", "-b", 115200, "-P", "none", "-a", 77, "-t", HOLDINGS, "-r", 0, "-o", 0.2, bench.pty)
    assert answer.returncode != 0, "a line does not answer for who is not on it"


def refusals(bench):
    for what, arguments in {"a register past the last": (1, INPUTS, "-r", 8, "-c", 1, None), "a table that is not there": (1, HOLDINGS, "-r", 0, "-c", 1, None),
                            "a unit that is not there": (99, INPUTS, "-r", 0, "-c", 1, None)}.items():
        answer, _ = bench.tcp(*arguments)
        said = answer.stdout + answer.stderr
        assert answer.returncode != 0 and re.search(r"Illegal data address|Target device failed to respond", said), (what, said)
    # Somebody who speaks another protocol is dropped, and the others do not notice.
    with socket.create_connection(("127.0.0.1", bench.port), timeout=5) as stranger:
        stranger.sendall(b"GET / HTTP/1.1\r\n\r\n")
        assert stranger.recv(100) == b"", "it hangs up"
    assert bench.read(1, INPUTS, 1)


def relays(bench):
    assert bench.read(21, COILS, 8) == {i: 1.0 if i < 3 else 0.0 for i in range(8)}
    bench.switch(0, False)
    values = bench.read(11, "3:float", 3, "-B")
    assert values[2] == 0.0 and values[4] == 0.0, values
    assert values[0] > 200.0, "the mains before the relay are there"
    state = bench.next_state()
    assert unit(state, "brindlecombe35")["powered"] is False and unit(state, "fennimark120")["powered"] is True
    assert bench.read(21, COILS, 1) == {0: 0.0}


def welded(options):
    bench = Bench(options, "--night", pathlib.Path(options.source) / "demo/nights/welded.toml", "--rate", "4000")
    bench.switch(CONTACTOR, True)
    bench.switch(0, True)
    while bench.state()["bench_seconds"] < 3700.0:
        time.sleep(0.1)
    bench.switch(0, False)
    assert bench.read(21, COILS, 1) == {0: 0.0}, "the coil says off"
    assert bench.read(11, "3:float", 3, "-B")[4] > 90.0, "and the watts flow"
    state = bench.next_state()
    assert unit(state, "brindlecombe35")["coil"] is False and unit(state, "brindlecombe35")["powered"] is True
    bench.end()


def night_with_drops(options, per_thousand):
    night = (pathlib.Path(options.source) / "demo/nights/healthy.toml").read_text()
    night = re.sub(r"dropped_per_thousand = [0-9.]+", f"dropped_per_thousand = {per_thousand}", night)
    night = re.sub(r"late_per_thousand = [0-9.]+", "late_per_thousand = 0.0", night)
    file = pathlib.Path(options.folder).resolve().parent / f"drops_{per_thousand}.toml"
    file.write_text(night)
    return file


def missed_polls(options):
    outcomes = []
    for _ in range(2):
        bench = Bench(options, "--night", night_with_drops(options, 400.0))
        outcomes.append([bench.tcp(1, INPUTS, "-r", 0, "-o", 0.1, None)[0].returncode == 0 for _ in range(10)])
        bench.end()
    assert outcomes[0] == outcomes[1], "the seed decides which request is dropped"
    assert 2 <= outcomes[0].count(False) <= 8, outcomes[0]


def main():
    parser = argparse.ArgumentParser()
    for name in ("bench", "source", "folder"):
        parser.add_argument("--" + name, required=True)
    options = parser.parse_args()
    bench = Bench(options, "--night", night_with_drops(options, 0.0), "--rate", str(RATE))
    assert bench.read(21, COILS, 8) == {i: 0.0 for i in range(8)}, "relays power up open"
    for coil in (CONTACTOR, 0, 1, 2):
        bench.switch(coil, True)
    while bench.state()["bench_seconds"] < 400.0:
        time.sleep(0.1)
    for check in (figures, nobody_at_an_address, refusals, relays):
        check(bench)
        print(f"{check.__name__}: agrees", flush=True)
    code, said = bench.end()
    assert code == 0 and said.count("damage point never reached") == 3, (code, said)
    assert not bench.pty.is_symlink(), "the link is gone with the bench"
    welded(options)
    print("welded: the coil is off and the watts flow", flush=True)
    missed_polls(options)
    print("missed polls: the same with the same seed", flush=True)
    return 0


sys.exit(main())
