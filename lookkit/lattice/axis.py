"""The neutral axis of a lattice: fitted on its own, then held."""

from __future__ import annotations

from typing import Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.truth import Exact, Light
from lookkit.spaces.working import Array

NEUTRAL: Final = 0.25 / 1023.0
"""Channels of a ramp that differ by less than this are meant to be equal."""

_STEPS: Final = 16
"""Places between two points at which the ramp is looked at. One of them is the middle, where errors
are widest."""

_PROBE: Final = 1e-3
"""About one ten-bit code: a step small enough for a slope, large enough for its rounding."""

_FLOOR: Final = 15.0
"""Delta E per unit of signal that an error costs even where the eye forgives everything."""

_WORST: Final = 1.0
"""How much the largest error counts beside the mean of all."""


def fit_axis(exact: Exact, light: Light, points: Array) -> Array:
    """Choose the values on the diagonal of a lattice so that the grey ramp is closest.

    Tetrahedral readers see a grey ramp through the diagonal alone. The curve through
    fitted points may cut corners a little on both sides of the exact one, where sampled
    points err on one side only.

    Parameters
    ----------
    exact
        The graph.
    light
        The display.
    points
        The exact signal at the diagonal, shape (n, 3).

    Returns
    -------
    Array
        Shape (n, 3): the least mean and maximum of Delta E 2000, to first order, that values
        within the exact ones around can have; `points` itself where that does not hold in
        full. Ends stay exact; r = g = b where the graph is neutral, and no channel falls where
        the exact ramp does not.
    """
    count = len(points)
    place = np.linspace(0.0, 1.0, (count - 1) * _STEPS + 1)
    ramp = np.repeat(place[:, None], 3, axis=1)
    wanted = exact(ramp)
    read = _hats(place, count)
    seen = light.lab(wanted)
    cost = _visible(light, wanted, seen)
    rising = bool((np.diff(wanted, axis=0) >= -1e-7).all())
    neutral = bool(np.ptp(wanted, axis=1).max() < NEUTRAL)
    if neutral:
        level = _fitted(read, wanted.mean(axis=1), points.mean(axis=1), cost)
        fitted = np.repeat(level[:, None], 3, axis=1)
    else:
        fitted = np.stack(
            [_fitted(read, *one, cost) for one in zip(wanted.T, points.T, strict=True)], axis=1
        )
    if rising:
        fitted = np.maximum.accumulate(fitted, axis=0)
    before, after = (delta_e_2000(seen, light.lab(read @ values)) for values in (points, fitted))
    better = after.mean() <= before.mean() and after.max() <= before.max()
    return fitted if better else points


def _hats(place: Array, count: int) -> Array:
    """Share of each diagonal point at each place, shape (m, count)."""
    distance = np.abs(place[:, None] * (count - 1) - np.arange(count))
    return np.maximum(1.0 - distance, 0.0)


def _visible(light: Light, signal: Array, seen: Array) -> Array:
    """Delta E 2000 per unit of signal along the ramp, with a floor, shape (m,)."""
    step = np.where(signal.mean(axis=1, keepdims=True) > 0.5, -_PROBE, _PROBE)
    return np.maximum(delta_e_2000(seen, light.lab(signal + step)) / _PROBE, _FLOOR)


def _fitted(read: Array, wanted: Array, points: Array, cost: Array) -> Array:
    """Return values at the points, shape (n,), of least mean and maximum error.

    A linear program: its unknowns are the values, the error at each place and the largest.
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_matrix, hstack, identity, vstack

    places, count = read.shape
    # Within the exact values around: nothing rings beside a kink.
    near = np.stack([np.append(points[0], points[:-1]), points, np.append(points[1:], points[-1])])
    low, high = near.min(axis=0), near.max(axis=0)
    low[[0, -1]] = high[[0, -1]] = points[[0, -1]]
    rows, each = csr_matrix(read * cost[:, None]), identity(places)
    most = csr_matrix(np.ones((places, 1)))
    limits = vstack([hstack([rows, -each, 0.0 * most]), hstack([-rows, -each, 0.0 * most]),
                     hstack([csr_matrix((places, count)), each, -most])])  # fmt: skip
    least = np.concatenate([wanted * cost, -wanted * cost, np.zeros(places)])
    price = np.concatenate([np.zeros(count), np.full(places, 1.0 / places), [_WORST]])
    bounds = [*zip(low, high, strict=True), *[(0.0, None)] * (places + 1)]
    found = linprog(price, limits, least, bounds=bounds, method="highs")
    return np.asarray(points if found.x is None else np.clip(found.x[:count], low, high))
