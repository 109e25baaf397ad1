"""Whether a chart shot under another light than the scene's is seen on pairs of the scene.

    python tests/benchmarks/match_light.py [FIRST_SEED] [SCENES]

Cameras of colour-science; the main camera's chart and the scene under one light, camera B's chart
under that light or another. 60 to 150 pairs of the scene, up to 30 % wrong. "Harm" is the mean
Delta E 2000 of the match on the 99 samples of CIE 224 in the scene's light.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lookkit.errors import InputError
from lookkit.match.fit import curve_knots, fit_shots
from lookkit.match.light import compare_pairs
from tests.match import simulation as sim
from tests.match.worlds import World

LIGHTS = ("D55", "D65", "A", "FL2", "FL11", "LED-B3", "LED-RGB1")


def one(seed: int) -> tuple[bool, float, float, float, bool] | None:
    """Whether the lights differ, harm, median, gain, and whether it is told."""
    rng = np.random.default_rng(seed)
    pair = sim.STRESS if seed % 6 == 0 else sim.TYPICAL
    scene = World(seed, *pair, LIGHTS[int(rng.integers(3))])
    other = scene
    if seed % 2:
        choice = [light for light in LIGHTS if light != scene.light]
        other = replace(scene, light=choice[int(rng.integers(len(choice)))])
    shots, _ = other.chart_shots()
    _, target = scene.chart_shots()
    try:
        solution = fit_shots(shots, target, knots=curve_knots(), leave_out=False).solution
    except InputError:
        return None
    held = sim.held_out_spectra()
    held = held[scene.fair(held)]
    harm = sim.difference(solution.scene(scene.values(held)), scene.truth(held)).mean()
    count = int(rng.integers(60, 150))
    chosen = rng.integers(0, 190, size=(count, 3))
    shares = rng.dirichlet(np.full(3, 0.4), size=count)
    spectra = np.einsum("nk,nkw->nw", shares, sim.training_spectra()[chosen])
    spectra = spectra * 2.0 ** rng.uniform(-2.5, 0.3, size=(count, 1))
    landed, wanted = solution.scene(scene.values(spectra)), scene.truth(spectra)
    wanted = wanted * 2.0 ** rng.uniform(-0.3, 0.3)
    wanted = wanted * 2.0 ** rng.normal(0.0, 0.02, size=wanted.shape)
    wrong = rng.choice(count, int(rng.uniform(0.0, 0.3) * count), replace=False)
    wanted[wrong] = wanted[rng.permutation(wrong)]
    found = compare_pairs(landed, wanted)
    gain = found.median - found.refitted
    return scene != other, float(harm), found.median, gain, found.other_light


def main(first: int, scenes: int) -> None:
    """Print how often it is told rightly and falsely."""
    made = [one(first + k) for k in range(scenes)]
    rows = np.array([row for row in made if row is not None], dtype=float)
    differ, harm, told = rows[:, 0] > 0, rows[:, 1], rows[:, 4] > 0
    print(f"same light: told falsely in {told[~differ].sum()} of {(~differ).sum()}")
    for most in (2.2, 3.0):
        bad = differ & (harm > most)
        print(f"another light, harm above {most}: missed {(~told[bad]).sum()} of {bad.sum()}")
    mild = differ & (harm <= 2.2)
    print(f"another light without much harm: told in {told[mild].sum()} of {mild.sum()}")
    print("medians and gains, same light:", np.percentile(rows[~differ, 2:4], [50, 95], axis=0))


if __name__ == "__main__":
    numbers = [int(text) for text in sys.argv[1:]]
    main(*(numbers + [8000, 120][len(numbers) :]))
