#!/usr/bin/python3
"""A unit is repaired, soaked, signed for, sold and comes back, all of it through the API and the command line of a real daemon over the
virtual bench; then the daemon is killed, the unit leaves the configuration, and a serial number still opens its card with both runs."""
import hashlib
import json
import pathlib
import signal
import struct
import subprocess
import sys
import time
import urllib.error
import urllib.request
import zlib

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "support"))
from bench_process import begin_demo, end, Http, named_options, Processes, wait_for  # noqa: E402

RATE = 480.0
UNIT = "hollin_p4"
SOAK_HOURS = 2


def picture():
    """A whole PNG of two by two pixels (ISO/IEC 15948)."""
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", 2, 2, 8, 2, 0, 0, 0)) + chunk(b"IDAT", zlib.compress(bytes(14))) + chunk(b"IEND", b"")


def start_daemon(options, processes, name, http):
    process = processes.start(name, options.daemon, "--config", processes.folder / "bench.toml")
    wait_for("the daemon", http.is_up, 15)
    return process


def send_photo(http, path, data, content_type="image/png"):
    request = urllib.request.Request(http.base + path, data, {"Content-Type": content_type})
    try:
        with urllib.request.urlopen(request, timeout=20) as answer:
            return answer.status, json.loads(answer.read())
    except urllib.error.HTTPError as error:
        return error.code, json.loads(error.read() or b"{}")


def soak(http):
    """One run of SOAK_HOURS, stopped by a person and signed."""
    assert http.post(f"/api/v1/units/{UNIT}/start", {"who": "Ada", "at_the_bench": True})[0] == 200
    wait_for("the soak", lambda: http.unit(UNIT)["run"]["time_s"] > SOAK_HOURS * 3600, SOAK_HOURS * 3600 / RATE + 30)
    run = http.unit(UNIT)["run"]["id"]
    assert http.post(f"/api/v1/units/{UNIT}/stop", {"who": "Ada", "why": "long enough for a test"})[0] == 200
    wait_for("the end", lambda: http.unit(UNIT)["run"]["state"] == "ended" or http.unit(UNIT)["run"]["verdict"], 20)
    status, answer = http.post(f"/api/v1/units/{UNIT}/acts", {"who": "Ada", "kind": "sign", "word": "pass_with_remarks", "why": "a short soak, for a test"})
    assert status == 200, answer
    return run


def main():
    options = named_options("bench", "daemon", "command", "source", "folder")
    with Processes(options.folder) as processes:
        port = begin_demo(options, processes, RATE)
        http = Http(port)
        daemon = start_daemon(options, processes, "daemon", http)

        def call(*words, codes=(0,)):
            done = subprocess.run([options.command, *map(str, words), "--port", str(port)], capture_output=True, text=True, timeout=40)
            assert done.returncode in codes, (words, done.returncode, done.stdout, done.stderr)
            return done.stdout + done.stderr

        def write(kind, expected=200, card=UNIT, **fields):
            corrects = {"corrects": fields.pop("corrects")} if "corrects" in fields else {}
            status, answer = http.post(f"/api/v1/cards/{card}/entries", {"who": "Ada", "kind": kind, "fields": fields} | corrects)
            assert status == expected, (kind, status, answer)
            return answer

        # ---- before the soak ----
        serial = http.unit(UNIT)["serial"]
        assert http.get(f"/api/v1/cards/{UNIT}")["card"]["is_configured"], "a unit has a card before anybody writes on it"
        assert http.get("/api/v1/memory?hours=24")["line"].startswith("No repair"), "an empty shop says that it knows nothing"
        write("unit", maker="Hollin", model="P4", nameplate_volts=230, stock_number="S-88")
        write("repair", told="hum on the left", found="C12 dry", parts_out=["C12"], parts_in=["C12 220 uF"])
        wrong = write("tube", socket="V1", type="25 W pentode", identity="W-0412")["card"]["entries"][-1]["id"]
        card = write("tube", socket="V1", type="25 W pentode", identity="W-0421", prior_hours=12, corrects=wrong)["card"]
        assert [t["identity"] for t in card["tubes"]] == ["W-0421"] and card["entries"][-2]["corrected_by"] == card["entries"][-1]["id"], card
        write("tube", socket="V1", type="25 W pentode", expected=409, corrects=wrong)
        call("card", "adjustment", UNIT, "--what", "bias left", "--from", 44, "--to", 38, "--uom", "mA", "--who", "Ben")
        assert any(i["key"] == "safety_test" and i["state"] == "no" for i in http.get(f"/api/v1/units/{UNIT}/ready?who=Ada")["items"])
        call("card", "safety-test", UNIT, "earth 0.09 ohm, insulation above 50 Mohm", "--who", "Ada")
        assert any(i["key"] == "safety_test" and i["state"] == "yes" for i in http.get(f"/api/v1/units/{UNIT}/ready?who=Ada")["items"]), "entered on the card, it counts for leaving"

        # ---- what is refused, and stores nothing ----
        before = len(http.get(f"/api/v1/cards/{UNIT}")["card"]["entries"])
        for kind, fields in (("horoscope", {"text": "x"}), ("sold", {"day": "2026-02-31"}), ("sold", {"day": "2999-01-01"}), ("repair", {"told": "x"}), ("unit", {"nameplate_volts": "230"}), ("remark", {"text": "a\nb"}), ("remark", {})):
            write(kind, expected=400, **fields)
        write("remark", expected=404, text="x", corrects=99999)
        write("remark", expected=400, card="a%20b", text="x")
        assert len(http.get(f"/api/v1/cards/{UNIT}")["card"]["entries"]) == before

        # ---- a photo ----
        photo = picture()
        digest = hashlib.sha256(photo).hexdigest()
        status, answer = send_photo(http, f"/api/v1/cards/{UNIT}/photos?who=Ada&caption=underside", photo)
        assert status == 200 and answer["card"]["photos"][0]["sha256"] == digest, (status, answer)
        assert (processes.folder / "s.db.photos" / digest).read_bytes() == photo
        with urllib.request.urlopen(f"{http.base}/api/v1/photos/{digest}", timeout=10) as got:
            assert got.read() == photo and got.headers["Content-Type"] == "image/png" and got.headers["X-Content-Type-Options"] == "nosniff", got.headers
        assert send_photo(http, f"/api/v1/cards/{UNIT}/photos?who=Ada", b"<svg onload=alert(1)>")[0] == 400, "what calls itself a picture must be one"
        assert send_photo(http, f"/api/v1/cards/{UNIT}/photos?who=Ada", photo, "text/html")[0] == 415
        (processes.folder / "clip.png").write_bytes(photo)
        assert "photo of v1" in call("card", "photo", UNIT, processes.folder / "clip.png", "--point", "v1_cathode_mv", "--who", "Ben")

        # ---- soaked, sold, back ----
        first = soak(http)
        run = wait_for("its hours", lambda: (r := http.get(f"/api/v1/cards/{UNIT}")["card"]["runs"][0])["counted_s"] is not None and r, 30)
        assert run["id"] == first and run["signed_by"] == "Ada" and run["verdict"] == "pass_with_remarks", run
        view = http.unit(UNIT)["run"]
        assert abs(run["counted_s"] - view["counted_s"]) < 1.0, (run, view["counted_s"])
        assert run["powered_s"] >= SOAK_HOURS * 3600 * 0.98, run
        today = time.strftime("%Y-%m-%d", time.gmtime())
        call("card", "sold", UNIT, "--day", today, "--who", "Ada")
        assert http.get(f"/api/v1/cards/{UNIT}")["card"]["state"] == "sold"
        memory = http.get("/api/v1/memory?hours=24")
        assert memory["units"] == 1 and memory["failures"] == 0 and memory["returns"] == {"sold": 1, "returned": 0, "share": 0.0, "low": 0.0, "high": memory["returns"]["high"], "without_hours": 0}, memory
        assert memory["next_hours"] is None and memory["weibull"] is None, "one repair draws no curve"
        call("card", "returned", UNIT, "--day", today, "--complaint", "hum", "--who", "Ada", codes=(64,))
        call("card", "returned", UNIT, "--day", today, "--complaint", "hum", "--hours", 90, "--found", "V2 emission or heater joint", "--fault", "--who", "Ada")
        memory = http.get("/api/v1/memory?hours=24")
        assert memory["failures"] == 1 and memory["returns"]["returned"] == 1, memory
        assert abs(memory["survival"][0]["hours"] - (90 + run["counted_s"] / 3600)) < 1e-6, "the owner's hours come on top of the soak's"
        second = soak(http)

        # ---- the daemon is killed, and the unit leaves the configuration ----
        whole = wait_for("both runs", lambda: (c := http.get(f"/api/v1/cards/{UNIT}")["card"])["runs"][0]["counted_s"] is not None and c, 30)
        end(daemon, signal.SIGKILL)
        config = (processes.folder / "bench.toml").read_text()
        config = config.replace(f'name = "{UNIT}"', 'name = "another_p4"').replace(f'serial = "{serial}"', 'serial = "P4-9999"')
        (processes.folder / "bench.toml").write_text(config)
        start_daemon(options, processes, "again", http)
        found = http.get(f"/api/v1/cards?find={serial.replace('-', '%20').lower()}")["cards"]
        assert found and found[0]["name"] == UNIT and not found[0]["is_configured"], found
        card = http.get(f"/api/v1/cards/{found[0]['name']}")["card"]
        assert [r["id"] for r in card["runs"]] == [second, first], "run 2 stands beside run 1"
        assert card["entries"] == whole["entries"] and card["tubes"] == whole["tubes"] and card["photos"] == whole["photos"]
        assert [r["counted_s"] for r in card["runs"]] == [r["counted_s"] for r in whole["runs"]]
        assert not http.get("/api/v1/cards/another_p4")["card"]["runs"], "the next unit at the same place is another one"
        said = call("find", "w0421")
        assert UNIT in said and "by tube: W-0421" in said, said
        said = call("card", "show", UNIT)
        assert "corrected by" in said and "came back on" in said and "hum" in said, said
        assert call("find", "no such thing", codes=(1,)).startswith("nothing fits")
        said = call("memory", "--hours", 24)
        assert "1 of 1 sold came back" in said and "promises no life" in said, said
        call("memory", "--hours", 0, codes=(64,))
        print(said)
    return 0


if __name__ == "__main__":
    sys.exit(main())
