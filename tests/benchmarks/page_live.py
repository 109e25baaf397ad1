"""Measure how soon pictures follow a hand on the page, and how close they are while it moves.

    python tests/benchmarks/page_live.py film.toml FRAMES...

In a headless Chromium without a GPU, 1600 pixels wide: from a pointer's event to the frame after
the pictures were drawn. Also how far the lattices of 25 and 33 points are from the exact pictures,
in 1/255 of the worst channel, at the pictures' size on the page.
"""

import sys
import time
from pathlib import Path

import numpy as np

from lookkit.evaluate import evaluate
from lookkit.media.jobs import Options
from lookkit.page.live import Shown
from lookkit.page.pictures import Domain, read_pictures, resized
from lookkit.page.session import Session
from lookkit.report.shown import srgb_of
from tests.page.browser import CHROMIUM, EXACT, FLAGS, Served, until

SECONDS = 6.0


def speed(recipe: Path, files: list[Path]) -> None:
    from playwright.sync_api import sync_playwright

    print("flags", *FLAGS)
    server = Served(recipe, files)
    with sync_playwright() as made:
        browser = made.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        tab = browser.new_page(viewport={"width": 1600, "height": 1000})
        tab.goto(server.url)
        until(tab, EXACT, 60)
        for which in (0, -1):
            field = tab.locator("#recipe input.number").nth(which)
            field.evaluate("(one) => one.scrollIntoView({block: 'center'})")
            box = field.bounding_box()
            x, y = box["x"] + 6, box["y"] + 8
            tab.mouse.move(x, y)
            tab.mouse.down()
            for step in range(20):
                tab.mouse.move(x + step % 9, y)
                time.sleep(0.03)
            tab.evaluate("page.times.length = 0")
            end, step = time.monotonic() + SECONDS, 0
            while time.monotonic() < end:
                step += 1
                tab.mouse.move(x + step % 12, y)
                time.sleep(0.012)
            times = tab.evaluate("page.times")
            sizes = tab.evaluate("page.sizes")
            tab.keyboard.press("Escape")
            tab.mouse.up()
            name = field.get_attribute("aria-label")
            for key in ("total", "trip", "draw"):
                found = [one[key] for one in times]
                print(
                    f"{name}: {key} median {np.median(found):.0f} ms, "
                    f"p95 {np.quantile(found, 0.95):.0f} ms"
                )
            print(f"{len(times) / SECONDS:.0f} changes a second; drawn {sizes}")
        browser.close()
    server.close()


def exactness(recipe: Path, files: list[Path], width: int = 350) -> None:
    session = Session(recipe)
    look, options = session.look, Options()
    output = look.first_output
    pictures = read_pictures(look, files, options)
    shown = Shown(Domain.of(pictures))
    screen = srgb_of(look.graph.output(output))
    for size in (25, 33):
        found = []
        which, made = shown.lattices(look, [one.scene for one in pictures], output, size)
        for one, at in zip(pictures, which, strict=True):
            light = resized(
                one.light, width, round(width * one.light.shape[0] / one.light.shape[1])
            )
            chain = shown.chain(look, one.scene, output)
            exact = screen.apply(evaluate(chain, light.astype(np.float64)).astype(np.float32))
            place = shown.domain.coded(light).reshape(-1, 3) / 65535.0
            read = tetrahedral(made[at].astype(np.float64)[:, :3], place, size)
            found.append(np.abs(read - np.clip(exact, 0, 1).reshape(-1, 3)).max(axis=-1) * 255)
        error = np.concatenate(found)
        print(
            f"{size} points: mean {error.mean():.2f}, 99 % {np.quantile(error, 0.99):.2f}, "
            f"99.9 % {np.quantile(error, 0.999):.2f}, worst {error.max():.1f}, "
            f"within 1: {100 * (error <= 1).mean():.2f} %"
        )
    one = pictures[0]
    truth = evaluate(shown.chain(look, one.scene, output), one.light.astype(np.float64))
    apart = shown.exact(look, one, one.light, output) - screen.apply(truth.astype(np.float32))
    print(f"exact pictures, from evaluate: worst {np.abs(apart).max() * 255:.4f}")


def tetrahedral(lattice: np.ndarray, place: np.ndarray, size: int) -> np.ndarray:
    at = np.clip(place, 0, 1) * (size - 1)
    low = np.minimum(at.astype(int), size - 2)
    part = at - low
    order = np.argsort(-part, axis=1, kind="stable")
    sorted_part = np.take_along_axis(part, order, 1)
    stride = np.array([1, size, size * size])
    index = low @ stride
    out = lattice[index] * (1 - sorted_part[:, :1])
    for k in range(3):
        index = index + stride[order[:, k]]
        share = sorted_part[:, k] - (sorted_part[:, k + 1] if k < 2 else 0)
        out += lattice[index] * share[:, None]
    return out


if __name__ == "__main__":
    recipe, *files = (Path(one) for one in sys.argv[1:])
    exactness(recipe, files)
    speed(recipe, files)
