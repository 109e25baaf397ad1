"""A page in headless Chromium, spoken to through its pipe: what it asks for, and what it shows."""

import base64
import itertools
import json
import os
import select
import shutil
import subprocess
import tempfile
import time

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome")
PATIENCE = 60.0


def find():
    """The browser's path; skips where there is none."""
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("no Chromium here: pages are opened in it where Debian's chromium is installed")
    return found


class Browser:
    """One headless Chromium; use as a context manager."""

    def __enter__(self):
        program = find()
        self._home = tempfile.TemporaryDirectory()
        read_here, write_there = os.pipe()
        read_there, write_here = os.pipe()

        def wire():
            # The protocol speaks on 3 and 4. Copies first: either may be one of our ends.
            incoming, outgoing = os.dup(read_there), os.dup(write_there)
            os.dup2(incoming, 3)
            os.dup2(outgoing, 4)

        self._process = subprocess.Popen(
            [program, "--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run",
             "--disable-background-networking", "--disable-component-update", "--disable-sync",
             "--force-color-profile=srgb", "--remote-debugging-pipe",
             f"--user-data-dir={self._home.name}", "about:blank"],
            close_fds=False, preexec_fn=wire, stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(read_there)
        os.close(write_there)
        self._read, self._write, self._rest = read_here, write_here, b""
        self._numbers = itertools.count(1)
        self.events = []
        made = self.call("Target.createTarget", {"url": "about:blank"})
        attached = self.call("Target.attachToTarget", {**made, "flatten": True})
        self._session = attached["sessionId"]
        for part in ("Page", "Network", "Log", "Runtime"):
            self.call(f"{part}.enable")
        return self

    def __exit__(self, *_):
        self._process.terminate()
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(10)
        os.close(self._read)
        os.close(self._write)
        # It may still be writing there; the folder is of no more use either way.
        shutil.rmtree(self._home.name, ignore_errors=True)
        self._home._finalizer.detach()

    _session = None

    def call(self, method, params=None):
        """Send a command and return its result; events on the way are kept."""
        number = next(self._numbers)
        message = {"id": number, "method": method, "params": params or {}}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        end = time.monotonic() + PATIENCE
        while True:
            found = self._next(end)
            if found.get("id") == number:
                assert "error" not in found, found
                return found["result"]
            self.events.append(found)

    def _next(self, end):
        while b"\0" not in self._rest:
            ready, _, _ = select.select([self._read], [], [], max(end - time.monotonic(), 0))
            assert ready, "Chromium does not answer"
            self._rest += os.read(self._read, 1 << 20)
        one, _, self._rest = self._rest.partition(b"\0")
        return json.loads(one)

    def open(self, path, *, width=1300, height=900, dark=False, media="screen"):
        """Open a file; return the URLs it asked for and what it complained of."""
        self.events.clear()
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.call("Emulation.setDeviceMetricsOverride", size)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", {"media": media, "features": [scheme]})
        self.call("Page.navigate", {"url": path.resolve().as_uri()})
        end = time.monotonic() + PATIENCE
        while not any(one.get("method") == "Page.loadEventFired" for one in self.events):
            self.events.append(self._next(end))
        self.run("1")
        asked = [one["params"]["request"]["url"] for one in self.events
                 if one.get("method") == "Network.requestWillBeSent"]  # fmt: skip
        wrong = [one["params"] for one in self.events
                 if one.get("method") in ("Log.entryAdded", "Runtime.exceptionThrown",
                                          "Runtime.consoleAPICalled")]  # fmt: skip
        return asked, wrong

    def run(self, script):
        """Return what a script gives inside the page."""
        given = self.call("Runtime.evaluate", {"expression": script, "returnByValue": True})
        assert "exceptionDetails" not in given, given
        return given["result"].get("value")

    def paper(self):
        """The page on paper, as a PDF whose sheets the page itself chooses."""
        made = self.call("Page.printToPDF", {"preferCSSPageSize": True})
        return base64.b64decode(made["data"])

    def picture(self):
        """The page as a PNG."""
        made = self.call("Page.captureScreenshot", {"captureBeyondViewport": True})
        return base64.b64decode(made["data"])
