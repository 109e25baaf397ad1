"""The main job against named baselines, as ratios in one run.

    python tests/benchmarks/main_job.py

build   a recipe of 3 cameras, 2 outputs, 33 points and the config, sampled at the lattice
        points as the Baker samples (fitting and certificates have benchmarks of their own),
        against the time that OpenColorIO's own Baker takes for the same six cubes
help    `lookkit --help` against a bare `python -c "import click"`
apply   a UHD float frame through Look.apply against OpenColorIO's own processor on a packed
        buffer, one half of the picture on each of two threads
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from lookkit.handoff.build import build
from lookkit.look import Look
from lookkit.lower import lower
from lookkit.ocio import library
from lookkit.recipe.load import parse_recipe

RECIPE = """
schema = 1
name = "Plain print"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "BT.709 camera"
[cameras.C]
encoding = "sRGB"
[[look]]
kind = "lift-gamma-gain"
gain = { hue = 40.0, strength = 0.03 }
[[look]]
kind = "cdl"
slope = [1.02, 1.0, 0.98]
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.cinema]
output = "P3-D65 2.6"
[deliver]
formats = ["cube", "config"]
fit = false
certify = false
"""


def timed(work: Callable[[], object], rounds: int) -> float:
    """The median time of `work` in seconds."""
    times = []
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def bench_build(look: Look) -> float:
    ocio = library()
    with tempfile.TemporaryDirectory() as place:
        count = iter(range(1000))
        ours = timed(lambda: build(look, Path(place) / str(next(count))), 5)
        config = ocio.Config.CreateFromFile(
            str(next((Path(place) / "0").glob("*/ocio/config.ocio")))
        )

        def bake() -> None:
            for camera in look.cameras:
                for name in look.outputs:
                    baker = ocio.Baker()
                    baker.setConfig(config)
                    baker.setFormat("iridas_cube")
                    baker.setInputSpace(f"Camera {camera}")
                    baker.setDisplayView(look.graph.output(name).name, look.recipe.name)
                    baker.setCubeSize(33)
                    baker.bake(str(Path(place) / f"{camera}_{name}.cube"))

        return ours / timed(bake, 5)


def bench_help() -> float:
    ours = [sys.executable, "-m", "lookkit", "--help"]
    bare = [sys.executable, "-c", "import click"]

    def run(command: list[str]) -> float:
        return timed(lambda: subprocess.run(command, capture_output=True, check=True), 9)

    return run(ours) / run(bare)


def bench_apply(look: Look) -> float:
    ocio = library()
    frame = np.random.default_rng(1).random((2160, 3840, 3), dtype=np.float32)
    out = np.empty_like(frame)
    group = ocio.GroupTransform()
    for transform in lower(look.graph.chain("A", "monitor")):
        group.appendTransform(transform)
    cpu = (
        ocio.Config.CreateRaw()
        .getProcessor(group)
        .getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
    )
    halves = [frame[:1080].copy(), frame[1080:].copy()]
    with ThreadPoolExecutor(2) as pool:

        def half(part: np.ndarray) -> None:
            cpu.apply(ocio.PackedImageDesc(part, 3840, 1080, 3))

        def theirs() -> None:
            list(pool.map(half, halves))

        look.apply(frame, camera="A", output="monitor", out=out)
        theirs()
        ratios = []
        for _ in range(5):
            own = timed(lambda: look.apply(frame, camera="A", output="monitor", out=out), 1)
            ratios.append(timed(theirs, 1) / own)
    return statistics.median(ratios)


def main() -> None:
    """Print the ratios beside their bounds."""
    look = Look(parse_recipe(RECIPE), RECIPE)
    print(f"build: {bench_build(look):.2f} x the Baker's time (at most 3)")
    print(f"help:  {bench_help():.2f} x a bare import of click (at most 3)")
    print(f"apply: {bench_apply(look):.2f} x OpenColorIO's own rate (at least 0.9)")


if __name__ == "__main__":
    main()
