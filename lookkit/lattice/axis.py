"""The neutral axis of a lattice: fitted on its own, then held."""

from __future__ import annotations

from typing import Final

import numpy as np

from lookkit.lattice.difference import delta_e_2000
from lookkit.lattice.shaper import Shaper
from lookkit.lattice.truth import Exact, Light
from lookkit.spaces.working import Array

NEUTRAL: Final = 0.25 / 1023.0
"""Channels of a ramp that differ by less than this are meant to be equal."""

_STEPS: Final = 16
_EXPONENTS: Final = (2.0, 4.0)
_ROUNDS: Final = 6
_KEEP: Final = 1e-4


def fit_axis(exact: Exact, light: Light, points: Array, shaper: Shaper | None = None) -> Array:
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
    shaper
        The curve before the lattice.

    Returns
    -------
    Array
        Shape (n, 3): the best by measured mean and maximum Delta E 2000 of two fits and
        of `points` itself. Ends stay exact; r = g = b where the graph is neutral, and
        no channel falls where the exact ramp does not.
    """
    count = len(points)
    place = np.linspace(0.0, 1.0, (count - 1) * _STEPS + 1)
    ramp = np.repeat(place[:, None], 3, axis=1)
    wanted = exact(ramp if shaper is None else shaper.inverse(ramp))
    read = _hats(place, count)
    seen = light.lab(wanted)
    cost = _lightness_slope(wanted, seen)
    rising = bool((np.diff(wanted, axis=0) >= -1e-7).all())
    neutral = bool(np.ptp(wanted, axis=1).max() < NEUTRAL)

    candidates = [points, *(_fitted(read, wanted, points, cost, p) for p in _EXPONENTS)]
    best, least, worst = points, np.inf, np.inf
    for candidate in candidates:
        if neutral:
            candidate = np.repeat(candidate.mean(axis=1, keepdims=True), 3, axis=1)
        if rising:
            candidate = np.maximum.accumulate(candidate, axis=0)
        error = delta_e_2000(seen, light.lab(read @ candidate))
        score = float(error.mean() + 0.5 * error.max())
        if worst == np.inf:
            worst = float(error.max())
        if score < least and error.max() <= worst:
            best, least = candidate, score
    return best


def _hats(place: Array, count: int) -> Array:
    """Share of each diagonal point at each place, shape (m, count)."""
    distance = np.abs(place[:, None] * (count - 1) - np.arange(count))
    return np.maximum(1.0 - distance, 0.0)


def _lightness_slope(signal: Array, seen: Array) -> Array:
    """L* per unit of signal along the ramp, with a floor, shape (m,)."""
    level = signal.mean(axis=1)
    rise = np.maximum(np.abs(np.gradient(level)), 1e-12)
    return np.asarray(np.clip(np.abs(np.gradient(seen[:, 0])) / rise, 15.0, 1000.0))


def _fitted(read: Array, wanted: Array, points: Array, cost: Array, exponent: float) -> Array:
    """Least powers of the error, by reweighted least squares; the ends stay."""
    weight = np.ones(len(read))
    values = points
    for _ in range(1 if exponent == 2.0 else _ROUNDS):
        rows = read * (weight * cost)[:, None]
        normal = rows.T @ rows
        normal += _KEEP * np.trace(normal) / len(points) * np.eye(len(points))
        aims = rows.T @ ((weight * cost)[:, None] * (wanted - read @ points))
        change = np.zeros_like(points)
        change[1:-1] = np.linalg.solve(normal[1:-1, 1:-1], aims[1:-1])
        values = points + change
        error = np.abs(wanted - read @ values).mean(axis=1) * cost
        relative = error / max(float(error.mean()), 1e-12)
        weight = 0.5 * weight + 0.5 * np.clip(relative ** (0.5 * exponent - 1.0), 0.05, 20.0)
    # Within the exact values around: nothing rings beside a kink.
    near = np.stack([np.concatenate([points[:1], points[:-1]]), points,
                     np.concatenate([points[1:], points[-1:]])])  # fmt: skip
    return np.clip(values, near.min(axis=0), near.max(axis=0))
