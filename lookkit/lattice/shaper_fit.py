"""Fitting the shaper of a CLF by measured error.

The curve is a density of lattice points along code, exp of straight lines between a few
knots. The search starts from equal spacing and changes one knot at a time, first with few
knots, then with more; each trial samples the graph and measures the audited kinds of
colours. Spacing by curvature alone was tried and is worse than none on smooth graphs:
what counts is where pictures are and how visible an error is there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from lookkit.lattice.audit import audit
from lookkit.lattice.interpolate import READERS, Reader
from lookkit.lattice.samples import FIT_SEED, CodeSpace, SetName
from lookkit.lattice.sampling import sample
from lookkit.lattice.shaper import Shaper
from lookkit.lattice.truth import Exact, Light, steady
from lookkit.progress import Progress, silent
from lookkit.spaces.working import Array

_SIZES: Final[dict[SetName, int]] = {
    "neutral-ramp": 256,
    "image-like": 6000,
    "skin": 1500,
    "saturated-emitters": 3000,
    "over-range": 1500,
    "whole-cube": 3000,
}
_SHARE: Final[dict[SetName, float]] = {
    "neutral-ramp": 0.1,
    "image-like": 1.0,
    "skin": 0.2,
    "saturated-emitters": 0.2,
    "over-range": 0.1,
    "whole-cube": 0.1,
}
_TAIL: Final = 0.99
_INVISIBLE: Final = 0.003
_HARM: Final = 0.15
"""Log of how much worse a set may get: what the fit of the lattice wins back."""

_HARM_COST: Final = 1.0
_RESTRAINT: Final = 0.03
_REACH: Final = 2.0
"""Largest log of density: 7.4 times denser or sparser than equal spacing."""

_STAGES: Final = ((5, (0.6, 0.3), 36), (9, (0.4, 0.2, 0.1), 70), (17, (0.4, 0.2), 54))
"""Knots, steps and trials of each stage."""

_ENTRIES: Final = 1025


def fit_shaper(
    exact: Exact,
    space: CodeSpace,
    light: Light,
    size: int = 33,
    *,
    readers: Sequence[Reader] = READERS,
    progress: Progress = silent,
) -> Shaper:
    """Find the shaper that makes a lattice of `size` behind it err least.

    Parameters
    ----------
    exact
        The graph, from camera code in 0-1 to signal.
    space
        The camera's encoding.
    light
        The display.
    size
        Points along an edge of the lattice that will follow.
    readers
        How the lattice will be read.
    progress
        Told after each trial.

    Returns
    -------
    Shaper
        Repeatable; equal spacing where nothing better was found. Fit a lattice behind it
        with `fit_lattice(..., shaper=...)`.
    """
    trial = _Trial(steady(exact), space, light, size, tuple(readers))
    total = sum(trials for _, _, trials in _STAGES)
    done = 0

    def cost(knots: Array) -> float:
        nonlocal done
        progress(f"shape {size} points", min(done, total), total)
        done += 1
        return trial.cost(knots)

    knots = np.zeros(_STAGES[0][0])
    least = cost(knots)
    for count, steps, trials in _STAGES:
        knots = np.interp(_even(count), _even(len(knots)), knots)
        knots, least = _searched(cost, knots, least, steps, trials)
    progress(f"shape {size} points", total, total)
    return shaper_of(knots)


def shaper_of(knots: Array) -> Shaper:
    """Return the shaper whose log density of points runs straight between `knots`."""
    middle = (np.arange(_ENTRIES - 1) + 0.5) / (_ENTRIES - 1)
    density = np.exp(np.interp(middle, _even(len(knots)), knots))
    table = np.concatenate([[0.0], np.cumsum(density)])
    table /= table[-1]
    return Shaper(table)


class _Trial:
    """Measures a shaper against equal spacing."""

    def __init__(
        self,
        exact: Exact,
        space: CodeSpace,
        light: Light,
        size: int,
        readers: tuple[Reader, ...],
    ) -> None:
        self._exact, self._size, self._readers = exact, size, readers
        self._sets = audit(exact, space, light, FIT_SEED, _SIZES)
        share = np.array([_SHARE[name] for name in self._sets])
        self._share = (share / share.sum())[:, None]
        self._equal = self._figures(None)

    def cost(self, knots: Array) -> float:
        """Return the mean log of errors against equal spacing, and what is held against it."""
        change = self._figures(shaper_of(knots)) - self._equal
        gain = (self._share * change).sum() / len(self._readers)
        harm = np.maximum(change - _HARM, 0.0)
        smooth = np.interp(_even(65), _even(len(knots)), knots)
        return float(gain + _HARM_COST * harm.mean() + _RESTRAINT * np.mean(smooth * smooth))

    def _figures(self, shaper: Shaper | None) -> Array:
        """Log of the mean and of the tail, averaged, shape (sets, readers)."""
        lattice = sample(self._exact, self._size, shaper)
        out = np.empty((len(self._sets), len(self._readers)))
        for row, audited in enumerate(self._sets.values()):
            for column, reader in enumerate(self._readers):
                error = audited.delta_e_2000(audited.read(lattice, reader, shaper))
                pair = np.array([error.mean(), np.quantile(error, _TAIL)])
                out[row, column] = np.log(pair + _INVISIBLE).mean()
        return out


def _searched(
    cost: Callable[[Array], float],
    knots: Array,
    least: float,
    steps: Sequence[float],
    trials: int,
) -> tuple[Array, float]:
    """Change one knot at a time, and repeat what helped; at most `trials` trials."""
    way = np.ones(len(knots))
    left = trials

    def tried(candidate: Array) -> bool:
        nonlocal knots, least, left
        left -= 1
        found = cost(candidate)
        better = found < least - 2e-4
        if better:
            knots, least = candidate, found
        return better

    for step in steps:
        while left > 0:
            before, began = knots, least
            for index in range(len(knots)):
                for sign in (way[index], -way[index]):
                    if left <= 0:
                        return knots, least
                    candidate = knots.copy()
                    candidate[index] = np.clip(knots[index] + sign * step, -_REACH, _REACH)
                    if tried(candidate):
                        way[index] = sign
                        break
            if least >= began - 1e-3:
                break
            if left > 0:
                tried(np.clip(2.0 * knots - before, -_REACH, _REACH))
    return knots, least


def _even(count: int) -> Array:
    return np.linspace(0.0, 1.0, count)
