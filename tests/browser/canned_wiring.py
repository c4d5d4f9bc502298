"""Setting up, in the shapes of daemon/http/API.md: what is connected, a search for a meter, a unit's clips and the wiggle test."""
import copy
import time

BY_ID = "/dev/serial/by-id/usb-Line_adapter_A7QX-if00-port0"
DEVICES = {
    "devices": [
        {"kind": "serial", "title": "Line adapter", "serial": "A7QX", "stays": BY_ID, "moves": "/dev/ttyUSB0", "names": [BY_ID], "channels": [], "caution": "",
         "line": f'[[bus]]\nname = "ttyusb0"\ndriver = "modbus_rtu"\ndevice = "{BY_ID}"\nbaud = 9600\n', "named_at": "bench.toml:41"},
        {"kind": "serial", "title": "Line adapter", "serial": "0001", "stays": "/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0", "moves": "/dev/ttyUSB1", "names": [], "channels": [],
         "caution": "another adapter here has the same name and the same serial number: bound by the socket that it is plugged into. Label that socket, and do not swap the plugs",
         "line": '[[bus]]\nname = "ttyusb1"\ndriver = "modbus_rtu"\n', "named_at": ""},
        {"kind": "one_wire", "title": "1-Wire thermometer", "serial": "28-00000a1b2c3d", "stays": "28-00000a1b2c3d", "moves": "", "names": [], "channels": [{"file": "temperature", "label": ""}],
         "caution": "", "line": '[[bus]]\nname = "one_wire"\ndriver = "sysfs"\n', "named_at": ""},
    ],
    "warnings": ["twins: /dev/ttyUSB1, /dev/ttyUSB2 are adapters that cannot be told apart (Line adapter, same serial number or none); bind each by its by-path name and label its socket, or give them different adapters"],
}

PLACE = 'driver = "modbus_tcp"\nhost = "127.0.0.1"\nport = 1502\n'
WORDS = {0: 6310, 1: 65523, 2: 17254, 3: 6554}  # a row's word; 2 and 3 together are the float 230.1 in the order ABCD


def addresses(state):
    return {"state": state, "kind": "addresses", "where": "127.0.0.1:1502", "who": "Ada", "trouble": "", "place_lines": PLACE,
            "progress": {"address": 7, "done": 7 if state == "running" else 16, "total": 16, "found": 1},
            "found": [{"address": 3, "exception": 0, "names_itself": "Analog module, 8 channels"}], "noisy": [], "is_address_ignored": False}


def way(address, kind, order, scale, value):
    return {"address": address, "type": kind, "order": order, "scale": scale, "value": value}


def registers(expect, name, quantity, uom):
    rows = []
    for address, word in WORDS.items():
        ways = [way(address, "int16", "ABCD", 1.0, word - 65536 if word > 32767 else word), way(address, "uint16", "ABCD", 1.0, word)]
        guesses = []
        if address == 2:
            ways.append(way(2, "float32", "ABCD", 1.0, 230.1))
            guesses.append({"way": ways[-1], "likeness": "mains voltage"})
        rows.append({"address": address, "manual": f"3000{address + 1}", "is_edge": address == 3, "word": word, "ways": ways, "guesses": guesses})
    matches = []
    if expect and abs(float(expect) - 6.31) < 0.07:
        lines = f'[[channel]]\nname = "{name}"\ntable = "input"\naddress = 0\ntype = "int16"\nscale = 0.001\nquantity = "{quantity}"\nuom = "{uom}"\n'
        matches.append({"way": way(0, "int16", "ABCD", 0.001, 6.31), "manual": "30001", "off_percent": 0.0, "outside": 0, "lines": lines})
    return {"state": "running", "kind": "registers", "where": "127.0.0.1:1502", "who": "Ada", "trouble": "", "place_lines": PLACE, "address": 3, "table": "input", "from": 0, "count": 3,
            "rounds": 4, "rows": rows, "matches": matches}


def instrument():
    return {"state": "done", "kind": "instrument", "where": "127.0.0.1:5025", "who": "Ada", "trouble": "", "place_lines": "", "progress": {"done": 2, "total": 3}, "trying": "LF",
            "identity": "SHOP,DM5,00731,1.04", "first_answer": "6.3121E+00", "lines": '[[bus]]\nname = "dmm"\ndriver = "scpi_tcp"\n'}


def leads(point, is_mains):
    """The sign and the reference of a clip, as closed words and as a person reads them."""
    if is_mains or point["quantity"] not in ("voltage", "current"):
        sign = "rises_with_heat" if point["quantity"] == "temperature" else "none"
        return {"sign": sign, "sign_words": "rises with heat" if sign != "none" else "none", "reference": "none", "reference_words": "none"}
    sign = "negative" if point["role"] == "grid_bias" else "positive"
    reference = {"bias": "own_resistor", "heater": "other_pin"}.get(point["role"], "ground")
    words = {"own_resistor": "the low end of its own resistor", "other_pin": "the other heater pin", "ground": "the unit’s ground, by one lead only"}
    return {"sign": sign, "sign_words": f"{sign} against its reference", "reference": reference, "reference_words": words[reference]}


class Wiring:
    """The desk behind the fixture."""

    def __init__(self):
        self.search = {"state": "none"}
        self.asked = {}
        self.ticks = {}
        self.moving = []
        self.trouble = ""  # why a window is not read again
        self.alone = None  # (point, when it was first seen to move alone)
        self.clips_wanted = 0  # more clips than the unit has points: for the longest list

    def look(self, body):
        if self.search.get("state") == "running":
            return 409, {"error": "a search is going on", "hint": "stop it first, or wait for its end"}
        if body.get("device") == BY_ID:
            return 409, {"error": f"{BY_ID} belongs to bus `line`, which is polling it", "hint": "take the bus out of the configuration"}
        self.asked = body
        self.search = {"addresses": lambda: addresses("running"), "registers": lambda: registers("", "", "", ""), "instrument": instrument}[body["kind"]]()
        return 200, self.search

    def state(self, asked):
        if self.search.get("kind") == "registers" and self.search["state"] == "running":
            found = registers(asked.get("expect", ""), asked.get("name", ""), asked.get("quantity", ""), asked.get("uom", ""))
            self.search = {**found, "address": self.asked.get("address", 3), "trouble": self.trouble}
        return self.search

    def stop(self):
        if self.search.get("state") == "running":
            self.search = {**self.search, "state": "stopped"}
        return self.search

    def clips(self, unit):
        clips = []
        points = unit["points"]
        more = [{**points[i % len(points)], "name": f"extra_{i}_v"} for i in range(self.clips_wanted - len(points))]
        for n, point in enumerate(points + more):
            is_mains = point["role"].startswith("mains")
            volts = {"V": 1.0, "mV": 0.001}.get(point["uom"])
            stated = [abs(point[key]) * volts for key in ("nominal", "warn_high", "trip_high") if volts and point[key] is not None]
            cautions = ["mains: by an energy meter or transformer rated for it, CAT II or higher for the local mains voltage; never by an analogue input"] if is_mains else []
            if stated and max(stated) > 50 and not is_mains:
                cautions.append("may jump to 520 V when a resistor opens: clamp the meter’s input")
                cautions.append("lead, clip and divider with a working rating of 650 V DC or more, shrouded and fused; a CAT rating alone says nothing about B+")
            clips.append({"point": point["name"], "channel": f"analog_a.ch{n + 1}", "bus": "bench_1 (192.168.40.21:502)", "where": "across its 10 Ω resistor" if point["role"] == "bias" else "at the unit's inlet, not at the wall: a limiter or a variac left at 90 % makes a beautiful, worthless night" if is_mains else "",
                          "chain": "the meter reads V; divider 4 MΩ over 33.2 kΩ: × 121.5" if point["role"] == "supply" else "the meter reads V, taken as it is",
                          "between": "divider" if point["role"] == "supply" else "",
                          **leads(point, is_mains), "quantity": point["quantity"], "shown_uom": point["shown_uom"],
                          "nominal": point["nominal"], "expected_volts": max(stated) if stated else None, "at_worst_volts": None if is_mains else 520.0, "is_protective": point["trip_high"] is not None,
                          "is_mains": is_mains, "cautions": cautions, "ticked": self.ticks.get((unit["name"], point["name"]))})
        return {"unit": unit["name"], "title": unit["title"], "serial": unit["serial"], "bench": unit["bench"], "kind": unit["kind"],
                "cautions": ["Fit every clip with the unit switched off, unplugged, cold and discharged. Measure that it is discharged before you touch.",
                             "One hand, no rings; covers back on as in use before power comes.",
                             "Input modules share one common and are not rated for mains or high voltage: a divider with a clamped low arm, or an isolated converter, stands before them.",
                             "One earth only: a second one through a meter or a computer carries current. Bridged outputs have no earthed terminal at all.",
                             "Local electrical code and a person qualified for it decide; this list does not."], "clips": clips}

    def wiggle(self, unit):
        points = []
        for n, point in enumerate(unit["points"]):
            moves = point["name"] in self.moving
            values = [1.0 + 0.002 * ((7 * i + n) % 5 - 2) + (0.4 if moves and i > 26 else 0.0) for i in range(30)]
            points.append({"point": point["name"], "channel": f"analog_a.ch{n + 1}", "shown_uom": "V", "state": "moved" if moves else "quiet", "moved_by": 0.4 if moves else 0.003, "noise": 0.003,
                           "times_noise": 130.0 if moves else 1.0, "age_s": [float(29 - i) for i in range(30)], "value": values})
        if len(self.moving) != 1:
            self.alone = None
        elif not self.alone or self.alone[0] != self.moving[0]:
            self.alone = (self.moving[0], time.monotonic())
        alone = {"point": self.alone[0], "age_s": 0.0, "since_s": time.monotonic() - self.alone[1]} if self.alone else None
        return {"unit": unit["name"], "movers": len(self.moving), "mover": self.moving[0] if len(self.moving) == 1 else None, "alone": alone, "points": points}

    def touched(self, unit, body):
        self.ticks[(unit["name"], body["point"])] = {"who": body["who"], "utc": "2026-01-12T21:00:00Z", "is_seen": bool(self.alone) and self.alone[0] == body["point"], "text": ""}
        return self.clips(unit)

    def fresh(self):
        return copy.deepcopy(DEVICES)
