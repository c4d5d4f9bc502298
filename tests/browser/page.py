"""The page under test: opening, looking, acting, and what every view must keep."""
import time

DESKTOP = (1280, 900)
PHONE = (390, 844)
NARROWEST = (360, 740)
# WCAG 2.1, success criteria 1.4.3 (text, level AA) and 1.4.11 (what is drawn).
CONTRAST_MIN = 4.5
DRAWN_CONTRAST_MIN = 3.0

# Kept from before the page's first line of script: what its policy refused.
WATCH_POLICY = "window.refused = []; addEventListener('securitypolicyviolation', (e) => window.refused.push(`${e.violatedDirective} ${e.blockedURI} ${e.sourceFile}:${e.lineNumber}`));"

# The lowest contrast of any visible text with what is painted behind it, after WCAG 2.1 "relative luminance".
CONTRAST = """
const channel = (c) => { c /= 255; return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; };
const parts = (text) => { const n = text.match(/[\\d.]+/g).map(Number); return n.length < 4 ? [...n, 1] : n; };
const luminance = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
const ground = (element) => {
  for (let e = element; e; e = e.parentElement) { const c = parts(getComputedStyle(e).backgroundColor); if (c[3] === 1) return c; }
  return [255, 255, 255, 1];
};
let worst = { ratio: 99 };
const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walker.nextNode()) {
  const element = walker.currentNode.parentElement;
  if (!walker.currentNode.data.trim() || !element.checkVisibility() || element.closest('.unseen, noscript, .skip')) continue;
  const [a, b] = [luminance(parts(getComputedStyle(element).color)), luminance(ground(element))].sort((x, y) => y - x);
  const ratio = (a + 0.05) / (b + 0.05);
  if (ratio < worst.ratio) worst = { ratio, text: walker.currentNode.data.trim().slice(0, 40) };
}
return worst;
"""


# The least contrast of what is drawn with a meaning: lines of charts, limits, frames, bars.
DRAWN_CONTRAST = """
const channel = (c) => { c /= 255; return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; };
const luminance = (hex) => { const [r, g, b] = [1, 3, 5].map((i) => channel(parseInt(hex.slice(i, i + 2), 16))); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue('--' + name).trim();
let worst = { ratio: 99 };
for (const name of ['series-1', 'series-2', 'series-3', 'series-4', 'series-5', 'series-6', 'warn', 'trip', 'edge', 'calm', 'accent', 'alarm-solid'])
  for (const under of ['surface', 'ground']) {
    const [a, b] = [luminance(colour(name)), luminance(colour(under))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < worst.ratio) worst = { ratio, name, under };
  }
return worst;
"""


# Fields that a screen reader could not name.
NAMELESS = """
return [...document.querySelectorAll('input, select, textarea, button, dialog, summary')].filter((e) => e.checkVisibility())
  .filter((e) => !(e.getAttribute('aria-label') || e.getAttribute('aria-labelledby') || [...(e.labels ?? [])].some((l) => l.textContent.trim()) || (e.matches('button, summary') && e.textContent.trim())))
  .map((e) => e.outerHTML.slice(0, 120));
"""


class Page:
    def __init__(self, browser, base, screenshots):
        self.browser, self.base, self.screenshots = browser, base.rstrip("/"), screenshots
        browser.command("Page.enable")
        browser.command("Page.addScriptToEvaluateOnNewDocument", source=WATCH_POLICY)

    def open(self, view):
        self.browser.go("about:blank")
        self.browser.go(f"{self.base}/#/{view}")
        self.browser.wait(f"the page says live ({view})", lambda: self.browser.text("#heard") == "live")

    def has_no_complaint(self):
        refused = self.browser.script("return window.refused")
        assert refused == [], refused
        complaints = self.browser.console()
        assert complaints == [], complaints

    def shoot(self, name, size, scheme="dark", is_phone=False, is_whole=False):
        self.browser.screen(*size, scheme, is_phone)
        time.sleep(0.15)
        if is_whole:  # as high as the page, so that what clings to the window's foot does so at the page's foot
            self.browser.screen(size[0], min(16000, self.browser.script("return document.documentElement.scrollHeight")), scheme, is_phone)
            time.sleep(0.3)
        self.browser.shoot(self.screenshots / f"{name}.png")
        self.browser.screen(*size, scheme, is_phone)

    def act(self, selector, text=None):
        """Clicks the first that is seen of them; with `text`, the first that begins so."""
        found = self.browser.script("""
            const found = [...document.querySelectorAll(arguments[0])].find((e) => e.checkVisibility() && (!arguments[1] || e.textContent.startsWith(arguments[1])));
            document.querySelectorAll('[data-aim]').forEach((e) => e.removeAttribute('data-aim'));
            found?.setAttribute('data-aim', '');
            return Boolean(found)""", selector, text)
        assert found, f"{selector} {text or ''} is not on the page"
        self.browser.click("[data-aim]")

    def seen(self, selector):
        """The texts of those that are seen: innerText of what is hidden would be its text all the same."""
        return self.browser.script("return [...document.querySelectorAll(arguments[0])].filter((e) => e.checkVisibility()).map((e) => e.innerText)", selector)

    def every_field_is_named(self, view):
        nameless = self.browser.script(NAMELESS)
        assert nameless == [], f"{view}: {nameless}"

    def charts_are_drawn(self):
        drawn = "return [...document.querySelectorAll('.chart .canvas')].filter((c) => c.querySelector('canvas')).length"
        self.browser.wait("every chart is drawn", lambda: self.browser.count(".chart") > 0 and self.browser.script(drawn) == self.browser.count(".chart"), 12)

    def fits_its_width(self, view):
        width, inner = self.browser.script("return [document.documentElement.scrollWidth, innerWidth]")
        assert width <= inner, f"{view}: {width} px wide in a window of {inner} px"


def equal(found, wanted, what):
    assert found == wanted, f"{what}: {found!r}, not {wanted!r}"
