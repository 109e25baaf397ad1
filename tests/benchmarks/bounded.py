"""The bounded way: its speed on noisy log pictures, and its worst pixel over all ten-bit codes.

    LOOKKIT_SAMPLES=samples python -m tests.benchmarks.bounded [encoding]
    python -m tests.benchmarks.bounded --exhaustive [encoding [look [step]]]

The first prints, for HD pictures with noise in a camera's log through the heaviest shipped look
to ten bits on one core: how many cells a picture touches, the seconds to prove them, the share of
pixels that fall back to the exact way, and the processor time of a picture whose cells are
proved, what falls back included, against OpenColorIO's own 33-point tetrahedral lattice on the
same pixels (at most 2.6).

The second grades all 2^30 ten-bit codes and prints the largest difference from the exact graph, in
codes (at most 1). Only pixels that the lattice serves can differ. It takes from minutes to an hour;
with a step, only every so many of the reds are graded.
"""

from __future__ import annotations

import statistics
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from lookkit.accuracy.sampling import grid
from lookkit.bounded import Lattice, grade_packed
from lookkit.look import Look
from lookkit.ocio import cores, lattice_transform, library
from lookkit.recipe.load import parse_recipe
from tests.benchmarks.noisy import noisy, scenes

ROUNDS = 7
SAME = np.eye(3), np.zeros(3)
CODES = 1023


def look_of(encoding: str, name: str = "warm-print") -> Look:
    """Return a shipped look for a camera and a monitor."""
    text = (
        f'schema = 1\nname = "x"\nextends = "{name}"\n[cameras.A]\nencoding = "{encoding}"\n'
        '[outputs.monitor]\noutput = "Rec.709 BT.1886"\n'
    )
    return Look(parse_recipe(text), text)


def speed(look: Look) -> None:
    """Print times on pictures."""
    ocio = library()
    group = ocio.GroupTransform([lattice_transform(grid(33) ** 1.1)])
    cpu = (
        ocio.Config.CreateRaw()
        .getProcessor(group)
        .getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
    )
    sent = 0

    def exact(rgb: np.ndarray) -> np.ndarray:
        nonlocal sent
        sent += len(rgb)
        return np.clip(look.apply(rgb, camera="A", output="monitor"), 0.0, 1.0)

    with ThreadPoolExecutor(1) as worker:
        for name, light in scenes(1920, 1080):
            code = np.rint(noisy(look, "A", light, 1) * CODES) / CODES
            pixels = np.ascontiguousarray(code.reshape(-1, 3), dtype=np.float32)
            lattice = Lattice(exact, SAME, SAME, CODES)
            spent = time.process_time()
            grade_packed(lattice, pixels, worker)
            first = time.process_time() - spent
            ratios, took = [], []
            for _ in range(ROUNDS):
                theirs = pixels.copy()
                spent = time.process_time()
                cpu.apply(ocio.PackedImageDesc(theirs, 1920, 1080, 3))
                yardstick = time.process_time() - spent
                sent = 0
                spent = time.process_time()
                grade_packed(lattice, pixels, worker)
                took.append(time.process_time() - spent)
                ratios.append(took[-1] / yardstick)
            share = sent / len(pixels)
            found = grade_packed(lattice, pixels, worker)[::7]
            wanted = look.evaluate(pixels[::7], camera="A", output="monitor").clip(0.0, 1.0)
            print(
                f"{name}: {(lattice.points[:, 3] > 0).sum()} cells, first {first:.2f} s of work, "
                f"then {statistics.median(took) / len(pixels) * 1e9:.1f} ns a pixel, "
                f"{100 * share:.2f} % fall back, "
                f"{statistics.median(ratios):.2f} x the lattice; "
                f"worst {np.abs(found - wanted).max() * CODES:.2f} codes"
            )


def exhaustive(look: Look, step: int = 1) -> None:
    """Print the worst of all ten-bit codes, or of those with every `step`-th red."""

    def exact(rgb: np.ndarray) -> np.ndarray:
        return np.clip(look.evaluate(rgb, camera="A", output="monitor"), 0.0, 1.0)

    def graded(rgb: np.ndarray) -> np.ndarray:
        return np.clip(look.apply(rgb, camera="A", output="monitor"), 0.0, 1.0)

    def nothing(rgb: np.ndarray) -> np.ndarray:
        return np.full(rgb.shape, np.nan, np.float32)

    lattice = Lattice(graded, SAME, SAME, CODES)
    axis = np.arange(CODES + 1, dtype=np.float32) / np.float32(CODES)
    square = np.stack(np.meshgrid(axis, axis, indexing="ij"), axis=-1).reshape(-1, 2)
    worst, served, over = 0.0, 0, 0
    with ThreadPoolExecutor(cores()) as workers:
        for count, red in enumerate(range(0, CODES + 1, step), 1):
            pixels = np.empty((len(square), 3), dtype=np.float32)
            pixels[:, 0], pixels[:, 1:] = axis[red], square
            lattice.grade = graded
            grade_packed(lattice, pixels, workers)
            lattice.grade = nothing
            found = grade_packed(lattice, pixels, workers)
            there = ~np.isnan(found[:, 0])
            parts = np.array_split(pixels[there], cores())
            wanted = np.concatenate(list(workers.map(exact, parts)))
            off = np.abs(found[there] - wanted).max(axis=-1, initial=0.0) * CODES
            worst = max(worst, float(off.max(initial=0.0)))
            over += int((off > 1.0).sum())
            served += len(off)
            share = served / count / len(square)
            print(f"\rred {red}: worst {worst:.3f}, {over} over one code, {share:.3f} served",
                  end="", flush=True)  # fmt: skip
    print()


def main() -> None:
    """Measure and print."""
    words = [word for word in sys.argv[1:] if word != "--exhaustive"]
    look = look_of(*words[:2]) if words else look_of("LogC4")
    if "--exhaustive" in sys.argv:
        exhaustive(look, int(words[2]) if len(words) > 2 else 1)
    else:
        speed(look)


if __name__ == "__main__":
    main()
