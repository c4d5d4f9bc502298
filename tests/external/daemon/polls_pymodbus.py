#!/usr/bin/python3
"""steadyglowd polls a Modbus device by pymodbus, over TCP and over a serial line (a socat pty pair), and loses one on purpose."""
import pathlib
import subprocess
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from bench_process import end, free_port, Http, named_options, Processes, SHORT_PLAN, wait_for, write_files  # noqa: E402

# What server.py of tests/external/modbus holds: input 0 = 380; from 100, in word order ABCD, float32 230.5; input 2 is 32767.
INSTRUMENT = """[instrument]
title = "A device by pymodbus"
protocol = "modbus"
word_order = "ABCD"
[[channel]]
name = "bias"
table = "input"
address = 0
type = "int16"
scale = 0.001
quantity = "voltage"
uom = "V"
[[channel]]
name = "mains"
table = "input"
address = 100
type = "float32"
quantity = "voltage"
uom = "V"
[[channel]]
name = "broken"
table = "input"
address = 2
type = "int16"
scale = 0.1
quantity = "temperature"
uom = "Cel"
sentinel = [ { raw = 32767, quality = "open_sensor" } ]
[[output]]
name = "outlet_1"
coil = 0
"""
PROFILE = """[profile]
kind = "tube-pp-fixed-bias"
[[point]]
name = "v1_cathode_mv"
quantity = "voltage"
uom = "mV"
role = "bias"
[[point]]
name = "mains_volts"
quantity = "voltage"
uom = "V"
role = "mains_voltage"
nominal = 230.0
[[point]]
name = "transformer"
quantity = "temperature"
uom = "Cel"
role = "transformer"
"""


def config(page, port, device):
    text = f'[daemon]\nstore = "steadyglow.db"\nlisten = "127.0.0.1:{page}"\n'
    text += f'[[bus]]\nname = "lan"\ndriver = "modbus_tcp"\nhost = "127.0.0.1"\nport = {port}\ntimeout_seconds = 0.5\n'
    text += '[[bus.meter]]\nname = "by_tcp"\ninstrument = "device"\naddress = 1\npoll_seconds = 0.2\n'
    text += f'[[bus]]\nname = "serial"\ndriver = "modbus_rtu"\ndevice = "{device}"\nbaud = 115200\nparity = "none"\ntimeout_seconds = 0.5\n'
    text += '[[bus.meter]]\nname = "by_rtu"\ninstrument = "device"\naddress = 1\npoll_seconds = 0.2\n'
    for name in ("by_tcp", "by_rtu"):
        text += f'[[unit]]\nname = "{name}"\nprofile = "amp"\nplan = "short"\n[unit.outlet]\nmeter = "{name}"\noutput = "outlet_1"\n'
        for point, channel in (("v1_cathode_mv", "bias"), ("mains_volts", "mains"), ("transformer", "broken")):
            text += f'[[unit.point]]\nname = "{point}"\nchannel = "{name}.{channel}"\n'
    return text


def readings(http, unit):
    return {p["name"]: (p["value"], p["quality"]) for p in http.unit(unit)["points"]}


def main():
    options = named_options("daemon", "command", "server", "folder")
    with Processes(options.folder) as processes:
        folder = processes.folder
        write_files(folder, {"instruments/device.toml": INSTRUMENT, "profiles/amp.toml": PROFILE, "plans/short.toml": SHORT_PLAN})
        ours, theirs = folder / "ours.pty", folder / "theirs.pty"
        processes.start("socat", "socat", f"pty,raw,echo=0,link={ours}", f"pty,raw,echo=0,link={theirs}")
        wait_for("the pty pair", lambda: ours.exists() and theirs.exists(), 5)
        servers = []
        for words in (["tcp"], ["rtu", str(theirs)]):
            server = subprocess.Popen(["/usr/bin/python3", options.server, *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
            processes.running.append(server)
            servers.append((server, server.stdout.readline().split()))
        port = servers[0][1][1]
        page = free_port()
        (folder / "bench.toml").write_text(config(page, port, ours))
        http = Http(page)
        processes.start("daemon", options.daemon, "--config", folder / "bench.toml")
        wait_for("the daemon", http.is_up, 10)
        expected = {"v1_cathode_mv": (380.0, "good"), "mains_volts": (230.5, "good"), "transformer": (None, "open_sensor")}
        for unit in ("by_tcp", "by_rtu"):
            wait_for(f"the device's figures on {unit}", lambda: readings(http, unit) == expected, 10)
            status, answer = http.post(f"/api/v1/units/{unit}/start", {"who": "Ada", "at_the_bench": True})
            assert status == 200, answer
            wait_for("the relay", lambda: http.unit(unit)["outlet"]["state"] == "on", 5)
        probe = subprocess.run([options.command, "probe", folder / "bench.toml", "by_tcp"], capture_output=True, text=True, timeout=20)
        assert probe.returncode == 0 and "230.50 V" in probe.stdout and "open_sensor" in probe.stdout, probe.stdout + probe.stderr

        end(servers[0][0])
        wait_for("the loss of the TCP device", lambda: readings(http, "by_tcp")["mains_volts"][1] == "no_answer", 5)
        assert readings(http, "by_rtu") == expected, "the other bus goes on"
        wait_for("the bus to be called silent, and the other not", lambda: [b["state"] for b in http.get("/api/v1/bench")["buses"]] == ["silent", "ok"], 5)
    return 0


if __name__ == "__main__":
    sys.exit(main())
