"""The graph's speed and exactness: each shipped look, as times on one core, ratios in one run.

    python tests/benchmarks/graph.py

load      reading a recipe that extends the look, after import
evaluate  the exact graph by numpy, in nanoseconds a pixel of processor time
apply     the compiled kernels on one core, and how many times as long as OpenColorIO's own
          33-point tetrahedral lattice takes for the same picture (at most 11 with AVX-512, 17 with
          AVX2, for the heaviest look)
redone    the share of pixels that took float64
worst     the largest difference from `evaluate`, in ten-bit codes (at most 0.1): the picture, and
          random codes of -0.5 to 1.5
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

from lookkit.accuracy.sampling import grid
from lookkit.evaluate import Runner, evaluate, parts_of
from lookkit.kernel import engine
from lookkit.kernel.engine import Compiled
from lookkit.look import Look, shipped_looks
from lookkit.ocio import lattice_transform, library
from lookkit.recipe.load import parse_recipe

ROUNDS = 7


def timed(work: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> float:
    """Return the seconds that `work` takes."""
    began = clock()
    work()
    return clock() - began


def looks() -> dict[str, Look]:
    """Return the shipped looks on a log camera and a monitor."""
    made = {}
    for name in shipped_looks():
        text = (
            f'schema = 1\nname = "x"\nextends = "{name}"\n[cameras.A]\nencoding = "LogC4"\n'
            '[outputs.monitor]\noutput = "Rec.709 BT.1886"\n'
        )
        times = [timed(lambda text=text: parse_recipe(text)) for _ in range(ROUNDS)]
        print(f"load {name}: {1e3 * statistics.median(times):.1f} ms")
        made[name] = Look(parse_recipe(text), text)
    return made


def frame() -> np.ndarray:
    """Return an HD picture of soft gradients with a little grain, code values."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:1080, 0:1920].astype(np.float32)
    soft = [0.4 + 0.25 * np.sin(x / (300 + 90 * k)) * np.cos(y / (200 + 70 * k)) for k in range(3)]
    return np.stack(soft, axis=-1) + rng.normal(0, 0.004, (1080, 1920, 3)).astype(np.float32)


def nanoseconds(work: Callable[[], object], pixels: int) -> float:
    """Return the least processor time of some runs, for each pixel."""
    return 1e9 * min(timed(work, time.process_time) for _ in range(ROUNDS)) / pixels


def lattice_time(picture: np.ndarray) -> float:
    """Return what OpenColorIO's own lattice takes for each pixel of a picture."""
    ocio = library()
    group = ocio.GroupTransform([lattice_transform(grid(33) ** 1.1)])
    cpu = (
        ocio.Config.CreateRaw()
        .getProcessor(group)
        .getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
    )
    there = picture.copy()
    height, width = there.shape[:2]
    image = ocio.PackedImageDesc(there, width, height, 3)
    return nanoseconds(lambda: cpu.apply(image), height * width)


def main() -> None:
    """Print times and ratios."""
    print(f"engine: {engine.name()}")
    picture = frame()
    flat = picture.reshape(-1, 3)
    theirs = lattice_time(picture)
    print(f"OpenColorIO's lattice: {theirs:.1f} ns a pixel")
    random = np.random.default_rng(2).uniform(-0.5, 1.5, (400_000, 3))
    for name, look in looks().items():
        chain = look.graph.chain("A", "monitor")
        (program,) = parts_of(chain)
        compiled = Compiled(program)
        out = np.empty_like(flat)
        redone = compiled.run(flat, out) / len(flat)
        ours = nanoseconds(lambda compiled=compiled, out=out: compiled.run(flat, out), len(flat))
        some = flat[::40].astype(np.float64)
        took = timed(lambda chain=chain, some=some: evaluate(chain, some), time.process_time)
        off = []
        for pixels in (some, random):
            exact = evaluate(chain, pixels)
            off.append(1023 * np.abs(Runner(chain).run(pixels) - exact).max())
        print(
            f"{name}: evaluate {1e9 * took / len(some):.0f} ns; apply {ours:.0f} ns, "
            f"{ours / theirs:.1f} x the lattice; redone {100 * redone:.2f} %; "
            f"worst {off[0]:.4f}, {off[1]:.4f} codes"
        )


if __name__ == "__main__":
    main()
