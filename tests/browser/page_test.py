#!/usr/bin/python3
"""The page in a real headless Chromium.

page_test.py --folder F --screenshots S                    all of it, against the canned bench of fixture_server.py
page_test.py --folder F --screenshots S --base-url URL     what only looks, against a running daemon
"""
import argparse
import json
import pathlib
import sys
import time
import urllib.request

import book_of_the_page
import canned_bench
import canned_night
import fixture_server
import night_of_the_page
import wiring_of_the_page
from page import CONTRAST, CONTRAST_MIN, DESKTOP, DRAWN_CONTRAST, DRAWN_CONTRAST_MIN, NARROWEST, PHONE, Page, equal
from webdriver import Browser


# ---- what only looks: holds against the canned bench and against a daemon ------------------------------------------

def every_unit_is_shown(page, bench):
    page.browser.screen(*DESKTOP)
    page.open("bench")
    page.browser.wait("a card for every unit", lambda: page.browser.count(".card") == len(bench["units"]))
    equal(page.browser.text(".card h2").split("\n"), [unit["title"] for unit in bench["units"]], "titles")
    assert "Not a safety device" in page.browser.text("footer"), "the caution stands on every page"
    page.has_no_complaint()


def every_unit_has_a_view_of_its_own(page, bench):
    for unit in bench["units"]:
        page.open(f"unit/{unit['name']}")
        page.browser.wait(unit["title"], lambda: page.browser.text(".unit-head h1") == unit["title"])
        equal(page.browser.count(".points tbody tr"), len(unit["points"]), f"points of {unit['name']}")
        if unit["run"]:
            page.charts_are_drawn()
        page.has_no_complaint()


def every_alarm_is_listed(page, bench):
    page.open("alarms")
    page.browser.wait("every alarm", lambda: page.browser.count(".alarm") == len(bench["alarms"]))
    page.has_no_complaint()


def cautions_can_be_read(page, _):
    page.open("cautions")
    for words in ("not a safety device", "smoke alarm", "thermal cut-out", "Local electrical code"):
        assert words in page.browser.text("main"), words
    page.has_no_complaint()


def asked(page, address):
    with urllib.request.urlopen(page.base + address, timeout=10) as answer:
        return json.load(answer)


def card_with_runs(page):
    cards = asked(page, "/api/v1/cards")["cards"]
    return f"card/{max(cards, key=lambda card: card['runs'])['name']}"


def run_with_a_page(page):
    runs = asked(page, "/api/v1/runs")["runs"]
    return f"run/{next((run['id'] for run in runs if run['verdict']), runs[0]['id'])}"


def pictures(page, bench):
    """Desktop and phone width of each view; nothing is wider than its window; no text is too faint."""
    unit = next((u for u in bench["units"] if u["name"] == "fennimark120"), bench["units"][0])
    idle = next((u for u in bench["units"] if u["name"] == "wexmere-m50"), bench["units"][-1])
    for view, name in (("bench", "bench"), (f"unit/{unit['name']}", "unit"), (f"unit/{idle['name']}", "ready"), ("alarms", "alarms"), ("morning", "morning"), ("units", "units"), (card_with_runs(page), "card"), (run_with_a_page(page), "run")):
        for width, size, is_phone in (("desktop", DESKTOP, False), ("phone", PHONE, True)):
            page.browser.screen(*size, "dark", is_phone)
            page.open(view)
            if name == "unit" and unit["run"]:
                page.charts_are_drawn()
            if name == "morning":
                page.browser.wait("the sheet", lambda: ":" in page.browser.text("h1"))
            if name in ("units", "card", "run"):
                page.browser.wait("the runs", lambda: page.seen(".run-line, .take-away"))
            if name in ("units", "ready"):
                page.browser.wait("the shop's memory", lambda: page.browser.text(".memory-line") not in ("", "Asking what the shop has seen"))
            page.browser.script("document.querySelectorAll('main details').forEach((d) => { d.open = true; })")
            page.every_field_is_named(view)
            page.fits_its_width(view)
            for scheme in ("dark", "light"):
                page.browser.screen(*size, scheme, is_phone)
                time.sleep(0.1)
                contrast = page.browser.script(CONTRAST)
                assert contrast["ratio"] >= CONTRAST_MIN, f"{view}, {scheme}: {contrast}"
                drawn = page.browser.script(DRAWN_CONTRAST)
                assert drawn["ratio"] >= DRAWN_CONTRAST_MIN, f"{scheme}: {drawn}"
                if scheme == "dark" or not is_phone:
                    page.shoot(f"{name}-{width}-{scheme}", size, scheme, is_phone, is_whole=True)
        page.browser.screen(*NARROWEST, "dark", True)
        page.fits_its_width(view)
        page.has_no_complaint()
    page.browser.screen(*DESKTOP)


# ---- what needs a bench that obeys the test ------------------------------------------------------------------------

def the_stream_changes_a_value(page, fixture):
    page.open("unit/fennimark120")
    now = ".points tbody tr:nth-child(1) td:nth-child(2) strong"
    page.browser.wait("the first value", lambda: page.browser.text(now).startswith("14.20"))
    fixture.unit("fennimark120")["points"][0]["value"] = 14.61
    fixture.tell_bench()
    page.browser.wait("the new value", lambda: page.browser.text(now).startswith("14.61"), 2)


def a_bad_reading_is_words_not_a_number(page, _):
    row = page.browser.text(".points tbody tr:nth-child(4)")
    assert "contact lost" in row and "5 min 12 s old" in row, row


def a_gap_is_not_bridged(page, _):
    page.charts_are_drawn()
    page.browser.click(".chart:nth-child(1) details summary")
    page.browser.wait("the table", lambda: page.browser.count(".chart:nth-child(1) tbody tr") > 20)
    table = page.browser.text(".chart:nth-child(1) tbody")
    assert "no good reading" in table, "the table of the bias chart names the gap"
    # The same rows as the chart draws: between 5.37 h and 6.9 h the right channel has no figure to draw a line through.
    rows = page.browser.script("""
      const { rows_of } = await import('/assets/series.js');
      const history = await (await fetch('/api/v1/units/fennimark120/history?points=idle_right_mv&from_s=0&to_s=52200&buckets=400')).json();
      const rows = rows_of({ ...history, series: new Map(history.series.map((s) => [s.point, s])) }, [{ name: 'idle_right_mv' }], new Map());
      return rows.filter((row) => row[0] > 5.5 && row[0] < 6.8).map((row) => Number.isNaN(row[1][1]));""")
    assert rows and all(rows), rows


def a_fine_grid_is_not_taken_for_gaps(page, _):
    bars = page.browser.script("""
      const { rows_of } = await import('/assets/series.js');
      const history = { time_s: [0, 5, 10, 15, 20, 25, 30, 35], bucket_s: 5, series: new Map([['p', { min: [1, null, null, 1, null, null, 1, null], mean: [1, null, null, 1, null, null, 1, null], max: [1, null, null, 1, null, null, 1, null] }]]) };
      return rows_of(history, [{ name: 'p' }], new Map([['p', 15]])).filter((row) => row[1] && Number.isNaN(row[1][1])).length;""")
    equal(bars, 0, "buckets between two readings that came when they were due")


def the_window_of_time_moves(page, fixture):
    def label():
        return page.browser.script("return [...document.querySelectorAll('.chart:nth-child(1) .dygraph-axis-label-x')].map((e) => e.textContent).join(' ')")
    before = label()
    page.browser.script("document.querySelectorAll('.tools button')[2].click()")
    page.browser.wait("the last hour", lambda: "13:40" in label() and label() != before)
    equal(page.browser.script("return document.querySelectorAll('.tools button')[2].getAttribute('aria-pressed')"), "true", "the last hour is marked")
    box = page.browser.script("document.querySelector('.chart .canvas').scrollIntoView({ block: 'center' }); const r = document.querySelector('.chart .canvas').getBoundingClientRect(); return [r.left, r.top, r.width, r.height]")
    x, y = int(box[0] + box[2] / 2), int(box[1] + box[3] / 2)
    last_hour = label()
    page.browser.post("/actions", {"actions": [{"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": [
        {"type": "pointerMove", "x": x, "y": y, "duration": 0}, {"type": "pointerDown", "button": 0},
        {"type": "pointerMove", "x": x + 150, "y": y, "duration": 60}, {"type": "pointerUp", "button": 0}]}]})
    page.browser.wait("a drag looks closer", lambda: label() not in (last_hour, before))
    assert page.browser.text(".chart .moment") != "", "the moment under the pointer is named"
    chosen = label()
    page.browser.post("/actions", {"actions": [{"type": "pointer", "id": "finger", "parameters": {"pointerType": "touch"}, "actions": [
        {"type": "pointerMove", "x": x, "y": y, "duration": 0}, {"type": "pointerDown", "button": 0},
        {"type": "pointerMove", "x": x + 60, "y": y, "duration": 40}, {"type": "pointerMove", "x": x + 160, "y": y, "duration": 60}, {"type": "pointerUp", "button": 0}]}]})
    page.browser.wait("a finger moves it", lambda: label() != chosen)


def markup_in_a_name_is_text(page, fixture):
    evil = "<img src=x onerror=\"window.was_run=1\"><script>window.was_run=1</script>"
    unit = fixture.unit("hollin-p4")
    kept = unit["title"]
    unit["title"] = evil
    fixture.bench["alarms"][2]["message"] += evil
    fixture.bench["incidents"][1]["title"] += evil
    for view, place in (("bench", ".card h2"), ("unit/hollin-p4", ".unit-head h1"), ("alarms", ".alarm .message"), ("alarms", ".incident h3")):
        page.open(view)
        page.browser.wait(f"the name as text ({view})", lambda: "<script>window.was_run=1</script>" in page.browser.text(place))
        equal(page.browser.count("main img, main script"), 0, "elements made of a name")
    assert page.browser.script("return window.was_run === undefined"), "a name was run"
    page.has_no_complaint()
    unit["title"] = kept
    fixture.bench["alarms"][2]["message"] = fixture.bench["alarms"][2]["message"].removesuffix(evil)
    fixture.bench["incidents"][1]["title"] = fixture.bench["incidents"][1]["title"].removesuffix(evil)


def trouble_has_its_banner(page, fixture):
    page.open("bench")
    fixture.bench.update(is_accelerated=True, clock_rate=480.0)
    fixture.bench["store"].update(state="failing", reason="no space left on the disk")
    fixture.bench["buses"][0].update(state="silent")
    fixture.tell_bench()
    for words in ("480 times faster", "no space left on the disk", "Bus bench_tcp (127.0.0.1:1502) is silent"):
        page.browser.wait(words, lambda: words in page.browser.text("#banners"), 2)
    page.shoot("bench-trouble", DESKTOP)
    fixture.bench.update(is_accelerated=False, clock_rate=1.0)
    fixture.bench["store"].update(state="ok", reason="")
    fixture.bench["buses"][0].update(state="ok")
    fixture.tell_bench()
    page.browser.wait("the banners go", lambda: page.browser.text("#banners") == "", 2)


def a_new_alarm_is_said_once(page, fixture):
    page.open("bench")
    page.browser.wait("the count", lambda: page.browser.text("#alarm-count") == "3 waiting")
    new = canned_bench.alarm(50001, "hollin-p4", ["rail_plus_v"], "limit", "trip", "unacknowledged", 14.5, "rail_plus_v stands at 17.4 V, above its trip limit of 17.25 V")
    fixture.bench["alarms"].append(new)
    fixture.tell_bench()
    page.browser.wait("said aloud", lambda: "Hollin P4: rail_plus_v stands at 17.4 V" in page.browser.script("return document.getElementById('urgent').textContent"), 2)
    equal(page.browser.script("return document.title").split(" ")[0], "(4)", "the count in the title")
    fixture.bench["alarms"].remove(new)
    fixture.tell_bench()


def an_older_daemon_is_shown_as_it_is(page, fixture):
    """Every part of the unattended night may be absent: it is left out, and nothing is asked for in vain."""
    fixture.bench = canned_night.without(canned_bench.fresh())
    for view in ("bench", "alarms", "unit/fennimark120", "unit/brindlecombe35"):
        page.open(view)
        page.has_no_complaint()
    equal(page.seen(".supply, .ready, .life, .life-list, .bleed, .left-alone"), [], "parts that nobody serves")
    equal(page.seen(".actions button"), ["Start\u2026", "Stop\u2026"], "the actions of an older daemon")
    page.open("alarms")
    equal(page.seen(".incident, .route, .figures-table, .alarm-buttons .plain"), [], "parts that nobody serves")


def a_name_and_a_note_acknowledge(page, fixture):
    page.open("alarms")
    fixture.posted.clear()
    page.act(".alarm button", "Acknowledge")
    page.browser.wait("the dialog", lambda: page.browser.count("dialog[open]") == 1)
    equal(page.browser.script("return document.querySelector('dialog [name=who]').value"), "", "nobody's name is put in anybody's mouth")
    page.browser.script("document.querySelector('dialog form').noValidate = true")
    page.browser.click("dialog [type=submit]")
    page.browser.wait("it asks for the name", lambda: "A name is needed" in page.browser.text("dialog .problem"))
    equal(fixture.posted, [], "posts without a name")
    page.browser.type("dialog [name=note]", "relay replaced")
    page.browser.type("dialog [name=who]", "Ada")
    page.browser.click("dialog [type=submit]")
    page.browser.wait("the dialog closes", lambda: page.browser.count("dialog") == 0)
    equal(fixture.posted, [("/api/v1/alarms/60001/acknowledge", "application/json", {"who": "Ada", "note": "relay replaced"})], "what was posted")
    page.browser.wait("it moves to the answered", lambda: "acknowledged by Ada" in page.browser.text(".alarm[data-waits=no]"))
    equal(page.browser.script("return localStorage.getItem('steadyglow.who')"), "Ada", "the name is kept for the next time")


def a_start_needs_somebody_at_the_bench(page, fixture):
    fixture.bench = canned_bench.fresh()
    page.open("unit/wexmere-m50")
    fixture.posted.clear()
    page.browser.wait("the unit", lambda: page.browser.text(".unit-head h1") == "Wexmere M50, left")
    page.browser.click(".actions button:not(.grave)")
    page.browser.wait("the dialog", lambda: page.browser.count("dialog[open]") == 1)
    assert "Lethal voltages" in page.browser.text("dialog"), "the caution stands where one acts"
    page.shoot("start-desktop", DESKTOP)
    page.shoot("start-phone", PHONE, is_phone=True)
    page.browser.screen(*DESKTOP)
    page.browser.click("dialog [type=submit]")
    equal(page.browser.count("dialog[open]"), 1, "the browser holds it back without the box")
    page.browser.script("document.querySelector('dialog form').noValidate = true")
    page.browser.click("dialog [type=submit]")
    page.browser.wait("so does the page", lambda: "Only a person at the bench" in page.browser.text("dialog .problem"))
    equal(fixture.posted, [], "posts without the box")
    page.browser.click("dialog [name=at_the_bench]")
    page.browser.click("dialog [type=submit]")
    page.browser.wait("the dialog closes", lambda: page.browser.count("dialog") == 0)
    equal(fixture.posted, [("/api/v1/units/wexmere-m50/start", "application/json", {"who": "Ada", "at_the_bench": True})], "what was posted")


def a_refusal_is_shown(page, fixture):
    page.open("unit/fennimark120")
    page.browser.wait("the unit", lambda: page.browser.text(".unit-head h1") == "Fennimark 120")
    page.browser.console()
    page.browser.click(".actions .grave")
    page.browser.click("dialog [type=submit]")
    page.browser.wait("the daemon's own words", lambda: "nothing is going on (a run must be started first)" in page.browser.text("dialog .problem"))
    equal(fixture.posted[-1][2], {"who": "Ada", "why": ""}, "what was posted")
    page.browser.click("dialog button.plain")
    page.browser.console()  # the browser's own line about the status 409


def a_dead_daemon_greys_everything(page, fixture):
    page.open("bench")
    bright = page.browser.script("return getComputedStyle(document.querySelector('.hours .value')).color")
    fixture.die()
    page.browser.wait("the page says how old it is", lambda: page.browser.text("#heard").startswith("last heard"), 14)
    assert "Every value here is old" in page.browser.text("#banners"), page.browser.text("#banners")
    assert page.browser.script("return getComputedStyle(document.querySelector('.hours .value')).color") != bright, "values are greyed"
    assert page.browser.script("return document.title").endswith("(old)"), "the title says it too"
    contrast = page.browser.script(CONTRAST)
    assert contrast["ratio"] >= CONTRAST_MIN, contrast
    page.shoot("bench-old", DESKTOP)


LOOKING = [every_unit_is_shown, every_unit_has_a_view_of_its_own, every_alarm_is_listed, cautions_can_be_read, pictures]
ACTING = [the_stream_changes_a_value, a_bad_reading_is_words_not_a_number, a_gap_is_not_bridged, a_fine_grid_is_not_taken_for_gaps, the_window_of_time_moves,
          markup_in_a_name_is_text, trouble_has_its_banner, a_new_alarm_is_said_once, an_older_daemon_is_shown_as_it_is, a_name_and_a_note_acknowledge,
          a_start_needs_somebody_at_the_bench, *night_of_the_page.TESTS, *book_of_the_page.TESTS, *wiring_of_the_page.TESTS, a_refusal_is_shown, a_dead_daemon_greys_everything]


def run(test, *arguments):
    began = time.monotonic()
    test(*arguments)
    print(f"{time.monotonic() - began:5.1f} s  {test.__name__.replace('_', ' ')}", flush=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--folder", required=True, help="scratch: the browser's new profile and its log")
    parser.add_argument("--screenshots", required=True, help="where the pictures go")
    parser.add_argument("--base-url", help="a running daemon: only the part that looks is done")
    parser.add_argument("--chromedriver", default="/usr/bin/chromedriver")
    options = parser.parse_args()
    screenshots = pathlib.Path(options.screenshots)
    screenshots.mkdir(parents=True, exist_ok=True)
    fixture = fixture_server.Fixture()
    base = options.base_url or f"http://127.0.0.1:{fixture_server.serve(fixture).server_address[1]}"
    with urllib.request.urlopen(f"{base}/api/v1/bench", timeout=10) as answer:
        bench = json.load(answer)
    with Browser(options.folder, options.chromedriver) as browser:
        page = Page(browser, base, screenshots)
        for test in LOOKING:
            run(test, page, bench)
        for test in [] if options.base_url else ACTING:
            run(test, page, fixture)


if __name__ == "__main__":
    sys.exit(main())
