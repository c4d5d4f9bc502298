#!/usr/bin/python3
"""The page of a real daemon over the virtual bench: a unit is repaired, soaked, signed for, sold and comes back, all of it by the page.

real_shop.py --bench B --daemon D --source S --folder F --screenshots P --chromedriver C
"""
import json
import pathlib
import re
import sys
import time
import urllib.error
import urllib.request

import fixture_server
import page_test
from page import DESKTOP, PHONE, Page, equal
from webdriver import Browser

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "support"))
from bench_process import begin_demo, end, Http, named_options, Processes, wait_for  # noqa: E402

RATE = 480.0
UNIT = "hollin_p4"
SOAKED_S = 3 * 3600.0  # of run time: long enough for a baseline and a figure


def start_daemon(options, processes, name, port):
    process = processes.start(name, options.daemon, "--config", processes.folder / "bench.toml")
    http = Http(port)
    wait_for("the daemon", http.is_up, 15)
    return process, http


def fill_and_send(page, **fields):
    """Fills the open form and sends it; waits until it is gone."""
    page.browser.script("""
        for (const [name, value] of Object.entries(arguments[0])) {
          const field = document.querySelector(`form [name=${name}]`);
          field.value = value;
          field.dispatchEvent(new Event('input', { bubbles: true }));
        }""", {"who": "Ada", **fields})
    page.browser.click("form [type=submit]")
    page.browser.wait("it is taken", lambda: page.browser.count("form") == 0 or page.seen("form .problem"), 10)
    equal(page.seen("form .problem"), [], "what the daemon says against it")


def enter(page, label, **fields):
    page.browser.script("document.querySelector('.card-view .life').open = true")
    page.act(".card-view .life > .buttons > button", label)
    fill_and_send(page, **fields)


def open_card_by_search(page, text, title):
    page.open("units")
    page.browser.wait("the units", lambda: page.browser.count(".found") > 0)
    page.browser.type(".find input", text)
    page.browser.wait(f"the one with {text}", lambda: page.browser.count(".found") == 1)
    page.browser.click(".found a")
    page.browser.wait("its card", lambda: page.seen(".card-view h1") == [title])


def the_card_of_a_configured_unit_is_there(page, http, _):
    unit = http.unit(UNIT)
    open_card_by_search(page, unit["serial"].replace("-", " ").lower(), unit["title"])
    assert "It has not run here yet." in page.browser.text(".card-view"), page.browser.text(".card-view")
    page.has_no_complaint()


def what_was_done_is_entered(page, http, folder):
    enter(page, "As plated", maker="Hollin Electric", model="P4", nameplate_volts="230", nameplate_hertz="50", stock_number="S-88")
    page.browser.wait("the plate", lambda: "230\u202fV, 50\u202fHz" in page.browser.text(".plate"))
    enter(page, "Repair", told="hum", found="dry reservoir capacitor", parts_out="C1 2200 uF", parts_in="C1 2200 uF 63 V\nbridge")
    enter(page, "Tube put in", socket="V1", type="P12", identity="Q-17", prior_hours="120")
    picture = folder / "back.png"
    picture.write_bytes(fixture_server.picture((160, 120, 70), 1600, 1200))
    page.browser.script("document.querySelector('.card-view .life').open = true")
    page.act(".card-view .life > .buttons > button", "Picture")
    page.browser.type("form [name=photo]", str(picture))
    fill_and_send(page, caption="the back")
    page.browser.wait("the picture, from the daemon", lambda: page.browser.script("const i = document.querySelector('.photo img'); return i?.complete && i.naturalWidth") == 1600)
    assert "Q-17" in page.browser.text(".tubes") and "0.0\u202fh in runs here" in page.browser.text(".tubes"), page.browser.text(".tubes")
    equal(page.browser.count(".entry"), 4, "entries")
    page.has_no_complaint()


def a_correction_leaves_the_old_one(page, http, _):
    page.act(".entry button[aria-label^='Correct: Tube']")
    fill_and_send(page, identity="Q-71")
    page.browser.wait("struck through", lambda: "Q-17" in page.browser.text(".entry[data-over=yes] s"))
    assert "corrected by Ada" in page.browser.text(".entry[data-over=yes]") and "Q-71" in page.browser.text(".tubes"), page.browser.text(".card-view")


def the_daemon_refuses_what_it_cannot_take(page, http, _):
    page.act(".card-view .life > .buttons > button", "Sold")
    page.browser.script("document.querySelector('form [name=day]').value = '2099-01-01'")
    page.browser.click("form [type=submit]")
    page.browser.wait("its own words", lambda: page.browser.text("form .problem").startswith("Not done: "))
    page.browser.click("form button.plain")
    page.browser.console()  # the browser's own line about the status


def it_is_soaked_and_signed_for(page, http, _):
    page.open(f"unit/{UNIT}")
    page.browser.wait("the shop's memory", lambda: "No repair like this one has finished a run here yet" in page.browser.text(".memory-line"), 10)
    page.act(".actions button", "Start attended")
    page.browser.wait("the dialog", lambda: page.browser.count("dialog[open]") == 1)
    assert "No repair like this one" in page.browser.text("dialog .advice"), page.browser.text("dialog")
    page.browser.click("dialog [name=at_the_bench]")
    fill_and_send(page)
    page.browser.wait("it runs", lambda: page.seen(".actions .grave") and http.unit(UNIT)["run"]["state"] == "running", 10)
    page.browser.wait("three hours of the bench", lambda: http.unit(UNIT)["run"]["time_s"] > SOAKED_S, 60)
    page.act(".actions .grave")
    fill_and_send(page, why="enough for a look")
    page.browser.wait("a verdict", lambda: "proposed; a person signs." in page.browser.text(".verdict-box"), 20)
    page.browser.script("document.querySelector('.unit-view .life').open = true")
    page.act(".unit-view .life button", "Sign")
    fill_and_send(page, word="incomplete", why="a look only")
    page.browser.wait("signed", lambda: "Incomplete, signed by Ada." in page.browser.text(".verdict-box"), 10)
    assert "a look only" in page.browser.text(".signed"), page.browser.text(".signed")


MADE_OF = {"page.pdf?paper=a4": b"%PDF-", "page.pdf?paper=letter": b"%PDF-", "page.html": b"<!doctype html", "page.png": b"\x89PNG", "record.zip": b"PK\x03\x04"}


def first_bytes(address, tries=3):
    """A machine that is too busy says so with 503 and asks to come again: somebody would."""
    for left in reversed(range(tries)):
        try:
            with urllib.request.urlopen(address, timeout=60) as answer:
                return answer.read(16)
        except urllib.error.HTTPError as error:
            if error.code != 503 or left == 0:
                raise
            time.sleep(1)


def everything_can_be_taken_away(page, http, _):
    """What the links of the page lead to is what they say: by the first bytes, from the daemon."""
    run = http.get("/api/v1/runs")["runs"][0]
    page.open(f"run/{run['id']}")
    page.browser.wait("its links", lambda: len(page.seen(".take-away a")) == len(MADE_OF))
    for address in page.browser.script("return [...document.querySelectorAll('.take-away a')].map((a) => a.getAttribute('href'))"):
        first = first_bytes(page.base + address)
        wanted = MADE_OF[address.split("/", 5)[5]]
        assert first.lower().startswith(wanted.lower()), (address, first)
    told = http.get(f"/api/v1/runs/{run['id']}/seal")
    page.browser.wait("code and key", lambda: page.seen(".seal dd") == [told["code"], told["key_fingerprint"]], 10)
    page.shoot("real-run-phone", PHONE, is_phone=True, is_whole=True)
    page.browser.screen(*DESKTOP)
    page.shoot("real-run-desktop", DESKTOP, "light", is_whole=True)


def the_run_is_on_its_card_with_its_hours(page, http, _):
    run = http.get("/api/v1/runs")["runs"][0]
    equal((run["unit"], run["signed_by"]), (UNIT, "Ada"), "the run")
    page.open(f"run/{run['id']}")
    page.browser.wait("the run", lambda: "Incomplete, signed by Ada" in page.browser.text(".run-view .verdict"))
    page.browser.wait("the way to its card", lambda: len(page.seen(".places a")) == 2)
    page.act(".places a", "Its card")
    page.browser.wait("its hours, once its cooling is recorded and it was read again", lambda: "counted" in page.browser.text(".run-line"), 40)
    assert re.search(r"12\d\.\d\u202fh \(120\u202fh before, [1-9]", page.browser.text(".tubes")), page.browser.text(".tubes")
    page.has_no_complaint()


def it_is_sold_and_comes_back(page, http, _):
    page.act(".places a", "Its card")
    page.browser.wait("its card", lambda: page.seen(".card-view h1"))
    enter(page, "Sold")
    page.browser.wait("sold", lambda: page.browser.text(".card-state").startswith("Sold on "))
    page.browser.script("document.querySelector('.card-view .life').open = true")
    page.act(".card-view .life > .buttons > button", "Came back")
    page.browser.click("form [value=yes]")
    fill_and_send(page, complaint="hum again", owner_hours="150")
    page.browser.wait("back", lambda: page.browser.text(".card-state").startswith("Came back on "))
    for scheme in ("dark", "light"):
        page.shoot(f"real-card-desktop-{scheme}", DESKTOP, scheme, is_whole=True)
        page.shoot(f"real-card-phone-{scheme}", PHONE, scheme, is_phone=True, is_whole=True)
    page.browser.screen(*DESKTOP)
    page.has_no_complaint()


def the_second_run_stands_beside_the_first(page, http, _):
    page.open(f"unit/{UNIT}")
    page.browser.wait("the unit", lambda: page.seen(".actions button"))
    page.act(".actions button", "Start attended")
    page.browser.click("dialog [name=at_the_bench]")
    fill_and_send(page)
    page.browser.wait("three hours of the bench", lambda: (run := http.unit(UNIT)["run"])["id"] == 2 and run["time_s"] > SOAKED_S, 60)
    page.act(".actions .grave")
    fill_and_send(page)
    page.browser.wait("it is over", lambda: http.unit(UNIT)["run"]["state"] == "ended", 20)
    page.open("run/2")
    page.browser.wait("the choice", lambda: page.seen(".beside-choice button"))
    page.act(".beside-choice button", "Set side by side")
    page.browser.wait("both runs", lambda: "Earlier: run 1 of " in page.browser.text(".beside"), 20)
    assert len(page.seen(".differences tbody tr")) > 2 and "\u00b1" in page.browser.text(".differences"), page.browser.text(".differences")
    assert page.browser.script("return document.querySelector('.overlay .later').getAttribute('d').length") > 100, "a line is drawn"
    page.shoot("real-beside-desktop", DESKTOP, is_whole=True)
    page.has_no_complaint()


def the_return_is_remembered(page, http, _):
    page.open("units")
    page.browser.wait("the shop's memory", lambda: "1 of 1 sold came back with a fault" in page.browser.text(".memory"), 10)
    assert len(page.seen(".survival")) == 1, "the failure at its owner's is drawn"
    page.shoot("real-units-desktop", DESKTOP, "light", is_whole=True)
    page.has_no_complaint()


JOURNEY = [the_card_of_a_configured_unit_is_there, what_was_done_is_entered, a_correction_leaves_the_old_one, the_daemon_refuses_what_it_cannot_take, it_is_soaked_and_signed_for,
           the_run_is_on_its_card_with_its_hours, everything_can_be_taken_away, it_is_sold_and_comes_back, the_return_is_remembered,
           the_second_run_stands_beside_the_first]


def nothing_is_forgotten_by_a_restart(page, http, _):
    open_card_by_search(page, "Q71", http.unit(UNIT)["title"])
    equal(page.browser.count(".entry[data-over=yes]"), 1, "what was corrected is still struck through")
    page.browser.wait("the picture", lambda: page.browser.script("const i = document.querySelector('.photo img'); return i?.complete && i.naturalWidth") == 1600)
    assert "Came back on " in page.browser.text(".card-state"), page.browser.text(".card-state")


def main():
    options = named_options("bench", "daemon", "source", "folder", "screenshots", "chromedriver")
    screenshots = pathlib.Path(options.screenshots)
    screenshots.mkdir(parents=True, exist_ok=True)
    with Processes(options.folder) as processes, Browser(processes.folder / "browser", options.chromedriver) as browser:
        port = begin_demo(options, processes, RATE)
        daemon, http = start_daemon(options, processes, "daemon", port)
        page = Page(browser, f"http://127.0.0.1:{port}", screenshots)
        browser.screen(*DESKTOP)
        for test in JOURNEY:
            page_test.run(test, page, http, processes.folder)
        with urllib.request.urlopen(f"{page.base}/api/v1/bench", timeout=10) as answer:
            bench = json.load(answer)
        for test in (page_test.every_unit_is_shown, page_test.cautions_can_be_read):
            page_test.run(test, page, bench)
        equal(end(daemon), 0, "a clean stop")
        _, http = start_daemon(options, processes, "daemon_again", port)
        page_test.run(nothing_is_forgotten_by_a_restart, page, http, processes.folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())
