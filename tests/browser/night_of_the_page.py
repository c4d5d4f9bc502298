"""What the page does for an unattended night, against the canned bench: the list before one leaves, the life of a run,
incidents, the supply of a bench, the morning."""
import canned_bench
import canned_night
from page import DESKTOP, PHONE, equal

# Charts paint into a real canvas: how much of a column of pixels is painted.
PAINTED = """
const { paint_surroundings } = await import('/assets/chart_paint.js');
const canvas = Object.assign(document.createElement('canvas'), { width: 400, height: 200 });
const context = canvas.getContext('2d', { willReadFrequently: true });
const theme = { surface: '#000000', edge: '#ff0000', soft: '#ff0000', text: '#ff0000', warn: '#ff0000', trip: '#ff0000' };
const run = { time_s: 36000, stages: [], ...arguments[0] };
paint_surroundings(context, { x: 0, y: 0, w: 400, h: 200 }, { toDomXCoord: (h) => h * 40, toDomYCoord: (v) => v },
                   { group: { points: [{ name: 'a', warn_low: null, warn_high: null, trip_low: null, trip_high: null }] }, board: { run, findings: [], theme }, rows: [] });
const share = (from_h, to_h) => { const d = context.getImageData(from_h * 40, 60, (to_h - from_h) * 40, 80).data; let n = 0; for (let i = 3; i < d.length; i += 4) n += d[i] > 0; return n / (d.length / 4); };
return arguments[1].map(([from, to]) => share(from, to));
"""


def open_unit(page, name):
    page.open(f"unit/{name}")
    page.browser.wait("the list", lambda: page.browser.count(".ready-item") > 0)


def fill(page, selector, text):
    page.browser.script("const e = document.querySelector(arguments[0]); e.value = ''", selector)
    page.browser.type(selector, text)


def dialog(page):
    page.browser.wait("the dialog", lambda: page.browser.count("dialog[open]") == 1)


def send(page, fixture):
    """Sends the open form as the browser would; what was posted."""
    fixture.posted.clear()
    page.browser.click("form [type=submit]")
    page.browser.wait("it is sent", lambda: fixture.posted and page.browser.count("form") == 0)
    return fixture.posted[-1][0], fixture.posted[-1][2]


def refused(page, fixture, words):
    """Pressing send is answered with these words, and nothing is posted."""
    fixture.posted.clear()
    page.browser.script("document.querySelectorAll('form').forEach((f) => { f.noValidate = true; })")
    page.browser.click("form [type=submit]")
    page.browser.wait(words, lambda: words in page.browser.text("form .problem"))
    equal(fixture.posted, [], "posts that were held back")


# ---- ready to leave ------------------------------------------------------------------------------------------------

def no_is_a_normal_answer_with_reasons(page, fixture):
    fixture.bench = canned_bench.fresh()
    page.browser.script("localStorage.removeItem('steadyglow.who')")
    open_unit(page, "wexmere-m50")
    equal(page.browser.text(".ready summary"), "Ready to leave? No: 5 of 11 lines say no.", "what is read first")
    assert "That is a normal answer" in page.browser.text(".ready"), page.browser.text(".ready")
    marks = page.browser.text(".ready-item .ready-mark").split("\n")
    equal(marks, ["\u2717 no"] * 5 + ["\u2713 yes"] * 6, "marks: a symbol and a word, what is to be mended first")
    first = page.browser.text(".ready-item:nth-child(1)")
    assert "none is entered for this serial number" in first and 'steadyglow fact wexmere-m50 safety_test "..."' in first, first
    equal(page.browser.script("return document.querySelectorAll('.actions button')[1].disabled"), True, "unattended is not offered")
    assert "Not unattended: 5 lines of the list below say no." in page.browser.text(".actions"), page.browser.text(".actions")
    page.browser.type(".ready [name=who]", "Ada")
    page.browser.wait("the list of this name", lambda: "No: 4 of 11" in page.browser.text(".ready summary"))
    page.has_no_complaint()


def a_safety_test_is_entered(page, fixture):
    open_unit(page, "wexmere-m50")
    page.act(".ready-item button", "Enter")
    dialog(page)
    refused(page, fixture, "Say what was measured")
    page.browser.type("dialog [name=text]", "0.12 ohm, 240 Mohm, 0.2 mA")
    equal(send(page, fixture), ("/api/v1/units/wexmere-m50/facts", {"who": "Ada", "kind": "safety_test", "text": "0.12 ohm, 240 Mohm, 0.2 mA"}), "what was posted")


def what_is_ready_is_started_unattended(page, fixture):
    open_unit(page, "brindlecombe35")
    page.browser.wait("all yes", lambda: "Yes, it may be left." in page.browser.text(".ready summary"))
    page.shoot("ready-yes-desktop", DESKTOP, "light")
    page.act(".actions button", "Start unattended")
    dialog(page)
    text = page.browser.text("dialog")
    for words in ("Lethal voltages", "insurer and landlord decide", "After a power cut it stays off", "it is cut at nine tenths of the way; nobody is woken"):
        assert words in text, words
    page.browser.click("dialog [value=staged]")
    page.browser.click("dialog [name=wake]")
    page.browser.wait("the sentences follow", lambda: "After a power cut it comes back by itself" in page.browser.text("dialog .will") and "somebody is woken" in page.browser.text("dialog .will"))
    page.every_field_is_named("start unattended")
    page.shoot("unattended-desktop", DESKTOP)
    page.shoot("unattended-phone", PHONE, is_phone=True)
    page.browser.screen(*DESKTOP)
    refused(page, fixture, "Only a person at the bench")
    page.browser.click("dialog [name=at_the_bench]")
    address, body = send(page, fixture)
    equal(address, "/api/v1/units/brindlecombe35/start", "address")
    minutes = body["policy"].pop("person_back_in_minutes")
    assert 0 < minutes <= 1440, minutes
    equal(body, {"who": "Ada", "at_the_bench": True, "policy": {"is_unattended": True, "after_mains": "staged", "on_forecast": "cut", "is_cut_when_stuck": False, "wakes_for_forecast": True}}, "what was posted")


def a_running_unit_is_left(page, fixture):
    open_unit(page, "hollin-p4")
    page.browser.script("document.querySelector('.ready').open = true")
    page.act(".ready button", "Leave it unattended")
    dialog(page)
    address, body = send(page, fixture)
    equal((address, body["policy"]["is_unattended"], body["policy"]["after_mains"]), ("/api/v1/units/hollin-p4/leave", True, "stay_off"), "what was posted")


def what_was_decided_is_said(page, _):
    open_unit(page, "fennimark120")
    text = page.browser.text(".left-alone")
    assert "Ada is back at" in text and "in 6 h 30 min" in text and "comes back by itself: after ten minutes of steady mains" in text, text
    assert "Unattended, left by Ada" in page.browser.text(".summary"), page.browser.text(".summary")


# ---- the life of a run ---------------------------------------------------------------------------------------------

def what_can_be_done_depends_on_the_run(page, fixture):
    def offered():
        page.browser.script("document.querySelector('.life').open = true")
        return page.seen(".life > .buttons > button")
    open_unit(page, "fennimark120")
    equal(offered(), ["Pause", "Screwdriver used", "Remark", "Stop for good"], "a run that is on: parts and places change when it is off")
    open_unit(page, "hollin-p4")
    equal(offered(), ["Go on", "Screwdriver used", "Part replaced", "Moved", "Remark", "Stop for good"], "a paused run")
    page.act(".life button", "Go on")
    assert "Lethal voltages follow at once" in page.browser.text(".act-form"), "the caution stands where one acts"
    equal(send(page, fixture), ("/api/v1/units/hollin-p4/acts", {"who": "Ada", "kind": "go_on"}), "what was posted")
    open_unit(page, "brindlecombe35")
    equal(offered(), ["Remark", "Sign"], "a run that is over")


def a_screwdriver_is_entered(page, fixture):
    open_unit(page, "fennimark120")
    page.browser.script("document.querySelector('.life').open = true")
    page.act(".life button", "Screwdriver used")
    refused(page, fixture, "Name the control")
    page.browser.click(".act-form [value=idle_left_mv]")
    fill(page, ".act-form [name=control]", "bias trimmer left")
    fill(page, ".act-form [name=before]", "much")
    refused(page, fixture, "Before and after are figures")
    fill(page, ".act-form [name=before]", "11,2")
    fill(page, ".act-form [name=after]", "10.0")
    fixture.tell_bench()  # a form that is being filled in stays as it is
    page.shoot("touch-desktop", DESKTOP, is_whole=True)
    page.shoot("touch-phone", PHONE, is_phone=True, is_whole=True)
    page.browser.screen(*DESKTOP)
    equal(send(page, fixture), ("/api/v1/units/fennimark120/acts", {"who": "Ada", "kind": "touch", "points": ["idle_left_mv"], "control": "bias trimmer left", "before": 11.2, "after": 10}), "what was posted")


def another_verdict_needs_its_reason(page, fixture):
    open_unit(page, "brindlecombe35")
    page.browser.script("document.querySelector('.life').open = true")
    page.act(".life button", "Sign")
    equal(page.browser.script("return document.querySelector('.act-form select').value"), "fail", "the proposed verdict is offered first")
    page.browser.type(".act-form select", "Incomplete")
    refused(page, fixture, "needs its reason")
    page.browser.type(".act-form [name=why]", "the tube, not the unit")
    equal(send(page, fixture), ("/api/v1/units/brindlecombe35/acts", {"who": "Ada", "kind": "sign", "word": "incomplete", "why": "the tube, not the unit"}), "what was posted")


def a_signature_is_shown_for_what_it_is(page, fixture):
    run = fixture.unit("brindlecombe35")["run"]
    run["verdict"]["is_proposed"] = False
    run["signature"] = {"who": "Ada", "word": "incomplete", "why": "the tube, not the unit", "time_s": canned_bench.NOW_S}
    open_unit(page, "brindlecombe35")
    equal(page.browser.text(".verdict-box .verdict"), "Incomplete, signed by Ada. Proposed was: fail.", "who says what")
    assert "14:30\u202fh" in page.browser.text(".signed") and "the tube, not the unit" in page.browser.text(".signed"), page.browser.text(".signed")
    assert "a person signs" not in page.browser.text("main"), "nobody is asked for what was given"
    page.browser.script("document.querySelector('.life').open = true")
    page.act(".life button", "Sign")
    assert "Ada has signed: Incomplete. That stays in the record" in page.browser.text(".act-form"), page.browser.text(".act-form")
    page.open("bench")
    page.browser.wait("on the bench too", lambda: "Incomplete, signed by Ada." in page.browser.text(".card .verdict"))
    run["verdict"]["is_proposed"] = True
    run["signature"] = None


def interruptions_and_segments_are_listed(page, _):
    open_unit(page, "fennimark120")
    rows = page.browser.text(".life-list tr td:nth-child(2)").split("\n")
    equal(rows, ["Off by intention for 15 min: Ada paused it: bias of the left channel", "Segment 1 begins (Idle left): bias trimmer left, 11.2 mV to 10.0 mV, by Ada",
                 "Interrupted for 48 min: the mains were gone; switched on again for Ada"], "the list")


def charts_show_interruptions_and_segments(page, _):
    gap = {"interruptions": [{"from_s": 3600, "to_s": 7200, "why": "x", "is_planned": False}, {"from_s": 32400, "to_s": None, "why": "y", "is_planned": True}]}
    closed, between, still_open = page.browser.script(PAINTED, gap, [[1.1, 1.9], [3, 8], [9.1, 9.9]])
    assert closed > 0.05 and still_open > 0.05, f"hatched: {closed}, {still_open}"
    equal(between, 0, "painted where it ran")
    def columns(points):
        return page.browser.script(PAINTED, {"segments": [{"number": 0, "from_s": 0, "points": [], "why": "began"}, {"number": 1, "from_s": 18000, "points": points, "why": "z"}]}, [[4.9, 5.1], [0, 0.2]])
    line, start = columns(["a"])
    assert line > 0.2 and start == 0, f"the line of a segment: {line}, at the start: {start}"
    equal(columns(["another"])[0], 0, "the line of another point's segment")


def the_charge_that_is_left_is_big(page, _):
    open_unit(page, "brindlecombe35")
    equal(page.browser.text(".bleed strong"), "B+ 31.0\u202fV", "what is left")
    assert "measure before you touch" in page.browser.text(".bleed"), page.browser.text(".bleed")
    size = page.browser.script("return parseFloat(getComputedStyle(document.querySelector('.bleed strong')).fontSize)")
    assert size >= 24, size


def a_relay_that_did_not_obey_is_not_used_again(page, fixture):
    open_unit(page, "ombrel250")
    equal(page.browser.script("return [...document.querySelectorAll('.actions button')].slice(0, 2).map((b) => b.disabled)"), [True, True], "no start is offered")
    assert "nothing is switched on with it" in page.browser.text(".actions"), page.browser.text(".actions")


# ---- incidents -----------------------------------------------------------------------------------------------------

def incidents_come_first(page, fixture):
    page.open("alarms")
    page.browser.wait("what was done", lambda: "ordered off again" in page.browser.text(".incident:nth-child(1)"))
    first = page.browser.text(".incident:nth-child(1)")
    for words in ("rings until answered", "ORDERED OFF AND NOT OFF", "cut: offset_left_mv stands at 1400 mV", "Ada by mail_ada \u00b7 first word", "\u2713 delivered", "Ada by shop_hook \u00b7 first word", "\u2717 failing, tried again", "and 1 more in between",
                  "Ben by mail_ben \u00b7 again", "\u2026 waiting", "Nobody has answered."):
        assert words in first, f"{words}: {first}"
    equal(page.browser.text(".incident h3").split("\n")[:3], ["Ombrel 250, bench 3: ORDERED OFF AND NOT OFF", "Fennimark 120, bench 2: on", "Brindlecombe 35, bench 1: OFF, proven"], "the order")
    equal(page.browser.text(".past > summary"), "1 earlier, over and answered", "what is over")
    page.act(".incident button", "Acknowledge")
    dialog(page)
    page.browser.type("dialog [name=note]", "plug pulled")
    equal(send(page, fixture), ("/api/v1/incidents/4/acknowledge", {"who": "Ada", "note": "plug pulled"}), "what was posted")
    page.browser.wait("it is answered", lambda: "Acknowledged by Ada" in page.browser.text(".incident:nth-child(2)") + page.browser.text(".incident:nth-child(3)"))


def what_was_done_stands_in_one_incident(page, fixture):
    """Two incidents of one unit overlap: each deed stands where it belongs, once."""
    second = canned_night.incident(5, "high", "05:30:00", "Ombrel 250, bench 3: no sign of life", "no sign of life", ["ombrel250"], [60002], [canned_night.told("Ada", "shop_hook", "alarm", "05:30:02", "given_up")])
    fixture.bench["incidents"].insert(0, second)
    page.open("alarms")
    page.browser.wait("what was done", lambda: "ordered off again" in page.browser.text(".incidents"))
    deeds = page.browser.script("return [...document.querySelectorAll('.incident .block:first-child li')].filter((e) => e.textContent.includes('ordered off again')).map((e) => e.closest('.incident').querySelector('h3').textContent)")
    equal(deeds, ["Ombrel 250, bench 3: ORDERED OFF AND NOT OFF"], "the incident that the deed belongs to")
    other = page.browser.text("[aria-labelledby=incident-5]")
    for words in ("Nothing was switched.", "given up: nobody gets it this way", "Every way to people has refused it: nobody knows of this yet."):
        assert words in other, f"{words}: {other}"
    assert "Every way to people" not in page.browser.script("return document.querySelector('[aria-labelledby=incident-4]').innerText"), "one way works"
    page.shoot("refused-phone", PHONE, is_phone=True)
    page.browser.screen(*DESKTOP)
    fixture.bench["incidents"].remove(second)
    fixture.tell_bench()


def an_alarm_is_put_aside_for_a_time(page, fixture):
    page.open("alarms")
    page.act(".incident:nth-child(1) .alarm button", "Put aside")
    dialog(page)
    refused(page, fixture, "A reason is needed")
    page.browser.type("dialog [name=minutes]", "1 hour")
    page.browser.type("dialog [name=why]", "I watch it")
    equal(send(page, fixture), ("/api/v1/units/fennimark120/acts", {"who": "Ada", "kind": "shelve", "alarm": 40001, "minutes": 60, "why": "I watch it"}), "what was posted")
    page.browser.wait("it says until when", lambda: "aside until 15:30" in page.browser.text(".alarm") and "by Ada" in page.browser.text(".alarm"))
    page.act(".alarm button", "Take it back")
    dialog(page)
    equal(send(page, fixture)[1], {"who": "Ada", "kind": "unshelve", "alarm": 40001}, "what was posted")


def the_alarm_system_shows_itself(page, fixture):
    page.open("alarms")
    text = page.browser.text(".system")
    for words in ("ANSI/ISA-18.2-2016, 16.4", "\u2717 FAILING", "no answer within 10 s", "? never used yet", "The sign of life is held back", "\u2717 offset_right_mv contact_lost", "63 / 13 / 13 / 13"):
        assert words in text, f"{words}: {text}"
    page.act(".system button", "Send a test")
    dialog(page)
    equal(send(page, fixture), ("/api/v1/notify/test", {"who": "Ada"}), "what was posted")
    page.browser.wait("what to look at", lambda: "each route says above what became of it" in page.browser.text(".system"))


# ---- the bench -----------------------------------------------------------------------------------------------------

def a_bench_is_cut_with_two_presses(page, fixture):
    fixture.bench = canned_bench.fresh()
    page.open("bench")
    page.browser.wait("the strip", lambda: page.browser.text(".supply:nth-child(2) summary") == "Contactor closed, watchdog fed, 0.41 of 12.8\u202fA")
    fixture.posted.clear()
    page.browser.script("document.querySelectorAll('button.cut')[1].focus()")
    page.browser.type("button.cut:focus", "\ue007")
    page.browser.wait("it asks once more", lambda: page.browser.script("return document.activeElement.textContent") == "Yes, cut bench 2 now")
    equal(fixture.posted, [], "one press")
    page.shoot("cut-phone", PHONE, is_phone=True)
    page.browser.screen(*DESKTOP)
    page.browser.type(":focus", "\ue007")
    page.browser.wait("it is cut", lambda: "Contactor open" in page.browser.text(".supply:nth-child(2) summary"))
    equal(fixture.posted, [("/api/v1/benches/bench%202/cut", "application/json", {"who": "Ada", "why": ""})], "what was posted")


def a_contactor_is_closed_at_the_bench_alone(page, fixture):
    page.browser.script("document.querySelectorAll('.supply details').forEach((d) => { d.open = true; })")
    page.act(".supply:nth-child(2) button", "Close the contactor")
    dialog(page)
    assert "with lethal voltages" in page.browser.text("dialog") and "Ada cut the bench" in page.browser.text("dialog"), page.browser.text("dialog")
    refused(page, fixture, "Only a person at the bench")
    page.browser.click("dialog [name=at_the_bench]")
    equal(send(page, fixture), ("/api/v1/benches/bench%202/close", {"who": "Ada", "at_the_bench": True}), "what was posted")
    page.browser.wait("it is closed", lambda: "Contactor closed" in page.browser.text(".supply:nth-child(2) summary"))


def a_trip_is_rehearsed(page, fixture):
    page.act(".supply:nth-child(2) button", "Rehearse the trip")
    dialog(page)
    assert "Stay beside it" in page.browser.text("dialog"), page.browser.text("dialog")
    equal(send(page, fixture), ("/api/v1/benches/bench%202/rehearse", {"who": "Ada", "unit": "fennimark120"}), "what was posted")
    page.browser.wait("how it goes", lambda: "under way" in page.browser.text(".supply:nth-child(2)") and "the unit's relay is open" in page.browser.text(".supply:nth-child(2)"))


def cautions_are_accepted_one_by_one(page, fixture):
    page.act(".supply:nth-child(1) button", "Cautions")
    dialog(page)
    for _, sentence in canned_night.CAUTIONS:
        assert sentence in page.browser.text("dialog"), sentence
    page.browser.click("dialog .check:nth-child(1) input")
    refused(page, fixture, "Each has its own box")
    page.browser.script("document.querySelectorAll('dialog .check:not(:first-child) input').forEach((box) => box.click())")
    equal(send(page, fixture), ("/api/v1/benches/bench%201/cautions", {"who": "Ada", "accepted": [key for key, _ in canned_night.CAUTIONS]}), "what was posted")


def smoke_is_the_first_banner(page, fixture):
    page.open("bench")
    fixture.bench["benches"][0]["smoke"] = "smoke"
    fixture.bench["benches"][1]["watchdog"] = {"state": "held", "reason": "bus bench_tcp does not move; 10 s after the last write every contact opens"}
    fixture.tell_bench()
    page.browser.wait("smoke", lambda: "SMOKE OR HEAT at bench 1. Leave, and call the fire service." in page.browser.text("#banners"), 2)
    assert "watchdog of bench 2 is not fed: bus bench_tcp does not move" in page.browser.text("#banners"), page.browser.text("#banners")
    equal(page.browser.script("return [...document.querySelectorAll('.supply')].map((s) => s.dataset.tone)"), ["trouble", "trouble", "calm"], "the strips")
    page.shoot("smoke-desktop", DESKTOP)
    fixture.bench = canned_bench.fresh()
    fixture.tell_bench()


# ---- the morning ---------------------------------------------------------------------------------------------------

def the_morning_is_ticked(page, fixture):
    page.browser.script("localStorage.removeItem('steadyglow.who')")
    page.browser.screen(*PHONE, "light", True)
    page.open("morning")
    page.browser.wait("the sheet", lambda: page.browser.text("h1") == "While you slept: 4 things to look at.")
    equal(page.browser.text(".morning-bench h2").split("\n"), ["bench 1", "bench 2", "bench 3"], "by bench")
    assert "3 h 6 min counted in this time; 5 h 24 min of 22 h 30 min in all" in page.browser.text("main"), page.browser.text("main")
    fixture.posted.clear()
    page.browser.click(".morning-item input")
    page.browser.wait("it asks for the name", lambda: "A name is needed" in page.browser.text(".morning-view .problem"))
    equal(fixture.posted, [], "ticks without a name")
    page.browser.type(".morning-view [name=who]", "Ada")
    page.browser.click(".morning-item input")
    page.browser.wait("one less", lambda: page.browser.text("h1") == "While you slept: 3 things to look at.")
    equal(fixture.posted, [("/api/v1/morning/tick", "application/json", {"who": "Ada", "id": "3-2"})], "what was posted")
    ticked = page.browser.text(".morning-item[data-ticked=yes]")
    assert "25.2 W" in ticked and "\u2713 Ada" in ticked and "\u2713 Ben" in ticked, f"what is ticked stays, with its name: {ticked}"
    equal(page.browser.script("return getComputedStyle(document.querySelector('[data-ticked=yes] .item-text')).textDecorationLine"), "line-through", "struck out")
    page.has_no_complaint()
    page.browser.screen(*DESKTOP)


TESTS = [no_is_a_normal_answer_with_reasons, a_safety_test_is_entered, what_is_ready_is_started_unattended, a_running_unit_is_left, what_was_decided_is_said,
         what_can_be_done_depends_on_the_run, a_screwdriver_is_entered, another_verdict_needs_its_reason, a_signature_is_shown_for_what_it_is, interruptions_and_segments_are_listed,
         charts_show_interruptions_and_segments, the_charge_that_is_left_is_big, a_relay_that_did_not_obey_is_not_used_again, incidents_come_first, what_was_done_stands_in_one_incident,
         an_alarm_is_put_aside_for_a_time, the_alarm_system_shows_itself, a_bench_is_cut_with_two_presses, a_contactor_is_closed_at_the_bench_alone,
         a_trip_is_rehearsed, cautions_are_accepted_one_by_one, smoke_is_the_first_banner, the_morning_is_ticked]
