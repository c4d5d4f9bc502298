"""What the shop keeps beyond one night, in the shapes of daemon/http/API.md: stored runs."""


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
