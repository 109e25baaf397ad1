"""The graph's speed: the heaviest shipped look, as times on one core and ratios in one run.

    python tests/benchmarks/graph.py

load      reading a recipe that extends the look, after import
evaluate  the exact graph on 65^3 code values, in the processor time of this process
fast      a UHD float frame through Look.apply(fast=True) against OpenColorIO's own 33-point
          tetrahedral lattice on a packed buffer, one half of the picture on each core
faithful  the same frame through Look.apply
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from lookkit.accuracy.sampling import grid
from lookkit.evaluate import evaluate
from lookkit.look import Look, shipped_looks
from lookkit.ocio import cores, lattice_transform, library
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
    """Return a UHD picture of soft gradients with a little grain, code values."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:2160, 0:3840].astype(np.float32)
    soft = [0.4 + 0.25 * np.sin(x / (300 + 90 * k)) * np.cos(y / (200 + 70 * k)) for k in range(3)]
    return np.stack(soft, axis=-1) + rng.normal(0, 0.004, (2160, 3840, 3)).astype(np.float32)


def main() -> None:
    """Print times and ratios."""
    codes = grid(65)
    seconds = {}
    for name, look in looks().items():
        chain = look.graph.chain("A", "monitor")
        seconds[name] = statistics.median(
            timed(lambda chain=chain: evaluate(chain, codes), time.process_time) for _ in range(3)
        )
        print(f"evaluate {name}: {seconds[name]:.2f} s for 65^3")
        if name == max(seconds, key=seconds.__getitem__):
            heaviest = look
    ocio = library()
    group = ocio.GroupTransform([lattice_transform(grid(33) ** 1.1)])
    cpu = (
        ocio.Config.CreateRaw()
        .getProcessor(group)
        .getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
    )
    picture = frame()
    parts = np.array_split(picture.copy(), cores())
    out = np.empty_like(picture)
    ratios: dict[bool, list[float]] = {True: [], False: []}
    with ThreadPoolExecutor(cores()) as pool:

        def theirs() -> None:
            list(
                pool.map(
                    lambda p: cpu.apply(ocio.PackedImageDesc(p, p.shape[1], p.shape[0], 3)), parts
                )
            )

        for fast, found in ratios.items():
            own = lambda fast=fast: heaviest.apply(  # noqa: E731
                picture, camera="A", output="monitor", fast=fast, out=out
            )
            own()
            theirs()
            for _ in range(ROUNDS):
                took = timed(own)
                found.append(timed(theirs) / took)
                print(f"  {'fast' if fast else 'faithful'}: {8.2944 / took:.0f} Mpx/s")
    print(f"fast: {statistics.median(ratios[True]):.2f} x the lattice's own rate (at least 0.5)")
    print(f"faithful: {statistics.median(ratios[False]):.2f} x")


if __name__ == "__main__":
    main()
