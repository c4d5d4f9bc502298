"""What the page does with what the shop keeps: units and their cards, runs and their pages, what it has learned."""
import urllib.parse

import fixture_server
from night_of_the_page import dialog, fill, open_unit, refused, send
from page import DESKTOP, PHONE, equal

OPEN_ENTER = "document.querySelector('.card-view .life').open = true"


def open_card(page, name="brindlecombe35"):
    page.open(f"card/{name}")
    page.browser.wait("the card", lambda: page.seen(".card-view h1"))


# ---- units and runs ------------------------------------------------------------------------------------------------

def a_unit_is_found_by_what_is_written_on_it(page, _):
    page.open("units")
    page.browser.script("localStorage.setItem('steadyglow.who', 'Ada')")
    page.browser.wait("all units", lambda: page.browser.count(".found") == 3)
    equal(page.browser.text(".units-view [role=status]").split("\n")[0], "3 units, the newest first", "what is said aloud")
    page.browser.type(".find input", "k240")
    page.browser.wait("the one with this tube", lambda: page.browser.count(".found") == 1)
    assert "tube: K-240" in page.browser.text(".found"), page.browser.text(".found")
    page.browser.click(".found a")
    page.browser.wait("its card", lambda: page.seen(".card-view h1") == ["Brindlecombe 35"])
    equal(page.browser.script("return document.querySelector('nav [aria-current]').textContent"), "Units", "where one is")
    page.has_no_complaint()


def runs_are_found_by_their_serial(page, _):
    page.open("units")
    page.browser.wait("the runs", lambda: page.browser.count(".run-line") == 6)
    equal(page.browser.text(".run-line:nth-child(5) p"), "Run 2 Brindlecombe 35, B35-0117", "a line")
    assert "Pass with remarks, signed by Ada" in page.browser.text(".run-line:nth-child(5)"), page.browser.text(".run-line:nth-child(5)")
    page.browser.type(".find input", "r22 11")
    page.browser.wait("the one that fits, whatever stands between", lambda: page.browser.count(".run-line") == 1)
    assert "Tolvane R-22" in page.browser.text(".run-line"), page.browser.text(".run-line")
    page.browser.wait("said aloud", lambda: page.browser.text(".units-view [role=status]").startswith("1 unit fits"))


def a_run_has_its_pages(page, _):
    page.open("run/2")
    page.browser.wait("the run", lambda: page.seen(".run-view h1") == ["Brindlecombe 35, run 2"])
    equal(page.browser.script("return [...document.querySelectorAll('.take-away a')].map((a) => a.getAttribute('href'))"),
          [f"/api/v1/runs/2/{name}" for name in ("page.pdf?paper=a4", "page.pdf?paper=letter", "page.html", "page.png", "record.zip")], "what it leads to")
    assert "Run 3" in page.browser.text("[aria-labelledby=others-head]"), "the other run of this unit"
    page.browser.wait("code and key", lambda: page.seen(".seal dd") == ["7KQ2-M4XT-9RDA", "3f1c 77a0 52be 90d4 1188 c6e2 0b95 fa34"])
    page.browser.wait("its card", lambda: "Its card: what it is, and what was done to it" in page.seen(".places a"))
    page.has_no_complaint()


def two_runs_are_set_side_by_side(page, _):
    page.open("run/2")
    page.browser.wait("the choice", lambda: page.seen(".beside-choice button"))
    page.act(".beside-choice button", "Set side by side")
    page.browser.wait("what differs", lambda: "38.0 -> 27.0 mA" in page.browser.text(".beside .reasons"))
    equal(page.seen(".differences tbody th"), ["V2 cathode", "Power transformer", "V1 cathode", "B plus"], "what is beyond comes first")
    row = page.seen(".differences tbody tr")[0]
    for words in ("38.00\u202fmA", "27.00\u202fmA", "\u221211.00 \u00b1 0.50\u202fmA", "beyond its uncertainty", "at 230.1 V"):
        assert words in row, f"{words}: {row}"
    assert "Only in the earlier run: Heater." in page.browser.text(".beside"), page.browser.text(".beside")
    equal(page.browser.script("return document.querySelector('.overlay select').selectedOptions[0].textContent"), "V2 cathode", "drawn first")
    assert "V2 cathode of both runs" in page.browser.script("return document.querySelector('.overlay [role=img]').getAttribute('aria-label')"), "the picture is said"
    equal(page.browser.script("return document.querySelector('.overlay .earlier').getAttribute('d').split('M').length - 1"), 2, "a gap is not bridged")
    page.every_field_is_named("side by side")
    for width, size, is_phone in (("desktop", DESKTOP, False), ("phone", PHONE, True)):
        for scheme in ("dark", "light"):
            page.shoot(f"beside-{width}-{scheme}", size, scheme, is_phone, is_whole=True)
            page.fits_its_width("side by side")
    page.browser.screen(*DESKTOP)
    page.has_no_complaint()


def what_is_not_over_has_no_sealed_record(page, _):
    page.open("run/4")
    page.browser.wait("the run", lambda: page.seen(".run-view h1") == ["Fennimark 120, run 4"])
    equal(page.seen(".take-away a"), ["PDF, A4", "PDF, Letter", "Page for a browser", "Picture"], "what can be had of it")
    assert "is made when it is over" in page.browser.text(".run-view"), page.browser.text(".run-view")
    page.act(".places a", "Its place on the bench")
    page.browser.wait("the bench", lambda: page.browser.text(".unit-head h1") == "Fennimark 120")
    page.act(".unit-head a", "Run 4")
    page.browser.wait("and back", lambda: page.seen(".run-view h1") == ["Fennimark 120, run 4"])
    page.open("run/99")
    page.browser.wait("a number of no run", lambda: "No run has this number" in page.browser.text("main"))


def a_unit_that_is_new_gets_a_card(page, fixture):
    page.open("units")
    page.browser.wait("all units", lambda: page.browser.count(".found") == 3)
    page.act(".find-row button")
    dialog(page)
    refused(page, fixture, "Nothing is filled in")
    page.browser.type("dialog [name=maker]", "Ostrel")
    page.browser.type("dialog [name=model]", "9")
    page.browser.type("dialog [name=serial]", "O9/0044")
    page.browser.type("dialog [name=nameplate_volts]", "230")
    fill(page, "dialog [name=who]", "Ada")
    page.every_field_is_named("new unit")
    page.shoot("new-unit-phone", PHONE, is_phone=True)
    page.browser.screen(*DESKTOP)
    equal(send(page, fixture), ("/api/v1/cards/9-o9-0044/entries", {"who": "Ada", "kind": "unit", "fields": {"maker": "Ostrel", "model": "9", "serial": "O9/0044", "nameplate_volts": 230}}), "what was posted")
    page.browser.wait("its card", lambda: "O9/0044" in page.browser.text(".card-view .plate"))


# ---- a unit's card -------------------------------------------------------------------------------------------------

def a_card_tells_what_is_known(page, _):
    open_card(page)
    text = page.browser.text(".card-view")
    for words in ("Came back on Jan 8, 2026.", "Brindlecombe & Daughters", "S-88", "clip on the cathode resistor of V3 at v3_cathode_mv", "P25, K-240", "152.1\u202fh (120\u202fh before, 32.1\u202fh in runs here)",
                  "Fail proposed; nobody has signed", "failed after 7 h 36 min with power", "Nothing here is ever changed or removed."):
        assert words in text, f"{words}: {text}"
    equal(page.browser.script("return [...document.querySelectorAll('.photo img')].map((i) => i.alt)"), ["the back, with its plate", "clip on the cathode resistor of V3"], "what a screen reader says of the pictures")
    page.browser.wait("the pictures", lambda: page.browser.script("return [...document.querySelectorAll('.photo img')].every((i) => i.naturalWidth === 320)"))
    page.has_no_complaint()


def what_was_corrected_stays_struck_through(page, fixture):
    open_card(page)
    old = "[...document.querySelectorAll('.entry')].find((e) => e.textContent.includes('K-204'))"
    equal(page.browser.script(f"return getComputedStyle({old}.querySelector('s')).textDecorationLine"), "line-through", "struck through")
    text = page.browser.script(f"return {old}.innerText")
    assert "Tube, no longer holds:" in text and "Ben, " in text and "corrected by Ada, " in text and "Correct\u2026" not in text, text
    page.browser.script("[...document.querySelectorAll('.entry')].find((e) => e.textContent.includes('coupling')).querySelector('button').setAttribute('data-mine', '')")
    page.browser.click("[data-mine]")
    equal(page.browser.script("return document.querySelector('.entry form [name=parts_in]').value"), "C7 100 nF 630 V\nC8 100 nF 630 V", "what stood there is there to be corrected")
    fill(page, ".entry form [name=found]", "three leaking coupling capacitors")
    page.every_field_is_named("correction")
    address, body = send(page, fixture)
    equal((address, body["kind"], body["corrects"], body["fields"]["found"], body["fields"]["parts_out"]), ("/api/v1/cards/brindlecombe35/entries", "repair", 5, "three leaking coupling capacitors", ["C7", "C8"]), "what was posted")
    page.browser.wait("the old one stays", lambda: "Repair, no longer holds:" in page.browser.text(".entries"))
    assert "Corrects an entry" in page.browser.text(".entry:nth-child(1)"), page.browser.text(".entry:nth-child(1)")


def an_entry_is_withdrawn_with_a_reason(page, fixture):
    open_card(page)
    page.act(".entry button[aria-label^='Withdraw: Safety test']")
    refused(page, fixture, "A reason is needed")
    page.browser.type(".entry form [name=text]", "of another unit")
    equal(send(page, fixture)[1], {"who": "Ada", "kind": "remark", "fields": {"text": "of another unit"}, "corrects": 11}, "what was posted")
    page.browser.wait("struck", lambda: "No longer holds: Safety test: 0.11 ohm" in page.browser.text(".entries"))


def every_kind_of_entry_asks_who(page, fixture):
    open_card(page)
    page.browser.script(OPEN_ENTER)
    buttons = page.seen(".card-view .life > .buttons > button")
    equal(buttons, ["As plated", "Repair", "Tube put in", "Adjustment", "Safety test", "Sold", "Came back", "Remark", "Picture"], "what can be entered")
    for label in buttons:
        page.act(".card-view .life > .buttons > button", label)
        assert page.browser.count(".act-form [name=who]") == 1, f"{label} asks who"
        page.every_field_is_named(label)
    for label, words in (("Repair", "unplugged, discharged and measured"), ("Adjustment", "Trimming is work on live parts"), ("Safety test", "electrically skilled person"), ("Picture", "off and discharged")):
        page.act(".card-view .life > .buttons > button", label)
        assert words in page.browser.text(".act-form"), f"the caution stands where one acts: {label}"


def a_return_is_entered(page, fixture):
    open_card(page)
    page.browser.script(OPEN_ENTER)
    page.act(".card-view .life button", "Came back")
    fill(page, ".act-form [name=complaint]", "hum again")
    fill(page, ".act-form [name=owner_hours]", "150,5")
    refused(page, fixture, "\u201cWas it the unit?\u201d is needed.")
    page.browser.click(".act-form [value=yes]")
    page.browser.script("document.querySelector('.act-form [name=day]').value = '2026-01-12'")
    page.shoot("return-phone", PHONE, is_phone=True, is_whole=True)
    page.shoot("return-desktop", DESKTOP, is_whole=True)
    equal(send(page, fixture), ("/api/v1/cards/brindlecombe35/entries", {"who": "Ada", "kind": "returned", "fields": {"day": "2026-01-12", "complaint": "hum again", "owner_hours": 150.5, "is_fault": True}}), "what was posted")


def an_adjustment_is_figures(page, fixture):
    open_card(page)
    page.browser.script(OPEN_ENTER)
    page.act(".card-view .life button", "Adjustment")
    for name, text in (("what", "bias of V3"), ("before", "11,2"), ("after", "much"), ("uom", "mV")):
        page.browser.type(f".act-form [name={name}]", text)
    refused(page, fixture, "\u201cand reads now\u201d is a figure")
    fill(page, ".act-form [name=after]", "-10.0")
    equal(send(page, fixture)[1]["fields"], {"what": "bias of V3", "before": 11.2, "after": -10, "uom": "mV"}, "what was posted")


def a_picture_is_made_smaller_first(page, fixture):
    open_card(page)
    page.browser.script(OPEN_ENTER)
    page.act(".card-view .life button", "Picture")
    file = page.browser.folder / "plate.png"
    file.write_bytes(fixture_server.picture((20, 120, 60), 3000, 1500))
    page.browser.type(".act-form [name=caption]", "the plate & its screws")
    page.browser.type(".act-form [name=photo]", str(file))
    address, body = send(page, fixture)
    equal(urllib.parse.parse_qs(urllib.parse.urlsplit(address).query), {"who": ["Ada"], "caption": ["the plate & its screws"]}, "what is said of it")
    equal(fixture.posted[-1][1], "image/jpeg", "its type")
    assert body[:3] == b"\xff\xd8\xff" and len(body) < 200000, body[:16]
    file.write_bytes(b"no picture at all")
    page.act(".card-view .life button", "Picture")
    page.browser.type(".act-form [name=caption]", "nothing")
    page.browser.type(".act-form [name=photo]", str(file))
    refused(page, fixture, "this browser cannot read that picture")


def markup_in_an_entry_is_text(page, fixture):
    evil = "<img src=x onerror=\"window.was_run=1\">"
    fixture.cards[0]["entries"][2]["text"] += evil
    fixture.cards[0]["photos"][0]["caption"] += evil
    open_card(page)
    assert evil in page.browser.text(".entries") and evil in page.browser.text(".photos"), "as text"
    assert page.browser.script("return window.was_run === undefined && document.querySelectorAll('.entries img').length === 0"), "a word was run"
    page.has_no_complaint()


# ---- what the shop has learned -------------------------------------------------------------------------------------

def the_advice_stands_where_a_run_is_started(page, _):
    open_unit(page, "wexmere-m50")
    page.browser.wait("the shop's memory", lambda: "twelve hours more than 24 h would find 2.3 %" in page.browser.text(".memory-line"))
    page.act(".actions button", "Start attended")
    dialog(page)
    advice = page.browser.text("dialog .advice")
    assert advice.startswith("How long to soak: 8 of 60 repairs like this failed here"), advice
    page.shoot("advice-phone", PHONE, is_phone=True)
    page.browser.screen(*DESKTOP)
    page.browser.click("dialog button.plain")
    open_unit(page, "fennimark120")
    equal(page.seen(".memory"), [], "while it runs nobody asks how long")


def the_memory_speaks_before_it_draws(page, _):
    page.open("units")
    page.browser.wait("the shop's memory", lambda: "twelve hours more than 24 h" in page.browser.text(".memory-line"))
    order = page.browser.script("return [...document.querySelectorAll('.memory-line, .memory .happens, .survival')].map((e) => e.className.split(' ')[0])")
    equal(order, ["memory-line", "reasons", "survival"], "words first")
    assert "8 of which failed" in page.browser.script("return document.querySelector('.survival [role=img]').getAttribute('aria-label')"), "the picture is said"
    page.browser.script("document.querySelectorAll('.memory details').forEach((d) => { d.open = true; })")
    rows = page.seen(".yields tbody tr")
    assert "1.0 to 5.2" in rows[2] and "extrapolated: nothing was seen so long" in rows[4] and "extrapolated" not in rows[2], rows
    fill(page, ".memory-choice input", "48")
    page.browser.script("document.querySelector('.memory-choice input').dispatchEvent(new Event('change'))")
    page.browser.wait("for other hours", lambda: "more than 48 h" in page.browser.text(".memory-line") and "extrapolated" in page.browser.text(".memory-line"))
    beyond = page.browser.script("const r = document.querySelector('.survival .beyond'); return [r.getAttribute('x'), r.getAttribute('width')].map(Number)")
    equal(beyond, [480, 120], "hatched from 48 h to 60 h")
    page.browser.type(".memory-choice select", "tube")
    page.browser.wait("a kind is kept", lambda: page.browser.script("return document.querySelector('.memory-choice select').value") == "tube-pp-fixed-bias")


def what_was_never_seen_is_not_drawn(page, _):
    open_unit(page, "hollin-p4")
    memory = page.browser.script("""
      const { memory_part } = await import('/assets/memory_part.js');
      const part = memory_part();
      document.body.append(part.node);
      await part.ask({ kind: 'solid-state-preamp' });
      const seen = { line: part.node.querySelector('.memory-line').textContent, is_drawn: part.node.querySelector('.survival').checkVisibility() };
      part.node.remove();
      return seen;""")
    assert "nothing speaks for more hours or for fewer" in memory["line"] and not memory["is_drawn"], memory


# ---- every screen --------------------------------------------------------------------------------------------------

def nothing_is_lost_at_twice_the_size(page, _):
    """WCAG 2.1, success criteria 1.4.4 and 1.4.10: 1280 px at 200 % are 640 px wide, at 400 % 320. Nothing is wider than its window."""
    for view in ("units", "card/brindlecombe35", "run/2", "unit/wexmere-m50"):
        page.open(view)
        page.browser.wait(view, lambda: page.seen("h1"))
        page.browser.script("document.querySelectorAll('main details').forEach((d) => { d.open = true; })")
        for width, height in ((640, 450), (320, 225)):
            page.browser.screen(width, height)
            page.fits_its_width(f"{view} at {width} px")
    page.browser.screen(*DESKTOP)


def keys_reach_every_button(page, _):
    open_card(page)
    page.browser.script(OPEN_ENTER)
    wanted = page.browser.script("return [...document.querySelectorAll('main button, main a, main summary')].filter((e) => e.checkVisibility()).length")
    page.browser.script("document.querySelector('#content').focus()")
    reached = set()
    for _ in range(wanted + 4):
        page.browser.post("/actions", {"actions": [{"type": "key", "id": "keys", "actions": [{"type": "keyDown", "value": "\ue004"}, {"type": "keyUp", "value": "\ue004"}]}]})
        reached.add(page.browser.script("const e = document.activeElement; if (!e.closest('main')) return null; e.dataset.reached = ''; return [...document.querySelectorAll('main *')].indexOf(e)"))
    missed = page.browser.script("return [...document.querySelectorAll('main button, main a, main summary')].filter((e) => e.checkVisibility() && !('reached' in e.dataset)).map((e) => e.textContent)")
    equal(missed, [], "what the tab key does not reach")


TESTS = [a_unit_is_found_by_what_is_written_on_it, runs_are_found_by_their_serial, a_run_has_its_pages, two_runs_are_set_side_by_side, what_is_not_over_has_no_sealed_record, a_unit_that_is_new_gets_a_card,
         a_card_tells_what_is_known, every_kind_of_entry_asks_who, a_return_is_entered, an_adjustment_is_figures, a_picture_is_made_smaller_first, what_was_corrected_stays_struck_through,
         an_entry_is_withdrawn_with_a_reason, markup_in_an_entry_is_text, the_advice_stands_where_a_run_is_started, the_memory_speaks_before_it_draws, what_was_never_seen_is_not_drawn,
         nothing_is_lost_at_twice_the_size, keys_reach_every_button]
