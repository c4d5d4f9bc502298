"""What the page does with what the shop keeps: units, runs, pages and records to take away."""
from page import DESKTOP, NARROWEST, PHONE, equal


def runs_are_found_by_their_serial(page, _):
    page.open("units")
    page.browser.wait("the runs", lambda: page.browser.count(".run-line") == 6)
    equal(page.browser.text(".run-line:nth-child(5) p"), "Run 2 Brindlecombe 35, B35-0117", "a line")
    assert "Pass with remarks, signed by Ada" in page.browser.text(".run-line:nth-child(5)"), page.browser.text(".run-line:nth-child(5)")
    page.browser.type(".find input", "r22 11")
    page.browser.wait("the one that fits, whatever stands between", lambda: page.browser.count(".run-line") == 1)
    assert "Tolvane R-22" in page.browser.text(".run-line"), page.browser.text(".run-line")
    equal(page.browser.text(".units-view [role=status]"), "1 run found", "what is said aloud")
    page.browser.script("const e = document.querySelector('.find input'); e.value = ''; e.dispatchEvent(new Event('input'))")


def a_run_has_its_pages(page, _):
    page.browser.click(".run-line:nth-child(5) a")
    page.browser.wait("the run", lambda: page.browser.text(".run-view h1") == "Brindlecombe 35, run 2")
    equal(page.browser.script("return [...document.querySelectorAll('.take-away a')].map((a) => a.getAttribute('href'))"),
          [f"/api/v1/runs/2/{name}" for name in ("page.pdf?paper=a4", "page.pdf?paper=letter", "page.html", "page.png", "record.zip")], "what it leads to")
    equal(page.browser.script("return document.querySelector('nav [aria-current]').textContent"), "Units", "where one is")
    assert "Run 3" in page.browser.text("[aria-labelledby=others-head]"), "the other run of this unit"
    page.has_no_complaint()


def what_is_not_over_has_no_sealed_record(page, _):
    page.open("run/4")
    page.browser.wait("the run", lambda: page.browser.text(".run-view h1") == "Fennimark 120, run 4")
    equal(page.seen(".take-away a"), ["PDF, A4", "PDF, Letter", "Page for a browser", "Picture"], "what can be had of it")
    assert "is made when it is over" in page.browser.text(".run-view"), page.browser.text(".run-view")
    page.browser.click(".places a")
    page.browser.wait("the bench", lambda: page.browser.text(".unit-head h1") == "Fennimark 120")
    page.act(".unit-head a", "Run 4")
    page.browser.wait("and back", lambda: page.browser.text(".run-view h1") == "Fennimark 120, run 4")
    page.open("run/99")
    page.browser.wait("a number of no run", lambda: "No run has this number" in page.browser.text("main"))


TESTS = [runs_are_found_by_their_serial, a_run_has_its_pages, what_is_not_over_has_no_sealed_record]
