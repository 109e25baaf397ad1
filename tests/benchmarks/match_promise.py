"""Whether a match's promise holds: the table of cases, on cameras that were not learnt from.

    python tests/benchmarks/match_promise.py [FIRST_SEED] [SEEDS]

Pairs of cameras of colour-science, the chart of N. Ohta; truth on the 99 samples of CIE 224 and on
skin-like spectra, Delta E 2000 (mean / 95th percentile / skin). Each row: what is true with a 3x3
alone and with the colour stage, on colours that camera B does not clip; what is promised, and in
how many runs the upper figure covers the truth; the same where clipped colours count too.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lookkit.match.fit import curve_knots, fit_shots
from lookkit.match.promise import promise
from tests.match import simulation as sim
from tests.match.worlds import World

Array = np.ndarray[Any, np.dtype[np.float64]]

ONE = (0.0,)


def cases(pair: tuple[str, str]) -> Iterator[tuple[str, World]]:
    """Each case once; the seed is put in later."""
    plain = World(0, *pair)
    yield "bracket", plain
    yield "single", replace(plain, plan=ONE)
    for light in ("A", "FL2", "FL11", "LED-B3"):
        yield f"bracket {light}", replace(plain, light=light)
    yield "bracket S-curve", replace(plain, curve="cine")
    yield "single S-curve", replace(plain, curve="cine", plan=ONE)
    yield "bracket known log", replace(plain, curve="known")
    yield "single known log", replace(plain, curve="known", plan=ONE)
    yield "bracket 2 % flare", replace(plain, flare=0.02)
    yield "single 2 % flare", replace(plain, flare=0.02, plan=ONE)
    yield "bracket 4 glared", replace(plain, glared=4)
    yield "single 4 glared", replace(plain, glared=4, plan=ONE)
    yield "bracket noise", replace(plain, noise=0.02)


def one_run(world: World) -> Array:
    """What is true of the 3x3, of the match, of it on all colours; about and up to: (5, 3)."""
    shots, target = world.chart_shots()
    knots = None if world.known else curve_knots()
    fit = fit_shots(shots, target, knots=knots)
    made = promise(fit, world.known)
    each = (made.mean, made.p95, made.skin)
    objects, skin = sim.held_out_spectra(), sim.skin_spectra()

    def truth(solution: Any, every: bool = False) -> list[float]:
        found = []
        for spectra in (objects, skin):
            chosen = spectra if every else spectra[world.fair(spectra)]
            landed = solution.scene(world.values(chosen))
            found.append(sim.difference(landed, world.truth(chosen)))
        skins = float(found[1].mean()) if len(found[1]) else np.nan
        return [float(found[0].mean()), float(np.percentile(found[0], 95)), skins]

    return np.array(
        [
            truth(replace(fit.solution, stage=None)),
            truth(fit.solution),
            truth(fit.solution, every=True),
            [one.about for one in each],
            [one.up_to for one in each],
        ]
    )


def main(first: int, seeds: int) -> None:
    """Print the table."""
    for name, pair in (("typical", sim.TYPICAL), ("stress", sim.STRESS)):
        print(f"{name} pair: mean / 95th percentile / skin, Delta E 2000")
        whole = []
        for words, world in cases(pair):
            runs = [one_run(replace(world, seed=first + k)) for k in range(seeds)]
            whole += runs
            row(words, np.array(runs))
        every = np.array(whole)
        row("all", every)
        worse = np.mean(every[:, 1, 1] > every[:, 0, 1] + 0.1)
        print(f"p95 worse than the 3x3 by more than .1: {worse:.0%} of {len(whole)} runs")


def row(name: str, runs: Array) -> None:
    """Print one line: means over the runs, and how often up to covers the truth."""

    def three(number: int) -> str:
        return "/".join(f"{value:.2f}" for value in np.nanmean(runs[:, number], axis=0))

    def covers(number: int) -> str:
        # A run without a fair skin has no truth to be covered.
        held = np.where(np.isfinite(runs[:, number]), runs[:, number] <= runs[:, 4], np.nan)
        return "/".join(f"{100.0 * share:.0f}" for share in np.nanmean(held, axis=0))

    print(
        f"{name:18s} 3x3 {three(0)}  true {three(1)}  about {three(3)}  up to {three(4)}  "
        f"covers {covers(1)} %;  with clipped colours {three(2)}, covers {covers(2)} %",
        flush=True,
    )


if __name__ == "__main__":
    numbers = [int(text) for text in sys.argv[1:]]
    main(*(numbers + [5000, 5][len(numbers) :]))
