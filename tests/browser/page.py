#!/usr/bin/env python3
"""Opens report.html in a real browser and does what its reader does.

Usage: page.py REPORT.html [FOLDER FOR SCREENSHOTS]

Needs a Chromium (chromium, chromium-browser, google-chrome) and nothing else: the browser is driven over two pipes.
Where there is none, or none that starts, it says so in a word, since what is skipped silently proves nothing, and ends
with status 0. Exit status 1 where anything is not as it must be.
"""

import base64
import itertools
import json
import os
import pathlib
import select
import shutil
import subprocess
import sys
import tempfile
import time

WAIT_S = 120
# A browser now and then ends by itself on a busy machine, most of all at its start: that says nothing of the page.
TRIES = 3


class Ended(Exception):
    """The browser went away or answers no more."""


class Browser:
    """A headless browser with one page, by the remote debugging protocol over file descriptors 3 and 4."""

    def __init__(self, program, profile):
        self.said = tempfile.TemporaryFile()
        to_browser, self.out = os.pipe()
        self.inp, from_browser = os.pipe()
        flags = [
            "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
            "--disable-extensions", "--disable-background-networking", "--remote-debugging-pipe",
            f"--user-data-dir={profile}", "about:blank",
        ]

        def pipes():
            # Copies above 4 first: one of the ends may be 3 or 4 itself.
            read, write = os.dup(to_browser), os.dup(from_browser)
            os.dup2(read, 3)
            os.dup2(write, 4)

        self.process = subprocess.Popen(
            [program, *flags], close_fds=False, preexec_fn=pipes,
            stdout=subprocess.DEVNULL, stderr=self.said,
        )
        os.close(to_browser)
        os.close(from_browser)
        self.buffer = b""
        self.numbers = itertools.count(1)
        self.events = []
        self.session = None

    def open(self):
        """Takes the page that the browser starts with."""
        pages = self.call("Target.getTargets")["targetInfos"]
        page = next(t["targetId"] for t in pages if t["type"] == "page")
        self.session = self.call("Target.attachToTarget", targetId=page, flatten=True)["sessionId"]

    def message(self, end):
        while b"\0" not in self.buffer:
            ready, _, _ = select.select([self.inp], [], [], max(0, end - time.monotonic()))
            if not ready:
                raise Ended(f"no answer in {WAIT_S} s")
            read = os.read(self.inp, 1 << 16)
            if not read:
                raise Ended("it ended by itself")
            self.buffer += read
        text, self.buffer = self.buffer.split(b"\0", 1)
        return json.loads(text)

    def call(self, method, **params):
        number = next(self.numbers)
        message = {"id": number, "method": method, "params": params}
        if self.session:
            message["sessionId"] = self.session
        try:
            os.write(self.out, json.dumps(message).encode() + b"\0")
        except BrokenPipeError as error:
            raise Ended("it ended by itself") from error
        end = time.monotonic() + WAIT_S
        while True:
            got = self.message(end)
            if got.get("id") == number:
                if "error" in got:
                    raise SystemExit(f"{method}: {got['error']}")
                return got["result"]
            self.events.append(got)

    def js(self, text):
        got = self.call("Runtime.evaluate", expression=text, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in got:
            raise SystemExit(f"{text}: {got['exceptionDetails']}")
        return got["result"].get("value")

    def key(self, key, code):
        for kind in ("keyDown", "keyUp"):
            text = "\r" if key == "Enter" and kind == "keyDown" else ""
            self.call(
                "Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code, text=text
            )

    def picture(self, path, width, height, dark):
        self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1,
            mobile=width < 600,
        )
        scheme = "dark" if dark else "light"
        self.call(
            "Emulation.setEmulatedMedia",
            features=[{"name": "prefers-color-scheme", "value": scheme}],
        )
        self.js("scrollTo(0, 0)")
        got = self.call("Page.captureScreenshot", format="png")
        path.write_bytes(base64.b64decode(got["data"]))

    def end(self):
        """Ends the browser and gives the last that it said of itself."""
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        os.close(self.out)
        os.close(self.inp)
        self.said.seek(0)
        lines = self.said.read().decode(errors="replace").strip().splitlines()
        self.said.close()
        return "\n".join(lines[-10:])


def expect(what, is_so):
    if not is_so:
        raise SystemExit(f"not so: {what}")
    print(f"ok: {what}")


def look(browser, page, pictures):
    for domain in ("Page", "Runtime", "Network", "Log"):
        browser.call(f"{domain}.enable")
    browser.call("Page.navigate", url=page.as_uri())
    end = time.monotonic() + WAIT_S
    while browser.js("document.readyState") != "complete" and time.monotonic() < end:
        time.sleep(0.1)

    rows = "[...document.querySelectorAll('#models-table tbody tr')]"
    all_rows = browser.js(f"{rows}.length")
    expect("there are series", all_rows > 0)
    column = f"{rows}.map(r => r.cells[2].dataset.sort).filter(t => t !== '').map(Number)"
    browser.js("document.querySelectorAll('#models-table th button')[2].click()")
    up = browser.js(column)
    expect("a click sorts the limits upwards", up == sorted(up))
    browser.js("document.querySelectorAll('#models-table th button')[2].focus()")
    browser.key("Enter", 13)
    down = browser.js(column)
    expect("the Enter key sorts them downwards", down == sorted(down, reverse=True))
    said = browser.js("document.querySelectorAll('#models-table th')[2].getAttribute('aria-sort')")
    expect("the order is told to screen readers", said == "descending")

    model = browser.js(f"{rows}[0].cells[0].textContent.split(',')[0]")
    typed = "e => { const i = document.getElementById(e[0]); i.value = e[1];" \
        " i.dispatchEvent(new Event('input', {bubbles: true})); }"
    browser.js(f"({typed})({json.dumps(['find-model', model.lower()])})")
    left = browser.js(f"{rows}.filter(r => !r.hidden).every(r => r.textContent.includes({json.dumps(model)}))")
    hidden = browser.js(f"{rows}.filter(r => r.hidden).length")
    expect("the search leaves the model searched", left and (hidden > 0 or all_rows < 3))
    browser.js(f"({typed})(['find-model', ''])")

    units = browser.js("document.querySelectorAll('#units-table tbody tr').length")
    if units:
        serial = browser.js("document.querySelector('#units-table tbody tr').cells[0].textContent")
        asked = serial.replace("-", "").replace(" ", "").lower()
        browser.js(f"({typed})({json.dumps(['find-unit', asked])})")
        first = browser.js("document.querySelector('#units-table tbody tr')?.cells[0].textContent")
        expect("a serial is found without its dashes and capitals", first == serial)
        browser.js(f"({typed})(['find-unit', 'no such unit'])")
        none = browser.js("document.querySelectorAll('#units-table tbody tr').length")
        expect("what is not there is not found", none == 0)
        browser.js(f"({typed})(['find-unit', ''])")

    folded = browser.js("document.querySelectorAll('details[open]').length")
    expect("sections are folded at first", folded == 0)
    browser.js("location.hash = document.querySelector('#models-table tbody a').getAttribute('href')")
    time.sleep(0.3)
    opened = browser.js("[...document.querySelectorAll('details[open]')].length")
    expect("a link unfolds what it leads to", opened == 1)
    browser.js("document.querySelector('details[open] > summary').click()")
    expect("a click folds it again", browser.js("document.querySelectorAll('details[open]').length") == 0)
    browser.js("dispatchEvent(new Event('beforeprint'))")
    closed = browser.js("document.querySelectorAll('details:not([open])').length")
    expect("all is printed", closed == 0)
    wide = browser.js("document.querySelectorAll('svg').length")
    print(f"{wide} charts inside, {page.stat().st_size} bytes")
    browser.js("dispatchEvent(new Event('afterprint'))")
    browser.js("history.replaceState(null, '', location.pathname)")

    for name, width, height, dark in [
        ("desk", 1280, 900, False), ("desk-dark", 1280, 900, True), ("phone", 390, 844, False),
    ]:
        browser.picture(pictures / f"{name}.png", width, height, dark)
        over = browser.js("document.documentElement.scrollWidth - innerWidth")
        expect(f"nothing runs over the edge at {width} pixels", over <= 0)

    # What came in meanwhile.
    browser.js("1")
    requests = [
        e["params"]["request"]["url"] for e in browser.events if e.get("method") == "Network.requestWillBeSent"
    ]
    outside = [u for u in requests if u != page.as_uri() and not u.startswith("data:")]
    expect("no request leaves the file", not outside)
    complaints = [
        e["params"] for e in browser.events
        if e.get("method") == "Runtime.exceptionThrown"
        or (e.get("method") == "Runtime.consoleAPICalled" and e["params"]["type"] in ("error", "warning"))
        or (e.get("method") == "Log.entryAdded" and e["params"]["entry"]["level"] in ("error", "warning"))
    ]
    expect(f"the console is silent {complaints or ''}", not complaints)


def main():
    page = pathlib.Path(sys.argv[1]).resolve()
    pictures = pathlib.Path(sys.argv[2] if len(sys.argv) > 2 else tempfile.mkdtemp())
    pictures.mkdir(parents=True, exist_ok=True)
    names = ("chromium", "chromium-browser", "google-chrome")
    program = next((p for p in map(shutil.which, names) if p), None)
    if program is None:
        print("skipped: no Chromium on this machine, the page was opened in no browser")
        return 0
    opened = False
    for n in range(1, TRIES + 1):
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
            browser, gone, said = Browser(program, profile), None, ""
            try:
                browser.open()
                opened = True
                look(browser, page, pictures)
            except Ended as error:
                gone = error
            finally:
                said = browser.end()
        if gone is None:
            print(f"pictures: {pictures}")
            return 0
        print(f"{program}, try {n} of {TRIES}: {gone}\n{said}")
    if opened:
        raise SystemExit("not so: the browser can show the page")
    print("skipped: the Chromium on this machine does not start, the page was opened in no browser")
    return 0


if __name__ == "__main__":
    sys.exit(main())
