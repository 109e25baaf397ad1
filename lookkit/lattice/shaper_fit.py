"""Fitting the shaper of a CLF, and the lattice behind it.

A model to second order (`spacing.py`) says how the error of every colour depends on where
the lattice's points lie. The density of points that serves pictures best, with no other
audited set worse than plain sampling makes it, follows by descent. A lattice is drafted
behind it and measured; where a set does worse than the model said, its limit is drawn in
by as much, and the model is asked again behind the shaper found so far.

Spacing by the graph's curvature alone is worse than none on smooth graphs: what counts is
where pictures are and how visible an error is there. One curve serves all channels, so
that neutrals stay on the diagonal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np

from lookkit.accuracy.audit import Audited, audit
from lookkit.accuracy.interpolate import READERS, interpolate
from lookkit.accuracy.samples import FIT_SEED, CodeSpace, SetName
from lookkit.accuracy.sampling import CORNERS, corner_weights, sample
from lookkit.accuracy.shaper import Shaper
from lookkit.accuracy.truth import Exact, Light, steady
from lookkit.lattice.fit import Fit, draft_lattice, fit_lattice
from lookkit.lattice.hold import Watch
from lookkit.lattice.spacing import Aim, Key, Spacing
from lookkit.progress import Progress, silent
from lookkit.spaces.working import Array

EQUAL: Final = Shaper(np.array([0.0, 1.0]))
"""Equal spacing: the shaper that does nothing."""

_MODELLED: Final[dict[SetName, int]] = {
    "neutral-ramp": 256,
    "image-like": 3000,
    "skin": 500,
    "saturated-emitters": 1400,
    "over-range": 800,
    "whole-cube": 2000,
}
_DRAWN_FOR_ONE: Final = 4

_GOAL: Final[dict[Key, float]] = {
    ("image-like", "tetrahedral"): 1.0,
    ("image-like", "trilinear"): 0.4,
    ("skin", "tetrahedral"): 0.1,
}
"""A CLF can ask for tetrahedral reading; what ignores that reads trilinearly."""

_REACHES: Final = (0.6, 0.4, 0.3, 0.3, 0.3)
"""How far each round may change the log of the density."""

_ENOUGH: Final = 3
"""Rounds after which the first lattice that does no harm is taken."""

_REPAIRS: Final = 5
_STRICTER: Final = 0.95
_ASKED: Final = 64
_STEPS: Final = 12
_MOST_CELLS: Final = 24
_RELAXED: Final = 0.5
_LEVER: Final = 0.15
"""Squared weights below which a place has too little hold on the points that may move."""

_MARGIN: Final = 0.05
"""Maxima of random colours vary by about as much from one shaper to the next."""

_CORRECTIONS: Final = (-0.3, 0.7)
_HARM: Final = 4.0
_TAIL: Final = 0.999
_INVISIBLE: Final = 0.002


def fit_with_shaper(
    exact: Exact,
    space: CodeSpace,
    light: Light,
    size: int = 33,
    *,
    audited: Mapping[SetName, Audited] | None = None,
    progress: Progress = silent,
) -> Fit:
    """Find a shaper and the lattice behind it, which together err least on pictures.

    Parameters
    ----------
    exact
        The graph, from camera code in 0-1 to signal.
    space
        The camera's encoding.
    light
        The display.
    size
        Points along an edge of the lattice, at least 3.
    audited
        The graph's audited sets, if they are at hand already.
    progress
        Told after each round, and as `fit_lattice` tells.

    Returns
    -------
    Fit
        Repeatable; its shaper is never None, and equal spacing where no other keeps the
        promise that no audited set gets worse than by plain sampling without a shaper.
    """
    graph = steady(exact)
    sets = audit(graph, space, light) if audited is None else audited
    what, rounds = f"shape {size} points", len(_REACHES)
    progress(what, 0, rounds)
    search = _Search(graph, space, light, size, sets)
    best, shaper_found, least = None, EQUAL, np.inf
    for done, reach in enumerate(_REACHES, start=1):
        shaper = search.next(reach)
        draft, watch, bounds = draft_lattice(graph, space, light, size, shaper, sets)
        gain = search.learn(draft, shaper)
        if gain < least:
            lattice = _repaired(draft, watch, bounds, graph, light)
            if lattice is not None:
                best, shaper_found, least = lattice, shaper, gain
        progress(what, done, rounds)
        if best is not None and done >= _ENOUGH:
            break
    progress(what, rounds, rounds)
    if best is not None:
        return Fit(best, READERS, shaper_found, 0.0)
    fit = fit_lattice(exact, space, light, size, audited=sets, progress=progress)
    return replace(fit, shaper=EQUAL)


def _repaired(
    lattice: Array, watch: Watch, bounds: tuple[Array, Array], exact: Exact, light: Light
) -> Array | None:
    """Return the lattice with no audited set harmed, or None.

    In a cell that holds a harmful colour, the worst of some random colours, which are not
    the audited ones, is drawn towards the exact graph until none is beyond the limit. No
    point leaves the exact values around it, and the neutral axis stays.
    """
    assert watch.shaper is not None
    across, size = watch.across, watch.across + 1
    rng = np.random.default_rng(FIT_SEED)
    free = np.ones(size**3, dtype=bool)
    free[:: size * size + size + 1] = False
    values = lattice.reshape(-1, 3).copy()
    lowest = np.minimum(bounds[0].reshape(-1, 3), values)
    highest = np.maximum(bounds[1].reshape(-1, 3), values)
    limits: dict[int, float] = {}
    for _ in range(_REPAIRS):
        found = watch.excess(values.reshape(lattice.shape))
        if len(found) > _MOST_CELLS:
            return None
        if not found:
            fixed = values.reshape(lattice.shape)
            if not watch.folds(fixed):
                return fixed
            values = watch.unfolded(fixed).reshape(-1, 3).copy()
            continue
        for cell, limit in found.items():
            limits[cell] = _STRICTER * limits.get(cell, limit)
        cells = np.array(list(limits))
        low = np.stack(np.unravel_index(cells, (across,) * 3), axis=-1)
        within = rng.random((_ASKED, 3))
        place = ((low[:, None] + within) / across).reshape(-1, 3)
        code = watch.shaper.inverse(place)
        asked = Audited(code, exact(code), light)
        corners = np.stack(
            [((low + step) * (size * size, size, 1)).sum(axis=1) for step in CORNERS]
        )
        most = np.array(list(limits.values()))
        for _ in range(_STEPS):
            moved = False
            for reader in READERS:
                read = interpolate(values.reshape(lattice.shape), place, reader)
                error = asked.delta_e_2000(read).reshape(len(cells), _ASKED)
                worst = error.argmax(axis=1)
                shares = corner_weights(within, reader)
                for index in np.flatnonzero(error.max(axis=1) > most):
                    pick = worst[index]
                    row = index * _ASKED + pick
                    at = corners[:, index]
                    share = shares[pick] * free[at]
                    if share @ share < _LEVER:
                        continue
                    missing = 1.0 - _STRICTER * most[index] / error[index, pick]
                    step = (asked.signal[row] - read[row]) * missing
                    values[at] += _RELAXED * (share / (share @ share))[:, None] * step
                    moved = True
            np.clip(values, lowest, highest, out=values)
            if not moved:
                break
    return None


class _Search:
    """Proposes shapers, and learns from the lattices behind them."""

    def __init__(
        self,
        exact: Exact,
        space: CodeSpace,
        light: Light,
        size: int,
        sets: Mapping[SetName, Audited],
    ) -> None:
        plain = sample(exact, size)
        codes = _modelled(exact, space, light, plain)
        self._model = partial(Spacing, exact, light, codes, size)
        self._sets = sets
        self._spacing = self._model(EQUAL)
        self._before = self._spacing.tails(fitted=False)
        self._limit = {key: tail - _MARGIN for key, tail in self._before.items()}
        self._plain = _tails(sets, plain, None)

    def next(self, reach: float) -> Shaper:
        """Return a better shaper than the last one learnt from."""
        return self._spacing.improved(Aim(_GOAL, self._limit), reach)

    def learn(self, lattice: Array, shaper: Shaper) -> float:
        """Draw in the limits of sets that do worse than the model says, and the other way.

        Returns
        -------
        float
            The cost of the lattice: how much is gained on pictures, and what is harmed.
        """
        self._spacing = self._model(shaper)
        expected, found = self._spacing.tails(), _tails(self._sets, lattice, shaper)
        cost = 0.0
        for key, tail in self._before.items():
            change = found[key] - self._plain[key]
            worse = float(change.max()) - (expected[key] - tail)
            self._limit[key] = tail - _MARGIN - float(np.clip(worse, *_CORRECTIONS))
            cost += _GOAL.get(key, 0.0) * float(change[0]) + _HARM * max(0.0, float(change.max()))
        return cost


def _modelled(exact: Exact, space: CodeSpace, light: Light, plain: Array) -> dict[SetName, Array]:
    """Return colours of each set for the model.

    Half of them are the worst by plain sampling among many, which make a tail; the others,
    as they come, are to show where wider spacing would make a new one.
    """
    drawn = {name: _DRAWN_FOR_ONE * count for name, count in _MODELLED.items()}
    drawn["neutral-ramp"] = _MODELLED["neutral-ramp"]
    codes = {}
    for name, audited in audit(exact, space, light, FIT_SEED, drawn).items():
        errors = [audited.delta_e_2000(audited.read(plain, reader)) for reader in READERS]
        order = np.argsort(-np.maximum(*errors), kind="stable")
        half = _MODELLED[name] // 2
        rest = np.sort(order[half:])
        kept = np.concatenate([order[:half], rest[: _MODELLED[name] - half]])
        codes[name] = audited.code[np.sort(kept)]
    return codes


def _tails(
    sets: Mapping[SetName, Audited], lattice: Array, shaper: Shaper | None
) -> dict[Key, Array]:
    """Return the logs of each set's 99.9 % and maximum."""
    found: dict[Key, Array] = {}
    for name, audited in sets.items():
        for reader in READERS:
            error = audited.delta_e_2000(audited.read(lattice, reader, shaper))
            tail = np.array([np.quantile(error, _TAIL), error.max()])
            found[name, reader] = np.log(tail + _INVISIBLE)
    return found
