"""A real browser for the page's tests, and a server to open it on."""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = (
    "--no-sandbox",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-gpu-compositing",
    "--disable-background-networking",
    "--disable-dev-shm-usage",
    "--disable-component-update",
)


def why_not() -> str:
    """Return why there is no browser here, or nothing."""
    try:
        import playwright  # noqa: F401
    except ImportError:
        return "Playwright is not installed"
    return "" if CHROMIUM else "Chromium is not installed"


needs_browser = pytest.mark.skipif(bool(why_not()), reason=why_not() or "there is one")


class Served:
    """`lookkit adjust` in a process of its own."""

    def __init__(self, recipe: Path, files: list[Path], port: int = 0) -> None:
        command = [sys.executable, "-m", "lookkit", "adjust", str(recipe), *map(str, files)]
        self.process = subprocess.Popen(
            [*command, "--no-browser", "--port", str(port)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env={**os.environ, "PYTHONWARNINGS": "error"},
        )
        assert self.process.stdout is not None
        self.url = self.process.stdout.readline().strip()
        if not self.url.startswith("http://127.0.0.1:"):
            self.close()
            raise AssertionError("the server did not start")

    @property
    def port(self) -> int:
        return int(self.url.split(":")[2].split("/")[0])

    def kill(self) -> None:
        """End it as a failing machine would."""
        self.process.send_signal(signal.SIGKILL)
        self.close()

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()


def canvas(tab, index: int) -> np.ndarray:
    """The canvas's pixels of a picture, top row first."""
    found = tab.evaluate(f"page.pixels({index})")
    data = np.array(found["data"]).reshape(found["h"], found["w"], 4)
    return data[::-1, :, :3]


def until(tab, script: str, seconds: float = 90.0):
    """Wait until a script's result is true, and return it.

    The page's own policy forbids Playwright's way of waiting, which makes code of text.
    """
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = tab.evaluate(script)
        if found:
            return found
        time.sleep(0.03)
    raise AssertionError(f"not in {seconds} s: {script}; {tab.evaluate('page.errors')}")


EXACT = "globalThis.page && page.exact"
