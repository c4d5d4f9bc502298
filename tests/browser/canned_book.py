"""What the shop keeps beyond one night, in the shapes of daemon/http/API.md: stored runs, cards of units, what it has learned."""


def run(number, unit, title, serial, started, ended, verdict=None, signed_by=None, plan="24 h night"):
    return {"id": number, "unit": unit, "title": title, "serial": serial, "plan": plan, "started_utc": started, "ended_utc": ended,
            "state": "ended" if ended else "running", "verdict": verdict, "signed_by": signed_by}


def runs():
    return [
        run(6, "ombrel250", "Ombrel 250", "O250-0009", "2026-01-12T19:00:00Z", "2026-01-13T04:18:30Z", "fail"),
        run(5, "hollin-p4", "Hollin P4", "HP4-0031", "2026-01-12T19:00:00Z", None),
        run(4, "fennimark120", "Fennimark 120", "F120-2204", "2026-01-12T19:00:00Z", None),
        run(3, "brindlecombe35", "Brindlecombe 35", "B35-0117", "2026-01-12T19:00:00Z", "2026-01-13T02:36:00Z", "fail"),
        run(2, "brindlecombe35", "Brindlecombe 35", "B35-0117", "2025-11-03T18:10:00Z", "2025-11-04T18:40:00Z", "pass_with_remarks", "Ada"),
        run(1, "tolvane-r22", "Tolvane R-22", "R22-1187", "2025-10-20T17:00:00Z", "2025-10-21T19:30:00Z", "pass", "Ben"),
    ]


SEAL = {"code": "7KQ2-M4XT-9RDA", "key_fingerprint": "3f1c 77a0 52be 90d4 1188 c6e2 0b95 fa34"}


# ---- cards ---------------------------------------------------------------------------------------------------------

def entry(number, utc, who, kind, text, fields=None, corrects=None, corrected_by=None):
    return {"id": number, "utc": utc, "who": who, "kind": kind, "fields": fields or {}, "corrects": corrects, "corrected_by": corrected_by, "text": text}


PHOTOS = {"a1" * 32: (180, 110, 40), "b2" * 32: (60, 90, 120)}  # digest: colour of the canned picture


def card(name, title, maker, model, serial, state="in_shop", configured="", **more):
    known = {"name": name, "title": title, "kind": "tube-pp-fixed-bias", "maker": maker, "model": model, "serial": serial, "nameplate_volts": 230.0, "nameplate_hertz": 50.0,
             "stock_number": "", "state": state, "is_configured": bool(configured), "unit": configured, "changed_utc": "2026-01-13T09:00:00Z", "photos": [], "tubes": [], "runs": [], "entries": []}
    known.update(more)
    return known


def brindlecombe():
    told = [{**one, "counted_s": counted, "powered_s": powered, "failed_s": failed} for one, counted, powered, failed in (
        (runs()[3], 19440.0, 27360.0, 27360.0), (runs()[4], 81000.0, 88200.0, None))]
    tube = {"socket": "V3", "type": "P25", "identity": "K-204", "prior_hours": 1200.0}
    return card("brindlecombe35", "Brindlecombe 35", "Brindlecombe & Daughters", "35", "B35-0117", configured="brindlecombe35", stock_number="S-88", runs=told, photos=[
        {"sha256": "a1" * 32, "content_type": "image/png", "caption": "the back, with its plate", "point": ""},
        {"sha256": "b2" * 32, "content_type": "image/png", "caption": "clip on the cathode resistor of V3", "point": "v3_cathode_mv"}],
        tubes=[{"socket": "V1", "type": "P25", "identity": "K-201", "prior_hours": 0.0, "entry": 6}, {**tube, "identity": "K-240", "prior_hours": 120.0, "entry": 9}], entries=[
            entry(1, "2025-11-01T09:00:00Z", "Ada", "unit", "as plated: Brindlecombe & Daughters 35, serial B35-0117, 230 V 50 Hz", {"maker": "Brindlecombe & Daughters", "model": "35", "serial": "B35-0117", "nameplate_volts": 230.0}),
            entry(2, "2025-11-01T09:20:00Z", "Ada", "photo", "photo: the back, with its plate"),
            entry(5, "2025-11-02T10:00:00Z", "Ben", "repair", "Told: hums after ten minutes. Found: two leaking coupling capacitors. Out: C7, C8. In: C7 100 nF 630 V, C8 100 nF 630 V.",
                  {"told": "hums after ten minutes", "found": "two leaking coupling capacitors", "parts_out": ["C7", "C8"], "parts_in": ["C7 100 nF 630 V", "C8 100 nF 630 V"]}),
            entry(6, "2025-11-02T11:00:00Z", "Ben", "tube", "V1: P25, K-201, new", {"socket": "V1", "type": "P25", "identity": "K-201", "prior_hours": 0.0}),
            entry(7, "2025-11-02T11:05:00Z", "Ben", "tube", "V3: P25, K-204, 1200 h before", tube, corrected_by=9),
            entry(9, "2025-11-03T08:30:00Z", "Ada", "tube", "V3: P25, K-240, 120 h before", {**tube, "identity": "K-240", "prior_hours": 120.0}, corrects=7),
            entry(11, "2025-11-03T17:00:00Z", "Ada", "safety_test", "safety test: 0.11 ohm, 220 Mohm, 0.3 mA, tester T-2"),
            entry(14, "2025-11-08T12:00:00Z", "Ada", "sold", "sold on 2025-11-08", {"day": "2025-11-08"}),
            entry(21, "2026-01-08T10:00:00Z", "Ada", "returned", "came back on 2026-01-08 after about 150 h with its owner: hum", {"day": "2026-01-08", "owner_hours": 150.0, "complaint": "hum", "is_fault": True})],
        state="returned")


def cards():
    return [brindlecombe(), card("fennimark120", "Fennimark 120", "Fennimark", "120", "F120-2204", configured="fennimark120", kind="class-ab"),
            card("tolvane-r22-r22-1187", "Tolvane R-22", "Tolvane", "R-22", "R22-1187", state="sold", kind="receiver", runs=[{**runs()[5], "counted_s": 86400.0, "powered_s": 95400.0, "failed_s": None}])]


def in_list(one, found_by=None):
    short = {key: value for key, value in one.items() if key not in ("entries", "tubes", "photos")}
    short["runs"] = len(one["runs"])
    if found_by:
        short["found_by"] = found_by
    return short


def find(known, text):
    squeezed = text.lower().replace(" ", "").replace("-", "")
    found = []
    for one in known:
        by = [{"field": field, "text": one[field]} for field in ("serial", "model", "title", "stock_number", "name") if squeezed and squeezed in one[field].lower().replace(" ", "").replace("-", "")]
        by += [{"field": "tube", "text": tube["identity"]} for tube in one["tubes"] if squeezed and squeezed in tube["identity"].lower().replace("-", "")]
        if by or not squeezed:
            found.append(in_list(one, by))
    return {"cards": found, "left_out": 0}


def add_entry(known, name, body):
    """What the daemon does with an entry, as far as the page shows it."""
    one = next((each for each in known if each["name"] == name), None)
    if one is None:
        known.append(one := card(name, body["fields"].get("title", ""), body["fields"].get("maker", ""), body["fields"].get("model", ""), body["fields"].get("serial", "")))
    number = max([each["id"] for each in one["entries"]], default=0) + 1
    for each in one["entries"]:
        if each["id"] == body.get("corrects"):
            each["corrected_by"] = number
    text = ", ".join(str(value) for value in body["fields"].values())
    one["entries"].append(entry(number, "2026-01-13T09:30:00Z", body["who"], body["kind"], text, body["fields"], body.get("corrects")))
    return {"card": one}


# ---- the shop's memory ---------------------------------------------------------------------------------------------

def twelve(start, share, low, high, extrapolated=False):
    return {"from_hours": start, "to_hours": start + 12.0, "per_100_started": share * 0.93, "per_100_running": share, "low_per_100_running": low, "high_per_100_running": high,
            "is_by_curve": True, "is_guess": True, "is_extrapolated": extrapolated}


# The made-up shop of tests/reliability: 60 repairs, 8 of which failed within 48 h. The band is rounded.
STEPS = [(0.5, 0.983, 0.888, 0.998), (1.2, 0.967, 0.874, 0.992), (3.0, 0.95, 0.853, 0.984), (6.0, 0.933, 0.832, 0.974), (11.0, 0.917, 0.811, 0.965), (19.0, 0.9, 0.791, 0.954), (27.0, 0.883, 0.772, 0.942), (41.0, 0.867, 0.752, 0.93)]


def memory(asked):
    planned = float(asked.get("hours", 24))
    kinds = [{"kind": "class-ab", "units": 21, "failures": 2}, {"kind": "tube-pp-fixed-bias", "units": 60, "failures": 8}]
    nothing = {"kind": asked.get("kind", ""), "model": "", "planned_hours": planned, "units": 0, "failures": 0, "hours": 0.0, "last_hours": 0.0, "survival": [], "weibull": None, "next_hours": None, "yields": [],
               "no_failure": None, "returns": None, "kinds": kinds, "runs_unread": 0, "sentences": [], "line": "No repair like this one has finished a run here yet: nothing speaks for more hours or for fewer.",
               "cannot_say": ["How long this one unit lasts: these are shares of many repairs. A soak shows that it ran; it promises no life."]}
    if asked.get("kind") in ("solid-state-preamp",):
        return nothing
    following = twelve(planned, 2.3, 1.0, 5.2, planned + 12 > 48)
    guess = ", extrapolated, a guess from few failures" if following["is_extrapolated"] else ", a guess from few failures"
    return {**nothing, "units": 60, "failures": 8, "hours": 2544.7, "last_hours": 48.0,
            "survival": [{"hours": hours, "at_risk": 60 - index, "failures": 1, "survival": share, "low": low, "high": high} for index, (hours, share, low, high) in enumerate(STEPS)],
            "next_hours": following, "yields": [twelve(0.0, 8.2, 4.0, 16.0), twelve(12.0, 3.4, 1.6, 7.1), twelve(24.0, 2.3, 1.0, 5.2), twelve(36.0, 1.8, 0.7, 4.6), twelve(48.0, 1.5, 0.5, 4.3, True)],
            "line": f"8 of 60 repairs like this failed here; twelve hours more than {planned:g} h would find 2.3 % of those still running (1.0 % to 5.2 %){guess}.",
            "sentences": ["8 failed among 60 repairs, the latest of them at 41 h.", "90 % are still running after 24 h (with 95 % confidence 79 % to 95 %).",
                          "Weibull shape 0.51, with 95 % confidence 0.30 to 0.88, from 8 failures: fewer than ten, a guess. Below 1: the weak repairs fail early, and each further hour finds fewer.",
                          "1 of 27 sold came back with a fault: 3.7 %, with 95 % confidence 0.1 % to 19 %."]}


# ---- two runs side by side -----------------------------------------------------------------------------------------

def side(value, volts=230.1):
    return {"as_measured": value, "value": value, "when": "last counted hour", "meter_standard_uncertainty": 0.1, "wander": 0.1, "per_hour": 0.0, "mains_volts": volts, "room_celsius": 19.0}


def point_difference(name, words, uom, earlier, later, uncertainty, standing):
    return {"point": name, "words": words, "role": "bias", "uom": uom, "earlier": side(earlier), "later": side(later, 231.0), "difference": round(later - earlier, 6), "share": (later - earlier) / earlier,
            "expanded_uncertainty": uncertainty, "coverage_factor": 2, "standing": standing, "mains_exponent": 1.5, "is_exponent_learned": False, "conditions": "at 230.1 V", "sentence": f"{words} {earlier} -> {later} {uom}"}


def overlay(name, words, uom, earlier, later):
    hours = [0.5 * step for step in range(49)]
    def line(level, gap=()):
        return {"hours": hours, "values": [None if at in gap else round(level * (1.0 - 0.2 * 2.0 ** (-at / 0.5)), 4) for at in hours]}
    lines = {"earlier": line(earlier, (10.0, 10.5, 11.0)), "later": line(later)}
    return {"point": name, "words": words, "uom": uom, "by_switch_on": lines, "by_counted": lines}


def comparison(run, other):
    labels = [{"run": number, "unit": "brindlecombe35", "title": "Brindlecombe 35", "serial": "B35-0117", "started_utc": started, "verdict": verdict, "counted_hours": hours, "mains_volts": volts, "room_celsius": 19.0}
              for number, started, verdict, hours, volts in ((min(run, other), "2025-11-03T18:10:00Z", "pass_with_remarks", 22.5, 230.1), (max(run, other), "2026-01-12T19:00:00Z", "fail", 5.4, 231.0))]
    return {"earlier": labels[0], "later": labels[1],
            "sentences": ["V2 cathode 38.0 -> 27.0 mA at 230.1 V; beyond its uncertainty of 0.5 mA.", "Its matched points stand where they stood: the tube or its heater joint, not the supply."],
            "remarks": ["The later run counted 5.4 h only: it may not have settled."],
            "points": [point_difference("v1_cathode_mv", "V1 cathode", "mA", 38.0, 38.1, 0.5, "inside"), point_difference("v2_cathode_mv", "V2 cathode", "mA", 38.0, 27.0, 0.5, "beyond"),
                       point_difference("b_plus_v", "B plus", "V", 452.1, 451.8, 3.4, "inside"), point_difference("power_transformer_c", "Power transformer", "K", 33.0, 29.1, 2.1, "beyond_wander")],
            "only_earlier": ["Heater"], "only_later": [], "overlays": [overlay("v1_cathode_mv", "V1 cathode", "mA", 38.0, 38.1), overlay("v2_cathode_mv", "V2 cathode", "mA", 38.0, 27.0)]}
