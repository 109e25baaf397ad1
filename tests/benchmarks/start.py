"""How long a card of clips takes: a first recipe, and balancing, against decoding alone.

    python tests/benchmarks/start.py [--clips 200] [--width 1920]

The baseline of `new` is PyAV opening each clip and decoding its first frame; that of `balance` is
PyAV decoding up to the middle frame of each clip, once. Times are of the wall clock, and of the
processor in all threads.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from pathlib import Path

import av
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lookkit.balance import Wanted, balance
from lookkit.look import load
from lookkit.start import start
from tests.balance.film import code_of, framed, gained, wall


def clips(folder: Path, count: int, width: int) -> None:
    """Write clips of some frames: every tenth is one of its own, the others are copies."""
    import cv2

    high = width * 9 // 16
    own = max(1, count // 10)
    for number in range(count):
        path = folder / f"A{number // 20 + 1:03d}C{number % 20:03d}.mov"
        if number >= own:
            shutil.copy(folder / f"A{(number % own) // 20 + 1:03d}C{(number % own) % 20:03d}.mov",
                        path)  # fmt: skip
            continue
        light = framed(wall(number // 5), 560 + 20 * (number % 5), 350)
        light = gained(light, np.full(3, 0.2 * (number % 5)))
        code = cv2.resize(code_of(light), (width, high))
        with av.open(str(path), "w") as out:
            stream = out.add_stream("libx264", rate=24, options={"preset": "veryfast"})
            stream.width, stream.height, stream.pix_fmt = width, high, "yuv420p"
            for _ in range(12):
                picture = av.VideoFrame.from_ndarray(np.uint8(code * 255), format="rgb24")
                out.mux(stream.encode(picture))
            out.mux(stream.encode(None))


def timed(name: str, work):
    wall_, processor = time.perf_counter(), time.process_time()
    made = work()
    found = time.perf_counter() - wall_, time.process_time() - processor
    print(f"{name:24} {found[0]:7.1f} s wall  {found[1]:7.1f} s processor")
    return made, found[1]


def decoded(paths, middle: bool):
    for path in paths:
        with av.open(str(path)) as container:
            for number, _ in enumerate(container.decode(video=0)):
                if number >= (6 if middle else 0):
                    break


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--clips", type=int, default=200)
    asked.add_argument("--width", type=int, default=1920)
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "card"
        folder.mkdir()
        clips(folder, options.clips, options.width)
        paths = sorted(folder.glob("*.mov"))
        print(f"{len(paths)} clips, {options.width} pixels wide")
        _, first = timed("PyAV, first frames", lambda: decoded(paths, middle=False))
        made, new = timed("new", lambda: start(folder))
        print(f"  {new / first:.2f} times the baseline")
        recipe = Path(place) / "film.toml"
        recipe.write_text(made.text.replace('"BT.709 camera"', '"ACEScct"'))
        _, frames = timed("PyAV, middle frames", lambda: decoded(paths, middle=True))
        look = load(recipe)
        found, used = timed("balance", lambda: balance(look, [folder], wanted=Wanted(drifts=False)))
        trims = sum(shot.is_written for shot in found.shots)
        print(f"  {used / frames:.2f} times the baseline; {trims} trims")
        _, used = timed("balance, and drifts", lambda: balance(look, [folder]))
        print(f"  {used / frames:.2f} times the baseline")


if __name__ == "__main__":
    main()
