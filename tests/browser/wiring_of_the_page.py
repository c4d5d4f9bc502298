"""Setting up by the page: devices, finding a meter, the clip list on one side of paper, the wiggle test."""
import base64
import pathlib
import re
import subprocess

from page import CONTRAST, CONTRAST_MIN, DESKTOP, NARROWEST, PHONE, equal

UNIT = "brindlecombe35"
LIGHT, DARK = "light", "dark"


def devices_are_named_by_what_stays(page, _):
    page.browser.screen(*DESKTOP)
    page.open("wiring")
    page.browser.wait("the devices", lambda: page.browser.count(".device") == 3)
    text = page.browser.text(".device-list")
    for words in ("/dev/serial/by-id/usb-Line_adapter_A7QX-if00-port0", "now /dev/ttyUSB0: that number is another device", "In use: named at bench.toml:41", "Label that socket"):
        assert words in text, (words, text)
    assert "twins" in page.browser.text(".warnings"), "twins are warned of"
    page.has_no_complaint()


def a_search_needs_a_name(page, fixture):
    page.browser.script("document.querySelector('.search [name=who]').value = ''")
    before = len(fixture.posted)
    page.act(".search button", "Ask who answers")
    page.browser.wait("the complaint", lambda: "A name is needed" in page.browser.text(".search .problem"))
    equal(len(fixture.posted), before, "orders sent without a name")


def set_field(page, name, value):
    page.browser.script("""
        const field = document.querySelector(`.search [name=${arguments[0]}]`);
        field.value = arguments[1];
        for (const type of ['input', 'change']) field.dispatchEvent(new Event(type, { bubbles: true }));""", name, value)


def who_answers_is_shown_with_progress(page, fixture):
    for name, value in (("who", "Ada"), ("host", "127.0.0.1"), ("port", "1502")):
        set_field(page, name, value)
    page.act(".search button", "Ask who answers")
    page.browser.wait("the progress", lambda: "7 of 16 addresses asked, 1 answered" in page.browser.text(".progress-words"))
    address, _, body = fixture.posted[-1]
    equal(address, "/api/v1/wiring/look", "where it is sent")
    equal({key: body[key] for key in ("who", "kind", "host", "port", "first", "last")}, {"who": "Ada", "kind": "addresses", "host": "127.0.0.1", "port": 1502, "first": 1, "last": 16}, "what is asked")
    fixture.wiring.search = {**fixture.wiring.search, "state": "done"}
    page.browser.wait("who answered", lambda: "Address 3 answers: Analog module, 8 channels" in page.browser.text(".found-addresses"))
    page.has_no_complaint()


def one_sees_there_it_is(page, fixture):
    page.act(".found-addresses button", "Look at its registers")
    page.browser.wait("the window", lambda: page.browser.count(".registers tbody tr") == 4)
    equal(fixture.wiring.asked["address"], 3, "the address that was found")
    assert "perhaps mains voltage: 230.1 (float32 ABCD)" in page.browser.text(".registers"), page.browser.text(".registers")
    page.browser.type(".search [name=expect]", "6,31")
    page.browser.wait("there it is", lambda: page.browser.text(".here").startswith("There: 6.31 (int16 × 0.001) at register 0"))
    equal(page.browser.count(".registers tr[data-here=yes]"), 1, "registers that are marked")
    assert "here: 6.31" in page.browser.text(".registers tr[data-here=yes]"), "the row says it in words, not by a frame alone"
    page.has_no_complaint()


def what_was_found_is_ready_to_copy(page, fixture):
    page.act(".matches button", "Take it as a channel")
    page.browser.wait("the text", lambda: page.browser.count(".taken .copy-text") == 3 and page.seen(".taken"))
    file, bus, steps = page.browser.script("return [...document.querySelectorAll('.taken .copy-text')].map((e) => e.value)")
    for words in ('protocol = "modbus"', 'name = "ch1"', "scale = 0.001", 'uom = "V"'):
        assert words in file, (words, file)
    for words in ('driver = "modbus_tcp"', 'host = "127.0.0.1"', "port = 1502", 'instrument = "found-module"', "address = 3"):
        assert words in bus, (words, bus)
    assert "steadyglow new-bench" in steps, steps
    equal(page.browser.script("return document.querySelector('.search [name=channel]').value"), "ch2", "the next channel's name")


def an_old_window_is_not_taken_for_now(page, fixture):
    set_field(page, "expect", "6,31")
    page.browser.wait("there it is", lambda: page.browser.text(".here").startswith("There"))
    fixture.wiring.trouble = "no answer in time"
    page.browser.wait("it is old", lambda: page.browser.text(".here") == "Not read again: no answer in time")
    equal(page.browser.count(".matches button"), 0, "matches to take from an old window")
    equal(page.browser.count(".registers tr[data-here=yes]"), 0, "registers that are marked in an old window")
    fixture.wiring.trouble = ""
    page.browser.wait("it is read again", lambda: page.browser.count(".matches button") == 1)


def one_file_is_for_one_module(page, fixture):
    set_field(page, "address", "6")
    page.act(".search fieldset button", "Look at its registers")
    page.browser.wait("the other module", lambda: fixture.wiring.asked.get("address") == 6)
    set_field(page, "expect", "6,31")
    page.browser.wait("there it is", lambda: page.browser.text(".here").startswith("There") and not page.browser.script("return document.querySelector('.matches button').disabled"))
    page.act(".matches button", "Take it as a channel")
    page.browser.wait("begun anew", lambda: "Begun anew" in page.browser.text(".taken"))
    file, bus, _ = page.browser.script("return [...document.querySelectorAll('.taken .copy-text')].map((e) => e.value)")
    equal(file.count("[[channel]]"), 1, "channels in the file")
    assert "address = 6" in bus, bus


def a_number_that_is_nowhere_is_said(page, _):
    set_field(page, "expect", "99")
    page.browser.wait("nowhere", lambda: "None of these registers gives that number" in page.browser.text(".here"))


def a_port_of_a_running_bus_is_refused(page, fixture):
    page.act(".search button", "Stop looking")
    page.browser.wait("it stands", lambda: fixture.wiring.search["state"] == "stopped")
    set_field(page, "way", "device")
    set_field(page, "device", "/dev/serial/by-id/usb-Line_adapter_A7QX-if00-port0")
    page.act(".search button", "Ask who answers")
    page.browser.wait("the refusal", lambda: "belongs to bus `line`" in page.browser.text(".search .problem"))
    assert any("409" in text for text in page.browser.console())


def a_bench_multimeter_says_its_name(page, _):
    set_field(page, "way", "host")
    set_field(page, "protocol", "instrument")
    page.act(".search button", "Ask who answers")
    page.browser.wait("its name", lambda: "SHOP,DM5,00731,1.04" in page.browser.text(".search"))
    page.has_no_complaint()


def the_clip_list_says_what_a_hand_needs(page, fixture):
    page.open(f"clips/{UNIT}")
    unit = fixture.unit(UNIT)
    page.browser.wait("every clip", lambda: page.browser.count(".clips tbody tr") == len(unit["points"]))
    equal(page.browser.count(".clip-drawing[aria-label]"), len(unit["points"]), "drawings with words")
    text = page.browser.text(".clip-sheet")
    for words in ("switched off, unplugged, cold and discharged", "up to 520", "negative against its reference", "CAT II", "PROTECTIVE", "informative", "× 121.5"):
        assert words in text, (words, text)
    page.has_no_complaint()


def the_clip_list_prints_on_one_side(page, fixture):
    for clips in (0, 14, 24):
        fixture.wiring.clips_wanted = clips
        page.open(f"clips/{UNIT}")
        page.browser.wait("the list", lambda: page.browser.count(".clips tbody tr") == max(clips, len(fixture.unit(UNIT)["points"])))
        words = printed(page, f"clip-list-{clips}")
        assert "where the clips go" in words and "Touch them one by one" not in words and "Not a safety device" not in words, words
        assert words.count("a CAT rating alone says nothing") == 1, "a caution stands once, with its letter"
    fixture.wiring.clips_wanted = 0
    page.open(f"clips/{UNIT}")


def printed(page, name):
    """The words of the printed list, which must be one side of A4."""
    pdf = page.browser.command("Page.printToPDF", preferCSSPageSize=True, printBackground=False)["data"]
    file = pathlib.Path(page.screenshots) / f"{name}.pdf"
    file.write_bytes(base64.b64decode(pdf))
    told = subprocess.run(["pdfinfo", file], capture_output=True, text=True, check=True).stdout
    equal(re.search(r"Pages:\s+(\d+)", told).group(1), "1", f"sides of {name}")
    assert re.search(r"Page size:\s+59[45]\.\d* x 84[12]", told), told
    return " ".join(subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, text=True, check=True).stdout.split())


def row(page, point):
    return f"[...document.querySelectorAll('.wiggle-row')].find((e) => e.querySelector('input').value === '{point}')"


def the_mover_is_named(page, fixture):
    page.browser.wait("the traces", lambda: page.browser.count(".wiggle-row") == len(fixture.unit(UNIT)["points"]))
    fixture.wiring.moving = ["v2_cathode_mv"]
    page.browser.wait("its name", lambda: page.browser.text(".wiggle-told") == "V2 cathode moved, alone.")
    assert "MOVED by +0.4" in page.browser.script(f"return {row(page, 'v2_cathode_mv')}.innerText"), "the row says it in words"


def what_moves_when_another_is_chosen_is_waited_for(page, fixture):
    """Somebody ticked V2 off and chooses V1 while V2's trace still stands apart: V1 is not the wrong clip for that."""
    page.browser.script(f"{row(page, 'v1_cathode_mv')}.querySelector('input').click()")
    page.browser.wait("waiting", lambda: page.browser.text(".wiggle-told") == "Wait until V2 cathode is still.")
    fixture.wiring.moving = []
    page.browser.wait("its turn", lambda: page.browser.text(".wiggle-told") == "Touch V1 cathode now.")


def the_wrong_one_is_told(page, fixture):
    fixture.wiring.moving = ["v2_cathode_mv"]
    page.browser.wait("the wrong one", lambda: page.browser.text(".wiggle-told").startswith("Wrong one: you touch V1 cathode, but V2 cathode moved"))


def several_are_not_taken_for_one(page, fixture):
    fixture.wiring.moving = ["v1_cathode_mv", "v2_cathode_mv"]
    page.browser.wait("several", lambda: page.browser.text(".wiggle-told").startswith("Several moved: V1 cathode, V2 cathode. Touch one only"))


def the_right_one_is_ticked_off_with_a_name(page, fixture):
    fixture.wiring.moving = ["v1_cathode_mv"]
    page.browser.wait("right", lambda: page.browser.text(".wiggle-told").startswith("Right: V1 cathode moved"))
    page.browser.script("document.querySelector('.wiggle-part [name=who]').value = 'Ada'")
    page.browser.script(f"{row(page, 'v1_cathode_mv')}.querySelector('button').click()")
    page.browser.wait("the tick", lambda: "✓ Ada" in page.browser.script(f"return {row(page, 'v1_cathode_mv')}.innerText"))
    equal(fixture.posted[-1][0], f"/api/v1/units/{UNIT}/touched", "where it is sent")
    equal(fixture.posted[-1][2], {"who": "Ada", "point": "v1_cathode_mv"}, "what is sent")
    assert "seen to move alone" in page.browser.text(".clips tbody tr:first-child"), "the sheet has the tick too"
    page.has_no_complaint()


def only_a_unit_that_is_proven_off_and_discharged_has_no_caution(page, fixture):
    outlet = fixture.unit(UNIT)["outlet"]
    before = dict(outlet)
    for state, proof, stands, words in (("on", "none", "", "Its outlet is ON. Touch no clip"), ("off", "waiting", "", "Off ordered, waiting for the proof. Touch no clip"), ("off", "none", "", "Off, not proven. Touch no clip"),
                                        ("off", "failed", "", "Off NOT proven"), ("off", "proven", "b_plus_v 412 V", "B+ 412\u202fV still stands. Touch no clip yet")):
        outlet.update(state=state, proof=proof, bleed_text=stands)
        fixture.tell_bench()
        page.browser.wait(words, lambda words=words: words in page.browser.text(".wiggle-part .device-caution"))
    outlet.update(state="off", proof="proven", bleed_text="")
    fixture.tell_bench()
    page.browser.wait("no caution", lambda: not page.seen(".wiggle-part .device-caution"))
    outlet.clear()
    outlet.update(before)
    fixture.tell_bench()


def all_of_it_by_keyboard(page, fixture):
    """Tab reaches the fields in the order in which they are seen, and a radio button is chosen by the arrow keys."""
    page.browser.script(f"{row(page, 'v1_cathode_mv')}.querySelector('input').focus()")
    page.browser.command("Input.dispatchKeyEvent", type="keyDown", key="ArrowDown", code="ArrowDown", windowsVirtualKeyCode=40)
    page.browser.command("Input.dispatchKeyEvent", type="keyUp", key="ArrowDown", code="ArrowDown", windowsVirtualKeyCode=40)
    equal(page.browser.script("return document.activeElement.value"), "v2_cathode_mv", "the next clip")
    page.browser.wait("said", lambda: page.browser.script(f"return {row(page, 'v2_cathode_mv')}.dataset.chosen") == "yes")


def pictures_of_setting_up(page, fixture):
    fixture.wiring.moving = ["v2_cathode_mv"]
    for view, name, ready in (("wiring", "wiring", ".device"), (f"clips/{UNIT}", "clips", ".wiggle-row")):
        if view == "wiring":
            fixture.wiring.search = {"state": "none"}
            fixture.wiring.look({"kind": "registers"})
        for size, is_phone, label in ((DESKTOP, False, "desktop"), (PHONE, True, "phone"), (NARROWEST, True, "narrowest")):
            page.browser.screen(*size, DARK, is_phone)
            page.open(view)
            page.browser.wait("all of it", lambda: page.browser.count(ready) > 0)
            if view == "wiring":
                page.browser.type(".search [name=expect]", "6.31")
                page.browser.wait("there", lambda: page.browser.text(".here").startswith("There"))
            page.every_field_is_named(view)
            page.fits_its_width(f"{view} {label}")
            for scheme in (DARK, LIGHT):
                page.browser.screen(*size, scheme, is_phone)
                contrast = page.browser.script(CONTRAST)
                assert contrast["ratio"] >= CONTRAST_MIN, f"{view}, {scheme}: {contrast}"
                page.shoot(f"{name}-{label}-{scheme}", size, scheme, is_phone, is_whole=True)
            page.has_no_complaint()
        for width, height in ((640, 450), (320, 225)):  # WCAG 2.1, success criteria 1.4.4 and 1.4.10
            page.browser.screen(width, height)
            page.fits_its_width(f"{view} at {width} px")
    page.browser.screen(*DESKTOP)
    fixture.wiring.moving = []


TESTS = [devices_are_named_by_what_stays, a_search_needs_a_name, who_answers_is_shown_with_progress, one_sees_there_it_is, what_was_found_is_ready_to_copy, an_old_window_is_not_taken_for_now, one_file_is_for_one_module, a_number_that_is_nowhere_is_said,
          a_port_of_a_running_bus_is_refused, a_bench_multimeter_says_its_name, the_clip_list_says_what_a_hand_needs, the_clip_list_prints_on_one_side, the_mover_is_named, what_moves_when_another_is_chosen_is_waited_for, the_wrong_one_is_told,
          several_are_not_taken_for_one, the_right_one_is_ticked_off_with_a_name, only_a_unit_that_is_proven_off_and_discharged_has_no_caution, all_of_it_by_keyboard, pictures_of_setting_up]
