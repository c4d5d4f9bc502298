"""What an unattended night adds to the canned bench, in the shapes of daemon/http/API.md: the life of the runs, the supply of
each bench, incidents, routes, the list before one leaves, the morning. `without(bench)` is the same from an older daemon."""
HOUR = 3600.0
RUN_LIFE = ("power", "is_unattended", "policy", "interruptions", "segments")
BENCH_LIFE = ("benches", "incidents", "alarm_figures", "notify")
ALARM_LIFE = ("priority", "cause", "shelved_until_s", "changed_by", "why")

CAUTIONS = [
    ("not_a_safety_device", "This program is not a safety device. Fuse, RCD or GFCI, thermal cut-out and smoke alarm must each work with this computer off."),
    ("live", "Mains and several hundred volts kill. Clips go on cold and discharged; covers stay on while it runs."),
    ("discharge", "Capacitors stay charged after switching off. Measure, discharge through a resistor, measure again, then touch."),
    ("fire", "An unattended unit can burn. A metal tray, nothing combustible within a metre, and a smoke alarm that rings without this program."),
    ("code", "Local electrical code, the insurer and the landlord decide whether a unit may run unattended at all."),
]


def policy(who="", back_h=None, **more):
    known = {"set_by": who, "person_back_s": None if back_h is None else back_h * HOUR, "after_mains": "stay_off", "on_forecast": "tell",
             "is_cut_when_stuck": False, "wakes_for_forecast": False}
    known.update(more)
    return known


def life(power, left=None, gaps=(), segments=()):
    """left: a policy, when somebody left it. gaps: (from_h, to_h or None, why, is_planned). segments: (number, from_h, points, why)."""
    return {"power": power, "is_unattended": left is not None, "policy": left or policy("Ada"),
            "interruptions": [{"from_s": a * HOUR, "to_s": None if b is None else b * HOUR, "why": why, "is_planned": planned} for a, b, why, planned in gaps],
            "segments": [{"number": n, "from_s": at * HOUR, "points": points, "why": why} for n, at, points, why in segments]}


FENNIMARK_GAPS = ((2.1, 2.35, "Ada paused it: bias of the left channel", True), (9.0, 9.8, "the mains were gone; switched on again for Ada", False))

LIVES = {
    "brindlecombe35": life("tripped", segments=((0, 0.0, [], "the run began"),)),
    "fennimark120": life("on", policy("Ada", 21.0, after_mains="staged", on_forecast="cut"), FENNIMARK_GAPS,
                         ((0, 0.0, [], "the run began"), (1, 2.35, ["idle_left_mv"], "bias trimmer left, 11.2 mV to 10.0 mV, by Ada"))),
    "hollin-p4": life("paused", gaps=((14.2, None, "Ben paused it: the shelf is being moved", True),)),
    "ombrel250": life("tripped"),
}
OUTLETS = {
    "brindlecombe35": {"is_defective": False, "bleed_text": "b_plus_v 31.0 V, below 50 V 3 min 20 s after the order; measure before you touch"},
    "ombrel250": {"is_defective": True, "bleed_text": ""},
}
ALARM_PRIORITIES = {30001: ("low", "unit"), 30002: ("high", "unit"), 40001: ("medium", "unit"), 60001: ("highest", "unit")}


def supply(name, contactor="closed", watchdog="fed", rehearsal=None, amperes=0.0, allowed=12.8, smoke="quiet", on_call="Ada", **more):
    known = {"name": name, "contactor": {"state": contactor, "is_defective": False, "reason": ""}, "watchdog": {"state": watchdog, "reason": ""},
             "rehearsal": rehearsal or {"state": "none", "unit": "", "utc": "", "who": "", "text": ""},
             "mains_volts": 236.8, "smoke": smoke, "amperes": amperes, "allowed_amperes": allowed, "person_on_call": on_call}
    known.update(more)
    return known


def benches():
    passed = {"state": "passed", "unit": "fennimark120", "utc": "2026-01-10T16:12:00Z", "who": "Ada", "text": "relay and contactor opened, and the current was gone each time"}
    return [supply("bench 1"), supply("bench 2", rehearsal=passed, amperes=0.41), supply("bench 3", "none", "none", amperes=0.9, smoke="none", on_call="")]


def told(person, route, purpose, utc, state="delivered"):
    return {"route": route, "person": person, "purpose": purpose, "utc": f"2026-01-13T{utc}Z", "state": state}


def incident(number, priority, opened, title, text, units, alarms, told_list=(), standing=True, by=""):
    return {"id": number, "cause": "unit", "cause_name": "", "priority": priority, "is_standing": standing, "is_acknowledged": bool(by), "acknowledged_by": by,
            "opened_utc": f"2026-01-13T{opened}Z", "title": title, "text": text, "units": units, "alarms": alarms, "told": list(told_list)}


def incidents(messages):
    """messages: {alarm id: what it says}."""
    return [
        incident(4, "highest", "04:18:30", "Ombrel 250, bench 3: ORDERED OFF AND NOT OFF", messages[60001], ["ombrel250"], [60001],
                 [told("Ada", "mail_ada", "alarm", "04:18:42"), told("Ada", "shop_hook", "alarm", "04:18:42", "failing"), told("Ada", "mail_ada", "repeat", "04:19:42"),
                  told("Ada", "mail_ada", "repeat", "04:20:42"), told("Ben", "mail_ben", "escalation", "04:20:43"), told("Ben", "mail_ben", "repeat", "04:21:43", "waiting")]),
        incident(3, "medium", "08:54:00", "Fennimark 120, bench 2: on", messages[40001], ["fennimark120"], [40001], [told("Ada", "mail_ada", "alarm", "08:54:06")]),
        incident(2, "high", "02:06:00", "Brindlecombe 35, bench 1: OFF, proven", messages[30002], ["brindlecombe35"], [30001, 30002], [told("Ada", "mail_ada", "alarm", "02:36:05")], by="Ada"),
        incident(1, "low", "00:10:00", "bus bench_tcp was silent for 40 s", "bus bench_tcp was silent for 40 s", [], [20001], standing=False, by="Ada"),
    ]


FIGURES = {"hours": 30.2, "per_hour": 0.2, "per_10_min": 0.03, "most_in_10_min": 3, "flood_share": 0.0, "flood": False, "standing_over_24_h": 0,
           "chattering": ["offset_right_mv contact_lost"], "split": {"low": 5, "medium": 1, "high": 1, "highest": 1}, "shelved": 0}


def notify():
    return {"routes": [
        {"name": "mail_ada", "kind": "smtp", "where": "smtps://mail.example:465 to ada@example.org", "state": "ok", "reason": "", "waiting": 0, "last_delivered_utc": "2026-01-13T08:54:06Z"},
        {"name": "shop_hook", "kind": "webhook", "where": "https://example.org/hook", "state": "failing", "reason": "no answer within 10 s (attempt 14)", "waiting": 1, "last_delivered_utc": ""},
        {"name": "mail_ben", "kind": "smtp", "where": "smtps://mail.example:465 to ben@example.org", "state": "untested", "reason": "", "waiting": 1, "last_delivered_utc": ""}],
        "heartbeat": {"state": "held", "reason": "messages wait for more than 5 min"}}


def item(key, title, reason="", action="", state=None):
    return {"key": key, "title": title, "state": state or ("no" if action else "yes"), "reason": reason, "action": action}


def ready(unit, who=""):
    """The list of a unit: wexmere-m50 is not ready, hollin-p4 is as soon as somebody gives a name."""
    is_well = unit != "wexmere-m50"
    red = (lambda action: "") if is_well else (lambda action: action)
    items = [
        item("safety_test", "Safety test after the repair is entered", "0.11 ohm, 220 Mohm, 0.3 mA, by Ada" if is_well else "none is entered for this serial number",
             red(f'measure earth continuity, insulation and leakage, and enter it: steadyglow fact {unit} safety_test "..."')),
        item("points_alive", "Every protective point is alive", "6 protective points read" if is_well else "v1_cathode_mv (no_answer)", red("look at its clip and its meter")),
        item("limits", "Limits are set, and somebody has said where they come from", "service sheet p. 12, by Ada"),
        item("switches", "Unit relay, bench contactor and hardware watchdog are sound"),
        item("rehearsal", "The trip was rehearsed on this bench", "2026-01-10, by Ada" if is_well else "never with this unit's relay", red(f"steadyglow rehearse {unit}, standing beside it")),
        item("branch_load", "The branch circuit carries it for hours", "0.96 A of 12.8 A (80 % of a 16 A breaker)"),
        item("smoke", "A smoke or heat contact watches the bench", "its loop is closed"),
        item("person_on_call", "Somebody is on call, by name", "Ada"),
        item("notify_test", "A test message was accepted within 24 h", "mail_ada took it at 18:40"),
        item("attended_first", "It has run attended before", "" if is_well else "it has not run for an hour with somebody near it", red("stay near it for an hour first, and touch, smell and listen")),
        item("cautions", "The cautions are accepted by name", who or "say who leaves it", "" if who else "read them, then: steadyglow cautions --who NAME --accept"),
    ]
    return {"is_ready": all(one["state"] != "no" for one in items), "items": items}


def sheet_item(number, text, priority="low", by=""):
    return {"id": number, "text": text, "priority": priority, "is_ticked": bool(by), "ticked_by": by}


def did(*lines):
    return [{"utc": f"2026-01-13T{clock}Z", "text": text} for clock, text in lines]


def sheet_unit(name, title, headline, counted_h, since_h, **more):
    known = {"name": name, "title": title, "headline": headline, "counted_s": counted_h * HOUR, "since_counted_s": since_h * HOUR, "planned_s": 22.5 * HOUR,
             "gaps": [], "slopes": [], "did": [], "items": [], "verdict": ""}
    known.update(more)
    return known


def morning(messages):
    return {"from_utc": "2026-01-12T21:30:00Z", "to_utc": "2026-01-13T09:30:00Z", "units": [
        sheet_unit("brindlecombe35", "Brindlecombe 35", "CUT; off, proven: 0.00 A 1 s after the order; 5.4 h counted of 22.5 h; proposed: fail", 5.4, 3.1, verdict="fail",
                   did=did(("02:36:00", "cut: v3_cathode_mv: the tube turns 25.2 W, 101 % of the rated 25 W into heat"), ("02:36:01", "off, proven: 0.00 A 1 s after the order"),
                           ("02:39:21", "b_plus_v 31.0 V, below 50 V 3 min 20 s after the order; measure before you touch")),
                   items=[sheet_item("3-2", f"02:36 {messages[30002]}", "high"), sheet_item("3-warnings", "1 warning before and after it"), sheet_item("3-verdict", "proposed: fail; look at it and sign", by="Ben")]),
        sheet_unit("fennimark120", "Fennimark 120", "running, 12.6 h counted of 22.5 h", 12.6, 10.3,
                   gaps=["04:00 interrupted for 48 min: the mains were gone; switched on again for Ada"],
                   slopes=[{"point": "idle_left_mv", "text": "0.31 mV per hour (0.23 mV to 0.39 mV)"}],
                   did=did(("04:00:10", "switched off: the mains were gone"), ("04:12:20", "waits for its turn: the mains are steady again, and Ada wants it on again after a loss of supply"),
                           ("04:48:00", "switched on for Ada: the mains are steady again"), ("05:10:00", "mains step from 230 V to 237 V")),
                   items=[sheet_item("4-1", f"08:54 {messages[40001]}", "medium")]),
        sheet_unit("hollin-p4", "Hollin P4", "paused; 13.0 h counted of 22.5 h", 13.0, 11.0, gaps=["09:12 off for 18 min so far: Ben paused it: the shelf is being moved"]),
        sheet_unit("ombrel250", "Ombrel 250", "CUT; 0.90 A still flow 4 s after the second order; 8.2 h counted of 22.5 h; proposed: fail", 8.2, 6.8, verdict="fail",
                   did=did(("04:18:30", "cut: offset_left_mv stands at 1400 mV, above its trip limit of 300 mV"), ("04:18:32", "ordered off again"), ("04:18:36", "no bench contactor: the supply could not be broken")),
                   items=[sheet_item("6-1", f"04:18 {messages[60001]}", "highest")])],
        "bench": ["route shop_hook does not work: no answer within 10 s (attempt 14)"]}


def add_to(bench):
    messages = {alarm["id"]: alarm["message"] for alarm in bench["alarms"]}
    for unit in bench["units"]:
        unit["outlet"].update(OUTLETS.get(unit["name"], {"is_defective": False, "bleed_text": ""}))
        if unit["run"]:
            unit["run"].update(LIVES[unit["name"]])
        if unit["name"] == "hollin-p4":
            unit["run"].update(not_counting_because="paused by a person")
            unit["outlet"].update(state="off", proof="proven", proof_text="off, proven: 0.00 A 1 s after the order", reason="")
    for alarm in bench["alarms"]:
        priority, cause = ALARM_PRIORITIES[alarm["id"]]
        alarm.update(priority=priority, cause=cause, shelved_until_s=None, changed_by=alarm["acknowledged_by"], why="")
    bench.update(benches=benches(), incidents=incidents(messages), alarm_figures=FIGURES, notify=notify())
    return bench


def without(bench):
    """As a daemon serves it that knows nothing of all this."""
    for name in BENCH_LIFE:
        bench.pop(name, None)
    for unit in bench["units"]:
        for name in ("is_defective", "bleed_text"):
            unit["outlet"].pop(name, None)
        for name in RUN_LIFE if unit["run"] else ():
            unit["run"].pop(name, None)
    for alarm in bench["alarms"]:
        for name in ALARM_LIFE:
            alarm.pop(name, None)
    return bench
