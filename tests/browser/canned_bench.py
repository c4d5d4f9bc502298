"""A bench in the shapes of daemon/http/API.md, at one moment of a night: what the page is tested with.

The units are invented. One tube ran away and was cut, one bias creeps and one of its clips fell off for a while, one unit is
well, one is behind a welded relay, one was never started.
"""
import copy
import math
import random

import canned_night

HOUR = 3600.0
STARTED = "2026-01-12T19:00:00Z"
NOW_S = 14.5 * HOUR
CUT_AT_S = 7.6 * HOUR
READING_S = 15.0


def point(name, quantity, uom, role, value, nominal=None, warn=(None, None), trip=(None, None), shown=None, **more):
    known = {"name": name, "quantity": quantity, "uom": uom, "shown_uom": shown or {"Cel": "°C"}.get(uom, uom), "role": role,
             "value": value, "quality": "good", "time_s": NOW_S - 4.0, "age_s": 4.0, "nominal": nominal,
             "warn_low": warn[0], "warn_high": warn[1], "trip_low": trip[0], "trip_high": trip[1],
             "baseline": None, "change_from_baseline_percent": None, "settling": "settled in about 25 min (20 to 40)",
             "slope_per_hour": None, "slope_low": None, "slope_high": None}
    known.update(more)
    return known


def judged(baseline, change, slope, half):
    return {"baseline": baseline, "change_from_baseline_percent": change, "settling": "settled",
            "slope_per_hour": slope, "slope_low": slope - half, "slope_high": slope + half}


def stages(now):
    kinds = [("warm_up", 1.0), ("baseline", 0.5), ("idle_soak", 22.5)]
    return [{"kind": kind, "planned_s": hours * HOUR, "state": "done" if i < now else "now" if i == now else "ahead"} for i, (kind, hours) in enumerate(kinds)]


def run(number, stage, counted_h, why="", state="running", verdict=None, time_s=NOW_S):
    at = {"warm_up": 0, "baseline": 1, "idle_soak": 2, "done": 3}[stage]
    return {"id": number, "state": state, "stage": stage, "time_s": time_s, "started_utc": STARTED, "counted_s": counted_h * HOUR, "planned_s": 22.5 * HOUR,
            "not_counting_because": why, "stages": stages(at), "verdict": verdict}


def outlet(state, proof="none", text="", locked=False, reason=""):
    return {"state": state, "proof": proof, "proof_text": text, "is_interlocked": locked, "reason": reason}


def mains(volts, amperes, watts):
    return [point("mains_volts", "voltage", "V", "mains_voltage", volts, 230.0),
            point("mains_current", "current", "A", "mains_current", amperes),
            point("mains_power", "power", "W", "mains_power", watts, warn=(None, round(watts * 1.2) or 140.0), trip=(None, round(watts * 1.3) or 154.0))]


RUNAWAY = "v3_cathode_mv: the tube turns 25.2 W, 101 % of the rated 25 W into heat, above the trip at 25.0 W; mains 237 V, room 16.4 °C"
WELDED = "off was ordered twice and 0.90 A still flow 4 s after the second order: the relay does not obey"


def brindlecombe():
    tubes = [point(f"v{n}_cathode_mv", "voltage", "mV", "bias", 0.0, 380.0, (304.0, 456.0), (None, 554.0), **judged(378.0 + n, 0.3 * n, 0.2 * n, 0.9)) for n in (1, 2, 3, 4)]
    return {"name": "brindlecombe35", "title": "Brindlecombe 35", "serial": "B35-0117", "bench": "bench 1", "kind": "tube-pp-fixed-bias", "plan": "24 h night",
            "run": run(3, "idle_soak", 5.4, "the outlet is off", "ended", {
                "word": "fail", "is_proposed": True, "reasons": ["5.4 h counted of 22.5 h planned", "the unit was cut", f"limit: {RUNAWAY}"]}),
            "outlet": outlet("off", "proven", "off, proven: 0.00 A 1 s after the order", True, RUNAWAY),
            "worst": None,
            "points": tubes + [
                point("b_plus_v", "voltage", "V", "supply", 0.4, 452.0, (425.0, 480.0), (384.0, 520.0)),
                point("grid_bias_v", "voltage", "V", "grid_bias", 0.0, -44.0, (-48.0, -42.0), (None, -37.4)),
                point("heater_v", "voltage", "V", "heater", 0.0, 6.3, (5.98, 6.62), (5.67, 6.93)),
                point("power_transformer_c", "temperature", "Cel", "transformer", 24.1, None, (None, 85.0), (None, 95.0)),
                point("room_c", "temperature", "Cel", "ambient", 15.2)] + mains(236.8, 0.0, 0.0)}


def fennimark():
    return {"name": "fennimark120", "title": "Fennimark 120", "serial": "F120-2204", "bench": "bench 2", "kind": "class-ab", "plan": "24 h night",
            "run": run(4, "idle_soak", 12.6), "outlet": outlet("on", reason="switched on by Ada"),
            "worst": {"point": "idle_left_mv", "share": 0.84, "limit": 15.0, "side": "high", "severity": "warn", "value": 14.2},
            "points": [
                point("idle_left_mv", "voltage", "mV", "bias", 14.2, 10.0, (5.0, 15.0), (None, 30.0), **judged(10.0, 42.0, 0.31, 0.08)),
                point("idle_right_mv", "voltage", "mV", "bias", 9.71, 10.0, (5.0, 15.0), (None, 30.0), **judged(9.8, -0.9, -0.004, 0.02)),
                point("offset_left_mv", "voltage", "mV", "offset", 6.3, 0.0, (-50.0, 50.0), (-300.0, 300.0), **judged(4.1, None, 0.12, 0.11)),
                point("offset_right_mv", "voltage", "mV", "offset", None, 0.0, (-50.0, 50.0), (-300.0, 300.0), quality="contact_lost", age_s=312.0),
                point("rail_plus_v", "voltage", "V", "supply", 42.9, 42.2, (39.0, 45.5), (34.0, 50.0), **judged(42.2, 0.1, 0.002, 0.01)),
                point("rail_minus_v", "voltage", "V", "supply", -42.7, -42.0, (-45.5, -39.0), (-50.0, -34.0), **judged(-42.0, 0.1, -0.001, 0.01)),
                point("heatsink_left_c", "temperature", "Cel", "heatsink", 41.3, None, (None, 60.0), (None, 75.0), **judged(38.4, None, 0.21, 0.1)),
                point("heatsink_right_c", "temperature", "Cel", "heatsink", 35.9, None, (None, 60.0), (None, 75.0), **judged(37.9, None, -0.15, 0.1)),
                point("room_c", "temperature", "Cel", "ambient", 15.2)] + mains(236.8, 0.351, 68.2)}


def hollin():
    return {"name": "hollin-p4", "title": "Hollin P4", "serial": "HP4-0031", "bench": "bench 2", "kind": "solid-state-preamp", "plan": "24 h night",
            "run": run(5, "idle_soak", 13.0), "outlet": outlet("on", reason="switched on by Ada"),
            "worst": {"point": "rail_minus_v", "share": 0.29, "limit": -15.45, "side": "low", "severity": "warn", "value": -15.13},
            "points": [
                point("rail_plus_v", "voltage", "V", "supply", 15.02, 15.0, (14.55, 15.45), (12.75, 17.25), **judged(15.02, 0.0, 0.0002, 0.001)),
                point("rail_minus_v", "voltage", "V", "supply", -15.13, -15.0, (-15.45, -14.55), (-17.25, -12.75), **judged(-15.13, 0.0, 0.0001, 0.001)),
                point("output_left_mv", "voltage", "mV", "offset", 1.2, 0.0, (-10.0, 10.0), (-200.0, 200.0), **judged(1.1, None, 0.004, 0.01)),
                point("regulator_c", "temperature", "Cel", "heatsink", 43.8, None, (None, 70.0), (None, 85.0), **judged(46.0, None, -0.1, 0.2))] + mains(236.8, 0.061, 14.1)}


def ombrel():
    return {"name": "ombrel250", "title": "Ombrel 250", "serial": "O250-0009", "bench": "bench 3", "kind": "class-ab", "plan": "24 h night",
            "run": run(6, "idle_soak", 8.2, "the outlet is off", "ended", {"word": "fail", "is_proposed": True, "reasons": ["8.2 h counted of 22.5 h planned", "the unit was cut"]}),
            "outlet": outlet("on", "failed", WELDED, True, "offset_left_mv stands at 1400 mV, above its trip limit of 300 mV"),
            "worst": {"point": "offset_left_mv", "share": 28.0, "limit": 50.0, "side": "high", "severity": "warn", "value": 1400.0},
            "points": [point("offset_left_mv", "voltage", "mV", "offset", 1400.0, 0.0, (-50.0, 50.0), (-300.0, 300.0))] + mains(236.8, 0.9, 205.0)}


def wexmere():
    points = [point("v1_cathode_mv", "voltage", "mV", "bias", None, 440.0, (400.0, 480.0), (None, 600.0))] + mains(236.8, 0.0, 0.0)
    for each in points:
        each.update(time_s=None)
    points[0].update(quality="no_answer", age_s=None)
    return {"name": "wexmere-m50", "title": "Wexmere M50, left", "serial": "M50-L-0040", "bench": "bench 1", "kind": "tube-pp-fixed-bias", "plan": "48 h",
            "run": None, "outlet": outlet("off", "none", "", True, "nobody has switched it on yet"), "worst": None, "points": points}


def alarm(number, unit, points, kind, severity, state, raised_h, message, is_active=True, cleared_h=None, by=""):
    return {"id": number, "unit": unit, "points": points, "kind": kind, "severity": severity, "state": state, "is_active": is_active,
            "raised_s": raised_h * HOUR, "raised_utc": f"2026-01-{12 + int((19 + raised_h) // 24)}T{int((19 + raised_h) % 24):02}:{int(raised_h % 1 * 60):02}:00Z",
            "cleared_s": None if cleared_h is None else cleared_h * HOUR, "acknowledged_by": by, "message": message}


def alarms():
    return [
        alarm(30001, "brindlecombe35", ["v3_cathode_mv"], "runaway", "warn", "returned_unacknowledged", 7.1,
              "v3_cathode_mv runs away: 409 mV to 429 mV in 24 min, doubling its excess every 14.6 min; trip limit 554 mV in about 40 min; its matched points stand still; mains 237 V, room 16.3 °C",
              is_active=False, cleared_h=7.6),
        alarm(30002, "brindlecombe35", ["v3_cathode_mv", "b_plus_v"], "limit", "trip", "acknowledged", 7.6, RUNAWAY, by="Ada"),
        alarm(40001, "fennimark120", ["idle_left_mv"], "drift", "warn", "unacknowledged", 13.9,
              "idle_left_mv drifts: 10.0 mV at the baseline, 14.1 mV now (+41 %) in 12.4 h; warning limit 15.0 mV in about 2.7 h (2.2 h to 3.5 h); its matched points stand still; mains 237 V, room 15.2 °C"),
        alarm(60001, "ombrel250", [], "outlet", "trip", "unacknowledged", 9.31, WELDED),
    ]


def bench():
    return {
        "version": "0.1.0", "utc": "2026-01-13T09:30:00Z", "clock_rate": 1.0, "is_accelerated": False,
        "store": {"state": "ok", "reason": "", "queue": 0, "wal_bytes": 41200},
        "buses": [{"name": "bench_tcp", "where": "127.0.0.1:1502", "state": "ok", "requests": 98211, "timeouts": 2, "refusals": 0, "garbage": 0, "reconnects": 1,
                   "overruns": 0, "dropped_batches": 0, "meters": [{"name": "analog_a", "state": "ok"}, {"name": "energy_1", "state": "ok"}]}],
        "units": [brindlecombe(), fennimark(), hollin(), ombrel(), wexmere()], "alarms": alarms()}


def finding(hours, points, kind, severity, message, state="raised"):
    return {"time_s": hours * HOUR, "point": points[0] if points else None, "points": points, "kind": kind, "severity": severity, "state": state,
            "value": None, "limit": None, "uom": None, "message": message}


def findings(unit):
    listed = {
        "brindlecombe35": [
            finding(3.25, ["mains_volts"], "mains", "note", "the mains step from 230 V to 237 V; what follows them is taken out of the slopes"),
            finding(7.1, ["v3_cathode_mv"], "runaway", "warn", alarms()[0]["message"]),
            finding(7.6, ["v3_cathode_mv", "b_plus_v"], "limit", "trip", RUNAWAY),
            finding(7.6003, [], "outlet", "note", "off, proven: 0.00 A 1 s after the order")],
        "fennimark120": [
            finding(5.37, ["idle_right_mv"], "sensor", "note", "idle_right_mv fell to 0.1 mV in one reading while the watts stayed at 61.0 W: contact lost (clip or lead); the gap is kept as a gap"),
            finding(6.9, ["idle_right_mv"], "sensor", "note", "idle_right_mv reads 9.70 mV again: the contact is back", "cleared"),
            finding(10.6, ["idle_left_mv"], "drift", "note", "idle_left_mv drifts: 10.0 mV at the baseline, 13.0 mV now (+30 %) in 9.1 h; warning limit 15.0 mV in about 6 h"),
            finding(13.9, ["idle_left_mv"], "drift", "warn", alarms()[2]["message"])],
    }
    return listed.get(unit, [])


def warmed(level, hours, tau=0.4):
    return level * (1.0 - 0.12 * math.exp(-hours / tau))


def mains_at(hours):
    return 230.0 + (6.8 if hours > 3.25 else 0.0) + 0.8 * math.sin(hours / 1.7)


def room_at(hours):
    return 15.0 + 7.0 * math.exp(-max(0.0, hours - 2.0) / 3.0) if hours > 2.0 else 22.0


def level_at(unit, name, now, hours):
    """What a point read at a moment, or None where nothing good was read."""
    ratio = mains_at(hours) / 230.0
    if unit == "fennimark120" and not name.endswith("_c") and any(a < hours < b for a, b, *_ in canned_night.FENNIMARK_GAPS):
        return mains_at(hours) if name == "mains_volts" and hours < 9.0 else 0.0
    if unit == "brindlecombe35":
        is_off = hours * HOUR > CUT_AT_S
        if name == "v3_cathode_mv":
            return 0.0 if is_off else warmed(380.0, hours) * ratio ** 1.5 + (0.0 if hours < 5.7 else 2.0 * (2.0 ** ((hours - 5.7) / 0.29) - 1.0))
        if name.endswith("cathode_mv"):
            return 0.0 if is_off else warmed(374.0 + 3.0 * int(name[1]), hours) * ratio ** 1.5
        if name.endswith("transformer_c"):
            warm = room_at(hours) + 33.0 * (1.0 - math.exp(-hours / 0.9))
            return warm if not is_off else room_at(hours) + 33.0 * math.exp(-(hours - CUT_AT_S / HOUR) / 0.9)
        levels = {"b_plus_v": 452.0 * ratio, "grid_bias_v": -44.0 * ratio, "heater_v": 6.3 * ratio, "mains_current": 0.55, "mains_power": 118.0 * ratio ** 2}
        if name in levels:
            return 0.0 if is_off else levels[name]
    if unit == "fennimark120" and name == "idle_left_mv":
        return warmed(10.0, hours) + max(0.0, hours - 1.5) * 0.32
    if unit == "fennimark120" and name == "idle_right_mv":
        return None if 5.37 < hours < 6.9 else warmed(9.75, hours)
    if unit == "fennimark120" and name == "offset_right_mv":
        return 3.0 + 0.2 * hours if hours < 14.41 else None
    if name == "room_c":
        return room_at(hours)
    if name == "mains_volts":
        return mains_at(hours)
    if name.endswith("_c"):
        return room_at(hours) + (now - room_at(14.5)) * (1.0 - math.exp(-hours / 0.8))
    return warmed(now, hours, 0.15)


def history(units, unit_name, names, from_s, to_s, buckets):
    unit = next(u for u in units if u["name"] == unit_name)
    to_s = NOW_S if to_s is None else to_s
    bucket_s = max((to_s - from_s) / buckets, 1e-3)
    times = [from_s + i * bucket_s for i in range(buckets)]
    series = []
    for name in names:
        known = next(p for p in unit["points"] if p["name"] == name)
        noise = random.Random(name)
        columns = {"point": name, "min": [], "mean": [], "max": []}
        for begin in times:
            first = math.ceil(begin / READING_S) * READING_S
            is_read = first < begin + bucket_s and first <= NOW_S
            level = level_at(unit_name, name, known["value"] or 0.0, first / HOUR) if is_read else None
            spread = 0.0 if not level else abs(level) * (0.0025 + 0.002 * noise.random())
            for column, value in (("min", -spread), ("mean", spread * (noise.random() - 0.5)), ("max", spread)):
                columns[column].append(None if level is None else round(level + value, 4))
        series.append(columns)
    return {"run": unit["run"]["id"] if unit["run"] else None, "from_s": from_s, "to_s": to_s, "bucket_s": bucket_s, "time_s": times, "series": series}


def fresh():
    return canned_night.add_to(copy.deepcopy(bench()))
