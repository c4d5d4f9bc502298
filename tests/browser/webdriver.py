"""As much of W3C WebDriver (https://www.w3.org/TR/webdriver2/) as the page's tests need, spoken to a real chromedriver."""
import base64
import json
import pathlib
import re
import shutil
import subprocess
import time
import urllib.error
import urllib.request

ELEMENT = "element-6066-11e4-a52e-4f735466cecf"  # web element identifier, WebDriver section 12.2
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--force-color-profile=srgb"]


class Browser:
    """A context: one headless Chromium with a new profile of its own. Both processes are ended at its end, by their ids."""

    def __init__(self, folder, chromedriver="/usr/bin/chromedriver"):
        self.folder = pathlib.Path(folder).resolve()
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir(parents=True)
        self.log = open(self.folder / "chromedriver.log", "w+")
        self.driver = subprocess.Popen([chromedriver, "--port=0"], stdout=self.log, stderr=subprocess.STDOUT)
        self.session = None

    def __enter__(self):
        try:
            port = self.wait("chromedriver's port", lambda: re.search(r"started successfully on port (\d+)", (self.folder / "chromedriver.log").read_text()), 15).group(1)
            self.base = f"http://127.0.0.1:{port}"
            options = {"args": FLAGS + [f"--user-data-dir={self.folder / 'profile'}"]}
            wanted = {"browserName": "chrome", "goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL"}}
            self.session = self.ask("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})["sessionId"]
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_):
        try:
            if self.session:
                self.ask("DELETE", f"/session/{self.session}")
        finally:
            self.driver.terminate()
            self.driver.wait(10)
            self.log.close()

    def ask(self, method, path, body=None):
        data = None if method != "POST" else json.dumps(body or {}).encode()
        request = urllib.request.Request(self.base + path, data, {"Content-Type": "application/json"}, method=method)
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                return json.loads(answer.read())["value"]
        except urllib.error.HTTPError as error:
            value = json.loads(error.read())["value"]
            raise AssertionError(f"{value['error']}: {value['message']}") from None

    def post(self, path, body=None):
        return self.ask("POST", f"/session/{self.session}{path}", body)

    def wait(self, what, condition, seconds=6.0):
        """Until condition() is true; its last answer comes back. What it looks for may not be there yet, or not while the page draws it anew."""
        end = time.monotonic() + seconds
        while True:
            missing = ""
            try:
                answer = condition()
            except AssertionError as error:
                if not str(error).startswith("javascript error"):
                    raise
                answer, missing = None, f" ({error})"
            if answer:
                return answer
            if time.monotonic() > end:
                raise AssertionError(f"not within {seconds} s: {what}{missing}")
            time.sleep(0.05)

    def go(self, url):
        self.post("/url", {"url": url})

    def script(self, text, *arguments):
        return self.post("/execute/sync", {"script": text, "args": list(arguments)})

    def command(self, name, **parameters):
        """Chromium's own protocol: https://chromedevtools.github.io/devtools-protocol/"""
        return self.post("/goog/cdp/execute", {"cmd": name, "params": parameters})

    def find(self, selector):
        return self.post("/element", {"using": "css selector", "value": selector})[ELEMENT]

    def click(self, selector):
        self.script("document.querySelector(arguments[0])?.scrollIntoView({ block: 'center' })", selector)
        self.post(f"/element/{self.find(selector)}/click")

    def type(self, selector, text):
        self.post(f"/element/{self.find(selector)}/value", {"text": text})

    def text(self, selector="body"):
        return self.script("return [...document.querySelectorAll(arguments[0])].map((e) => e.innerText).join('\\n')", selector)

    def count(self, selector):
        return self.script("return document.querySelectorAll(arguments[0]).length", selector)

    def console(self):
        """What the browser has complained of since it was asked last: script errors, refused content, failed loads."""
        return [entry["message"] for entry in self.post("/se/log", {"type": "browser"}) if entry["level"] in ("SEVERE", "WARNING")]

    def screen(self, width, height, scheme="dark", is_phone=False):
        self.command("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=2 if is_phone else 1, mobile=is_phone)
        self.command("Emulation.setTouchEmulationEnabled", enabled=is_phone)
        self.command("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])

    def shoot(self, path, is_whole_page=False):
        picture = self.command("Page.captureScreenshot", format="png", captureBeyondViewport=is_whole_page, **({"clip": self.whole_page()} if is_whole_page else {}))
        pathlib.Path(path).write_bytes(base64.b64decode(picture["data"]))

    def whole_page(self):
        size = self.command("Page.getLayoutMetrics")["cssContentSize"]
        return {"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1}
