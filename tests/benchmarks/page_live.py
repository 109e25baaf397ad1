"""Measure how soon pictures follow a hand on the page, and how close they are while it moves.

    python -m tests.benchmarks.page_live film.toml FRAMES...

In a headless Chromium without a GPU, 1600 pixels wide: from a pointer's event to the frame after
the pictures were drawn; events come sixty times a second, made in the page, so that the test's
driver does not work on the same cores. Since other work on the machine makes such times long, it
also prints what each change costs in processor time, part by part, with the lattices' as a ratio
to the same in numpy (float64). Last, how far lattices of 25, 33 and 57 points are from the exact
pictures, in 1/255 of the worst channel, at the pictures' size on the page.
"""

import os
import sys
import time
from pathlib import Path

import numpy as np

from lookkit.evaluate import Runner, evaluate
from lookkit.media.jobs import Options
from lookkit.page.live import Shown
from lookkit.page.pictures import Domain, all_trims, lights_of, read_pictures, resized
from lookkit.page.session import Session, moved
from lookkit.report.shown import srgb_of
from tests.page.browser import CHROMIUM, EXACT, FLAGS, Served, until

SECONDS = 6.0
WAGGLE = """(one, [x, y, seconds]) => {
  let step = 0;
  const start = performance.now(), timer = setInterval(() => {
    if (performance.now() - start > 1000 * seconds) { clearInterval(timer); return; }
    const at = x - 4 - (step++ * 7) % 61;
    const event = {clientX: at, clientY: y, pointerId: 1, bubbles: true};
    one.dispatchEvent(new PointerEvent('pointermove', event));
  }, 1000 / 60);
}"""


def spent() -> dict[str, float]:
    """Return the processor time so far, in ms, of the server and of the browser's processes."""
    found: dict[int, tuple[int, str, float]] = {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            command = (folder / "cmdline").read_text().replace("\0", " ")
            fields = (folder / "stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        kind = ""
        if " adjust " in command:
            kind = "server"
        elif "chromium" in command:
            kind = command.partition("--type=")[2].partition(" ")[0] or "browser"
        ticks = int(fields[11]) + int(fields[12])
        found[int(folder.name)] = int(fields[1]), kind, 1000.0 * ticks / os.sysconf("SC_CLK_TCK")
    ours: dict[str, float] = {}
    for one, (parent, kind, ms) in found.items():
        while parent in found and parent != os.getpid():
            parent = found[parent][0]
        if parent == os.getpid() and one != parent and kind:
            ours[kind] = ours.get(kind, 0.0) + ms
    return ours


def speed(recipe: Path, files: list[Path]) -> None:
    from playwright.sync_api import sync_playwright

    print("flags", *FLAGS)
    server = Served(recipe, files)
    with sync_playwright() as made:
        browser = made.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        tab = browser.new_page(viewport={"width": 1600, "height": 1000})
        tab.goto(server.url)
        until(tab, EXACT, 60)
        for name in ("Print, interimage", "Print, hold", "Light, stops"):
            tab.evaluate("page.times.length = 0")
            if not tab.get_by_role("spinbutton", name=name).count():
                tab.get_by_role("button", name="Print").click()
            field = tab.get_by_role("spinbutton", name=name).first
            field.evaluate("(one) => one.scrollIntoView({block: 'center'})")
            box = field.bounding_box()
            tab.mouse.move(box["x"] + 6, box["y"] + 8)
            tab.mouse.down()
            field.evaluate(WAGGLE, [box["x"] + 6, box["y"] + 8, 1.0])
            time.sleep(1.2)
            tab.evaluate("page.times.length = 0")
            before = spent()
            field.evaluate(WAGGLE, [box["x"] + 6, box["y"] + 8, SECONDS])
            time.sleep(SECONDS + 0.1)
            after, times = spent(), tab.evaluate("page.times")
            sizes = tab.evaluate("page.sizes")
            tab.keyboard.press("Escape")
            tab.mouse.up()
            words = {"total": "event to frame", "trip": "event to lattice", "made": "lattice (cpu)"}
            for key, what in words.items():
                found = [one[key] for one in times]
                print(
                    f"{name}: {what} median {np.median(found):.0f} ms, "
                    f"p95 {np.quantile(found, 0.95):.0f} ms"
                )
            costs = {one: (after[one] - before.get(one, 0)) / len(times) for one in after if one}
            told = [f"{one} {cost:.0f}" for one, cost in sorted(costs.items()) if cost > 0.5]
            print(
                f"{len(times) / SECONDS:.0f} changes a second; processor ms a change: "
                f"{', '.join(told)}; drawn {sizes}; load {os.getloadavg()[0]:.1f}"
            )
            until(tab, EXACT, 60)
        browser.close()
    server.close()


def lattices(recipe: Path, files: list[Path]) -> None:
    session, options = Session(recipe), Options()
    pictures, _ = read_pictures(session.look, files, options)
    output = session.look.first_output
    domain = Domain.of(lights_of(session.look, pictures))
    shown = Shown(domain)
    scenes = [one.place_in(session.look) for one in pictures]
    trims = [all_trims(session.look, scene) for scene in scenes]
    for size in (25, 33):
        points = domain.points(size).astype(np.float64)
        took = {"compiled": [], "numpy": []}
        for step in range(7):
            look = moved(session.look, ("rendering",), ("hold",), 0.9 - 0.001 * (step + 10 * size))
            start = time.process_time()
            made = shown.lattices(look, scenes, output, size, trims=trims, moving=True).made
            took["compiled"].append(time.process_time() - start)
            start = time.process_time()
            chains = [shown.chain(look, scene, output, trimmed=True) for scene in scenes]
            for chain in dict.fromkeys(chains):
                evaluate([shown.quick(op) for op in chain], points)
            took["numpy"].append(time.process_time() - start)
        fast, slow = (1000 * np.median(took[name]) for name in ("compiled", "numpy"))
        print(
            f"{size} points, {len(made)} lattices, a number of the print: "
            f"{fast:.1f} ms of processor time, {slow / fast:.1f} times as fast as in numpy"
        )


def exactness(recipe: Path, files: list[Path], width: int = 350) -> None:
    session = Session(recipe)
    look, options = session.look, Options()
    output = look.first_output
    pictures, _ = read_pictures(look, files, options)
    shown = Shown(Domain.of(lights_of(look, pictures)))
    screen = srgb_of(look.graph.output(output))
    for size in (25, 33, 57):
        found = []
        places = [one.place_in(look) for one in pictures]
        trims = [all_trims(look, place) for place in places]
        sets = shown.lattices(look, places, output, size, trims=trims)
        for one, at, before in zip(pictures, sets.which, trims, strict=True):
            light = resized(
                one.light, width, round(width * one.light.shape[0] / one.light.shape[1])
            )
            chain = shown.chain(look, one.place_in(look), output)
            exact = screen.apply(evaluate(chain, light.astype(np.float64)).astype(np.float32))
            place = shown.domain.coded(Runner(before).run(light)).reshape(-1, 3) / 65535.0
            read = tetrahedral(sets.made[at].values / 65535.0, place, size)
            found.append(np.abs(read - np.clip(exact, 0, 1).reshape(-1, 3)).max(axis=-1) * 255)
        error = np.concatenate(found)
        print(
            f"{size} points: mean {error.mean():.2f}, 99 % {np.quantile(error, 0.99):.2f}, "
            f"99.9 % {np.quantile(error, 0.999):.2f}, worst {error.max():.1f}, "
            f"within 1: {100 * (error <= 1).mean():.2f} %"
        )
    one = pictures[0]
    chain = shown.chain(look, one.place_in(look), output)
    truth = screen.apply(evaluate(chain, one.light.astype(np.float64)).astype(np.float32))
    apart = 255 * np.abs(screen.apply(Runner(chain).run(one.light)) - truth).max()
    print(f"exact pictures, without their texture, from evaluate: worst {apart:.4f}")


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
    speed(recipe, files)
    lattices(recipe, files)
    exactness(recipe, files)
