"""How often a match warns of what is not there, and whether it sees clipping below the top.

    python tests/benchmarks/match_alarms.py [FIRST_SEED] [SEEDS]

Cameras of colour-science, evenly lit charts without glare: every warning of glare, of falling or of
mixed light is false. Then camera B clips all its signals at a level: how often the plateau is found
on the medians of patches, and how often it is where nothing clips.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lookkit.match import quality
from lookkit.match.fit import curve_knots, fit_shots
from tests.match import simulation as sim
from tests.match.worlds import World, chart_spectra


def warnings_of(world: World) -> list[str]:
    """The names of warnings of glare and uneven light."""
    shots, target = world.chart_shots()
    fit = fit_shots(shots, target, knots=None if world.known else curve_knots())
    usable = np.array([one.usable for one in shots])
    main = shots[len(shots) // 2]
    scene = fit.solution.scene(main.light, main.stops)
    found = quality.glare("B", fit, usable) + quality.shading(
        "B", "A", fit.solution, scene, target, main.usable
    )
    found += quality.evenness("B", scene, target, main.usable)
    return [one.check for one in found if one.level == "warning"]


def clipped(
    top: float | None, seed: int, stops: tuple[float, ...], curve_name: str
) -> tuple[float | None, bool]:
    """The code found where camera B clips its signal at `top`; whether four signals do."""
    a, b = World(seed, *sim.TYPICAL, "D55", curve_name).cameras()
    plain = b.curve

    def curve(signal: Any) -> Any:
        return plain(signal) if top is None else np.minimum(plain(signal), top)

    b = replace(b, curve=curve)
    rng = np.random.default_rng(seed)
    chart = chart_spectra("ohta")
    medians, light, clips = [], [], False
    for one in stops:
        over = b.signal(b.linear(chart, one)) >= (top or 2.0)
        clips = clips or bool(over.sum() >= 4 and over.any(axis=1).sum() >= 2)
        pixels = b.codes(chart, one, rng).reshape(24, -1, 3)
        medians.append(np.median(pixels, axis=1))
        light.append(a.truth(chart) * 2.0**one)
    return quality.plateau(medians, light), clips


def main(first: int, seeds: int) -> None:
    """Print both tables."""
    for name, pair in (("typical", sim.TYPICAL), ("stress", sim.STRESS)):
        for curve in ("knee", "cine", "known"):
            for plan in ((-2.0, 0.0, 2.0), (0.0,)):
                worlds = [World(first + k, *pair, "D55", curve, plan) for k in range(seeds)]
                told = [warnings_of(world) for world in worlds]
                words = ", ".join(sorted({one for each in told for one in each}))
                count = sum(bool(each) for each in told)
                exposures = "bracket" if len(plan) > 1 else "single"
                print(f"{name} {curve} {exposures}: false in {count} of {seeds} {words}")
    for top in (0.80, 0.85, 0.92, None):
        for plan in ((0.0,), (-2.0, 0.0, 2.0)):
            both = [
                clipped(top, first + k, plan, curve)
                for curve in ("knee", "cine", "709", "drawn")
                for k in range(seeds)
            ]
            if top is not None:
                wanted = (16.0 + 219.0 * top) / 255.0
                codes = [code for code, clips in both if clips]
                right = sum(code is not None and abs(code - wanted) < 4.0 / 255.0 for code in codes)
                print(
                    f"clips at {top}, {len(plan)} exposures: found in {right} of {len(codes)} in "
                    f"which four signals and more clip (of {len(both)})"
                )
            else:
                below = 254.0 / 255.0 - 0.012
                early = sum(code is not None and code < below for code, _ in both)
                print(
                    f"clips at the top alone, {len(plan)}: before the fit is asked, below in "
                    f"{early} of {len(both)}"
                )


if __name__ == "__main__":
    numbers = [int(text) for text in sys.argv[1:]]
    main(*(numbers + [6000, 12][len(numbers) :]))
