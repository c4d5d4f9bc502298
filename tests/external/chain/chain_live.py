#!/usr/bin/python3
"""Chains through the real daemon, with two Modbus devices by pymodbus: a divider, a Pt100 and a thermocouple whose terminals another
device measures. The expected temperatures are reckoned here, from the printed tables and the standard's own equation. Then the device at
the terminals goes away: the thermocouple must be stale within three polls and STALE_SLACK_S for the timeout of the device's bus and for load.
Until then it may keep its last figure, and it shows no other one."""
import csv
import math
import pathlib
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from bench_process import end, free_port, Http, named_options, Processes, SHORT_PLAN, wait_for, write_files  # noqa: E402

TABLES = pathlib.Path(__file__).resolve().parents[1] / "sensors" / "thermocouple_tables.csv"
RAW = 380  # what input 0 of tests/external/modbus/server.py holds


def instrument(*channels):
    """Each channel reads the same register in a unit of measure of its own."""
    text = '[instrument]\ntitle = "a device by pymodbus"\nprotocol = "modbus"\n'
    for name, quantity, uom, scale in channels:
        text += f'[[channel]]\nname = "{name}"\ntable = "input"\naddress = 0\ntype = "int16"\nshares_register = true\nscale = {scale}\nquantity = "{quantity}"\nuom = "{uom}"\n'
    return text


def point(name, quantity, uom, role):
    return f'[[point]]\nname = "{name}"\nquantity = "{quantity}"\nuom = "{uom}"\nrole = "{role}"\n'


INSTRUMENTS = {"module": instrument(("volts", "voltage", "V", 0.001), ("ohms", "resistance", "Ohm", 0.3), ("microvolts", "voltage", "uV", 10.0)),
               "room": instrument(("terminals", "temperature", "Cel", 0.1))}
PROFILE = '[profile]\nkind = "tube-pp-fixed-bias"\n' + point("b_plus", "voltage", "V", "supply") + point("sink", "temperature", "Cel", "heatsink") + point("core", "temperature", "Cel", "transformer")
POLL_SECONDS = 0.2
TIMEOUT_S = 0.5
STALE_SLACK_S = TIMEOUT_S + 0.5
NEAR = 0.03


def config(page, module, room):
    text = f'[daemon]\nstore = "steadyglow.db"\nlisten = "127.0.0.1:{page}"\n'
    for name, port in (("module", module), ("room", room)):
        text += f'[[bus]]\nname = "{name}"\ndriver = "modbus_tcp"\nhost = "127.0.0.1"\nport = {port}\ntimeout_seconds = {TIMEOUT_S}\n'
        text += f'[[bus.meter]]\nname = "{name}"\ninstrument = "{name}"\naddress = 1\npoll_seconds = {POLL_SECONDS}\n'
    text += '[[unit]]\nname = "amp"\nprofile = "amp"\nplan = "short"\n'
    for name, channel, chain in (("b_plus", "volts", "divider = { upper_ohms = 4e6, lower_ohms = 33200, meter_ohms = 100e3 }"),
                                 ("core", "ohms", "platinum = { at_zero_ohms = 100, wires = 2, lead_ohms = 0.4 }"),
                                 ("sink", "microvolts", 'thermocouple = { type = "K", cold_junction = "room.terminals" }')):
        text += f'[[unit.point]]\nname = "{name}"\nchannel = "module.{channel}"\n{chain}\n'
    return text


def type_k():
    """(degC, mV) of the printed table."""
    with open(TABLES, encoding="utf-8") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return [(float(row["t_degC"]), float(row["emf_mV_printed"])) for row in rows if row["type"] == "K"]


def tip(millivolts, terminals):
    table = type_k()
    at = dict(table)
    total = millivolts + at[terminals]
    for (cool, low), (warm, high) in zip(table, table[1:]):
        if low <= total <= high:
            return cool + (warm - cool) * (total - low) / (high - low)
    raise AssertionError(total)


def platinum(ohms):
    """IEC 60751 above 0 degC: R = 100 (1 + A t + B t^2)."""
    a, b = 3.9083e-3, -5.775e-7
    return (-a + math.sqrt(a * a - 4.0 * b * (1.0 - ohms / 100.0))) / (2.0 * b)


def readings(http):
    return {p["name"]: (p["value"], p["quality"]) for p in http.unit("amp")["points"]}


def main():
    options = named_options("daemon", "command", "server", "folder")
    with Processes(options.folder) as processes:
        folder = processes.folder
        write_files(folder, {f"instruments/{name}.toml": text for name, text in INSTRUMENTS.items()} | {"profiles/amp.toml": PROFILE, "plans/short.toml": SHORT_PLAN})
        servers = []
        for _ in range(2):
            server = subprocess.Popen(["/usr/bin/python3", options.server, "tcp"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
            processes.running.append(server)
            servers.append((server, server.stdout.readline().split()[1]))
        page = free_port()
        (folder / "bench.toml").write_text(config(page, servers[0][1], servers[1][1]))
        checked = subprocess.run([options.command, "check", folder / "bench.toml"], capture_output=True, text=True, timeout=20)
        assert checked.returncode == 0 and "divider 4 MΩ over 33.2 kΩ with 100 kΩ input: × 161.5" in checked.stdout, checked.stdout + checked.stderr

        http = Http(page)
        processes.start("daemon", options.daemon, "--config", folder / "bench.toml")
        wait_for("the daemon", http.is_up, 10)
        wait_for("every point to be good", lambda: all(quality == "good" for _, quality in readings(http).values()), 10)
        values = {name: value for name, (value, _) in readings(http).items()}
        expected = {"b_plus": RAW * 0.001 * (1.0 + 4e6 * (1.0 / 33200 + 1.0 / 100e3)), "core": platinum(RAW * 0.3 - 0.4), "sink": tip(RAW * 0.01, RAW * 0.1)}
        for name, value in expected.items():
            assert abs(values[name] - value) < NEAR, (name, values[name], value)
        print({name: (values[name], expected[name]) for name in expected})

        end(servers[1][0])
        gone = time.monotonic()
        looks = 0
        while (sink := readings(http)["sink"]) != (None, "stale"):
            assert sink[1] == "good" and abs(sink[0] - expected["sink"]) < NEAR, (sink, expected["sink"])
            assert time.monotonic() - gone < 3 * POLL_SECONDS + STALE_SLACK_S, sink
            looks += 1
            time.sleep(0.01)
        print(f"stale after {time.monotonic() - gone:.2f} s and {looks} looks at its last figure, with polls of {POLL_SECONDS} s")
        until = time.monotonic() + 6 * POLL_SECONDS
        while time.monotonic() < until:
            now = readings(http)
            assert now["sink"] == (None, "stale") and now["b_plus"][1] == "good", now
            time.sleep(0.01)
    return 0


if __name__ == "__main__":
    sys.exit(main())
