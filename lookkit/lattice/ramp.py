"""The grey ramp as a trilinear reader sees it, which points beside the diagonal tint.

On the diagonal of a cell that reader draws a cubic curve. Its outer control points are the
ends of the diagonal; the inner two are the means of the three points a step from either end.
A tetrahedral reader sees the diagonal alone (`axis.py`).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from lookkit.accuracy.sampling import CORNERS, Floats, corner_values, corner_weights
from lookkit.accuracy.truth import Exact, Light
from lookkit.lattice.equations import products
from lookkit.spaces.working import Array

_PLACES: Final[Array] = np.repeat(((np.arange(8) + 0.5) / 8)[:, None], 3, axis=1)
"""Eight greys in each cell of the diagonal."""

_WEIGHT: Final = 80_000.0
"""What the ramp counts beside all colours together, whose cells cost one on average: enough for
its tint to go below what is seen, as every grey wall shows it."""

_ALLOWED: Final = 0.24
"""Errors of lightness up to this share of plain sampling's largest are left alone."""

_UNSEEN: Final = 0.23 / 1023.0
"""A tint that no 10-bit display shows: left alone, because to remove it costs colours."""

_SMALL: Final = 1e-3
"""About one ten-bit code, as in `axis.py`: the step for the slope of lightness."""

_LEVEL: Final = 1e-7
"""Falls of the exact ramp that are rounding."""

_SETTLED: Final = 0.47 / 1023.0
"""Largest difference between channels that is left: it rounds to none in 10 bits."""

_SETTLING: Final = 12
"""Turns. A grey ramp takes one; a tinted one, whose points are kept by their bounds, is within half
a ten-bit code of where it ends (measured on six looks and cameras)."""

_ONE_STEP: Final = tuple(corner for corner in CORNERS if sum(corner) == 1)
_TWO_STEPS: Final = tuple(corner for corner in CORNERS if sum(corner) == 2)


class Ramp:
    """Eight exact greys in each diagonal cell, and how a lattice reads them."""

    def __init__(self, exact: Exact, light: Light, plain: Array, metric: Floats) -> None:
        across = plain.shape[0] - 1
        step = np.arange(across)
        self.cells = step * (across * across + across + 1)
        self._share = corner_weights(_PLACES, "trilinear")
        place = (step[None, :, None] + _PLACES[:, None]) / across
        wanted = exact(place)
        self._wanted = wanted.transpose(0, 2, 1).astype(np.float32)
        # Undoes the metric, so that a tint weighs the same in dark and in light.
        mean = metric.mean()
        here = np.maximum(metric[:, self.cells], 0.02 * mean).mean(axis=0)
        self._weight = _WEIGHT / len(self._share) * np.maximum(mean / here, 1.0)
        slope = _lightness(light, wanted + _SMALL) - _lightness(light, wanted - _SMALL)
        slope = np.maximum(slope[:, None] / (2.0 * _SMALL), 1.0)
        error = np.abs(self._wanted - self._read(plain)).mean(axis=1, keepdims=True)
        self._allowed = _ALLOWED * (error * slope).max() / slope

    def sums(self, lattice: Array, start: Array) -> tuple[Floats, Floats]:
        """Pairs and aims of the diagonal cells: what can be seen of tint and lightness."""
        now = self._read(lattice)
        error = self._wanted - now
        lightness = error.mean(axis=1, keepdims=True)
        tint = error - lightness
        tint -= np.clip(tint, -_UNSEEN, _UNSEEN)
        lightness -= np.clip(lightness, -self._allowed, self._allowed)
        missing = now + tint + lightness - self._read(start)
        pairs = products(self._share).sum(axis=1)[:, None] * self._weight
        aims = np.einsum("pa,pcn->acn", self._share, missing) * self._weight
        return pairs, aims

    def rising(self, lattice: Array) -> Array:
        """Return a lattice whose diagonal does not fall where the exact ramp never does."""
        if (np.diff(self._wanted.transpose(2, 0, 1).reshape(-1, 3), axis=0) < -_LEVEL).any():
            return lattice
        step = np.arange(lattice.shape[0])
        out = lattice.copy()
        out[step, step, step] = np.maximum.accumulate(lattice[step, step, step], axis=0)
        return out

    def settled(self, lattice: Array, lowest: Array, highest: Array) -> Array:
        """Return a lattice whose ramp shows no tint and does not fall.

        The three points that make one control point move together, each within `lowest` and
        `highest`, shape (n, n, n, 3).
        """
        out = lattice.copy()
        step = np.arange(lattice.shape[0] - 1)
        across = _PLACES[:, 0]
        curve = np.stack(
            [(1 - across) ** 3, 3 * across * (1 - across) ** 2, 3 * across**2 * (1 - across),
             across**3], axis=1,
        )  # fmt: skip
        wanted = self._wanted.transpose(0, 2, 1).astype(np.float64)
        ends = np.stack([out[step, step, step], out[step + 1, step + 1, step + 1]])
        rest = wanted - np.multiply.outer(curve[:, 0], ends[0])
        rest -= np.multiply.outer(curve[:, 3], ends[1])
        aims = np.tensordot(np.linalg.pinv(curve[:, 1:3]), rest, axes=1)
        rises = (np.diff(wanted, axis=0) >= -_LEVEL).all(axis=0)
        rises &= ends[1] >= ends[0]
        for _ in range(_SETTLING):
            found = self._read(out).transpose(0, 2, 1)
            seen = np.ptp(found - wanted, axis=2).max(axis=0)
            keep = np.where(seen > _SETTLED, _SETTLED / np.maximum(seen, _SETTLED), 1.0)
            whole = np.concatenate([ends[:1], found, ends[1:]])
            falls = rises & (np.diff(whole, axis=0) < 0.0).any(axis=0)
            floor = ends[0]
            for aim, near in zip(aims, (_ONE_STEP, _TWO_STEPS), strict=True):
                places = [(step + i, step + j, step + k) for i, j, k in near]
                now = np.mean([out[place] for place in places], axis=0)
                off = now - aim
                common = off.mean(axis=1, keepdims=True)
                new = aim + common + keep[:, None] * (off - common)
                new = np.where(falls, np.clip(new, floor, np.maximum(ends[1], floor)), new)
                for place in places:
                    out[place] = np.clip(out[place] + new - now, lowest[place], highest[place])
                floor = np.where(falls, new, floor)
        return out

    def _read(self, lattice: Array) -> Floats:
        corners = corner_values(lattice, self.cells)
        return np.asarray(np.einsum("pa,acn->pcn", self._share, corners))


def _lightness(light: Light, signal: Array) -> Array:
    """L* of a signal, shape (p, cells)."""
    return np.asarray(light.lab(np.clip(signal, 0.0, 1.0).reshape(-1, 3))[:, 0]).reshape(
        signal.shape[:-1]
    )
