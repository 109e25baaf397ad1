"""Whether a match's promise holds: the table of cases, on cameras that were not learnt from.

    python tests/benchmarks/match_promise.py [FIRST_SEED] [SEEDS]

Pairs of cameras of colour-science, the chart of N. Ohta; truth on the 99 samples of CIE 224 and on
skin-like spectra, Delta E 2000 (mean / 95th percentile / skin). Each row: what is true with a 3x3
alone and with the colour stage, on colours that camera B does not clip; the same of the match on
all colours, and in how many runs the promised upper figure covers that.
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


def one_run(world: World) -> tuple[Array, Array, Array, Array]:
    """What is true of the 3x3 and the whole match, the latter on all colours, the promise, (3,)."""
    shots, target = world.chart_shots()
    knots = None if world.known else curve_knots()
    fit = fit_shots(shots, target, knots=knots)
    made = promise(fit, world.known)
    promised = np.array([made.mean.up_to, made.p95.up_to, made.skin.up_to])
    objects, skin = sim.held_out_spectra(), sim.skin_spectra()

    def truth(solution: Any, every: bool = False) -> Array:
        found = []
        for spectra in (objects, skin):
            chosen = spectra if every else spectra[world.fair(spectra)]
            landed = solution.scene(world.values(chosen))
            found.append(sim.difference(landed, world.truth(chosen)))
        skins = found[1].mean() if len(found[1]) else np.nan
        return np.array([found[0].mean(), np.percentile(found[0], 95), skins])

    plain = replace(fit.solution, stage=None)
    return truth(plain), truth(fit.solution), truth(fit.solution, every=True), promised


def main(first: int, seeds: int) -> None:
    """Print the table."""
    for name, pair in (("typical", sim.TYPICAL), ("stress", sim.STRESS)):
        whole = []
        for words, world in cases(pair):
            runs = [one_run(replace(world, seed=first + k)) for k in range(seeds)]
            whole += runs
            row(f"{name} {words}", runs)
        row(f"{name}, all", whole)
        worse = np.mean([staged[1] > plain[1] + 0.1 for plain, staged, _, _ in whole])
        print(f"p95 worse than the 3x3 by more than .1: {worse:.0%} of {len(whole)} runs")


def row(name: str, runs: list[tuple[Array, Array, Array, Array]]) -> None:
    """Print one line."""
    plain, staged, every, promised = (np.array([run[k] for run in runs]) for k in range(4))
    covered = (every <= promised).mean(axis=0)

    def three(values: Array) -> str:
        return " / ".join(f"{value:.2f}" for value in np.nanmean(values, axis=0))

    print(
        f"{name:26s} 3x3 {three(plain)}  match {three(staged)}  all {three(every)}  "
        f"up to {three(promised)}  covers " + " / ".join(f"{share:.0%}" for share in covered),
        flush=True,
    )


if __name__ == "__main__":
    numbers = [int(text) for text in sys.argv[1:]]
    main(*(numbers + [5000, 5][len(numbers) :]))
