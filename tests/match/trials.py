"""One trial: fit on the chart's codes, score on spectra that the fit never saw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from lookkit.evaluate import evaluate
from lookkit.match.fit import Fit, Shot, curve_knots, fit_pairs, fit_shots
from lookkit.match.frames import Exposure, Footage
from lookkit.match.make import build_file
from lookkit.matchfile.steps import Match
from lookkit.spaces import ranges
from tests.match import simulation as sim

Array = np.ndarray[Any, np.dtype[np.float64]]

TOP_CODE = 254.0 / 255.0


@dataclass(frozen=True)
class Trial:
    """A fitted match, as it is written, and its errors on each set of colours."""

    fit: Fit
    match: Match
    camera_a: sim.CameraA
    camera_b: sim.CameraB

    def errors(self, spectra: Array, stops: float = 0.0) -> Array:
        """Delta E 2000 after the match, exposure-normalised, by colour-science, (n,)."""
        landed = scene_of(self.match, self.camera_b.exact(spectra, stops)) * 2.0**-stops
        return sim.difference(landed, self.camera_a.truth(spectra))


def scene_of(match: Match, codes: Array) -> Array:
    """Scene-linear AP1 of codes in the range of the match's frames, as the graph makes it."""
    return evaluate(match.steps, ranges.convert(codes, match.file.range, "full", match.file.bits))


def footage_b() -> Footage:
    """How the small camera's codes are read; the picture does not matter."""
    exposure = Exposure(np.zeros((2, 2, 3)), bits=8, range="legal")
    return Footage("B", (exposure,))


def shot(
    camera: sim.CameraB,
    spectra: Array,
    stops: float,
    rng: np.random.Generator,
    glare: dict[int, float] | None = None,
) -> Shot:
    """What sampling the patches of one exposure gives."""
    extra = np.zeros(len(spectra))
    for patch, amount in (glare or {}).items():
        extra[patch] = amount
    pixels = camera.codes(spectra, stops, rng, extra)
    clipped = (pixels >= TOP_CODE - 0.012).any(axis=-1).mean(axis=(1, 2)) > 0.02
    light = footage_b().decode(pixels).mean(axis=(1, 2))
    return Shot(stops, light, ~clipped)


def chart_trial(
    kind: Sequence[str],
    seed: int,
    stops: Sequence[float] = (-2.0, 0.0, 2.0),
    *,
    glared: int = 0,
    flare: float = 0.0,
    leave_out: bool = False,
    stage: Any = "never",
    **camera_b: Any,
) -> Trial:
    """Fit on the chart (perhaps glared or flared); `flare` is not in the scene scored."""
    camera_a, filmed = sim.pair(kind, seed, flare=flare, **camera_b)
    rng = np.random.default_rng(seed)
    patches = rng.choice(24, glared, replace=False)
    glare = dict(zip(patches.tolist(), rng.uniform(0.05, 0.3, glared).tolist(), strict=True))
    chart = sim.chart_spectra()
    shots = [shot(filmed, chart, each, rng, glare) for each in stops]
    target = camera_a.read(chart, 0.0, rng)
    fit = fit_shots(shots, target, knots=curve_knots(), stage=stage, leave_out=leave_out)
    file = build_file("A", footage_b(), "D55", "chart", fit, [], target, ())
    return Trial(fit, Match(file, file.lights[0]), camera_a, sim.pair(kind, seed, **camera_b)[1])


def paired_trial(seed: int, bad: float = 0.3, count: int = 400) -> Trial:
    """Fit on paired colours of a scene, a share of them paired with something else."""
    camera_a, camera_b = sim.pair(sim.TYPICAL, seed)
    rng = np.random.default_rng(seed)
    spectra = sim.training_spectra()
    chosen = rng.integers(0, len(spectra), size=(count, 3))
    mixed = np.einsum("nk,nkw->nw", rng.dirichlet(np.full(3, 0.4), size=count), spectra[chosen])
    mixed *= 2.0 ** rng.uniform(-3.0, 1.0, size=(count, 1))
    seen = shot(camera_b, mixed, 0.0, rng)
    target = camera_a.read(mixed, 0.0, rng)
    wrong = rng.choice(count, int(bad * count), replace=False)
    target[wrong] = target[rng.permutation(wrong)] * 2.0 ** rng.uniform(-1, 1, (len(wrong), 1))
    light, target = seen.light[seen.usable], target[seen.usable]
    fit = fit_pairs(light, target, knots=curve_knots())
    file = build_file("A", footage_b(), "D55", "paired frames", fit, [], target, ())
    return Trial(fit, Match(file, file.lights[0]), camera_a, camera_b)
