"""A strictly rising curve whose slope is the exponential of a polyline.

    y(x) = integral of exp(a(u)) du, a(u) linear between knots

so it is smooth, cannot fold, has a closed form, and its parameters are free numbers:
what a fit wants. Outside of the knots it goes on straight with the slope of its end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from lookkit.kernel.formula import Planes, formula, padded
from lookkit.kernel.maths import Plane, clip, growth, maximum, minimum, piece_at
from lookkit.matchfile.camera_curve import bt709_decode
from lookkit.spaces.working import Array

LENGTHS: Final = (48,)


class Segment(NamedTuple):
    """Between two knots: where it begins, one over its width, y there, slope, bend of its log."""

    start: float
    per_width: float
    height: float
    slope: float
    bend: float


_NO_SEGMENT: Final = Segment(1e30, 0.0, 0.0, 0.0, 0.0)


class Rising(NamedTuple):
    """The segments, the outer knots, the slopes beyond them, and the signals that are held."""

    segments: tuple[Segment, ...]
    first: float
    last: float
    below: float
    above: float
    lowest: float
    highest: float


def risen(x: Plane, p: Rising) -> Plane:
    """Return y of x."""
    inside = clip(x, p.first, p.last)
    start, per_width, height, slope, bend = piece_at(inside, p.segments)
    way = inside - start
    out = height + slope * way * growth(bend * way * per_width)
    return out + p.below * minimum(x - p.first, 0.0) + p.above * maximum(x - p.last, 0.0)


@formula(LENGTHS)
def camera_curve(r: Plane, g: Plane, b: Plane, p: Rising) -> Planes:
    """Return a camera's linear light for its full-range signal, decoded by BT.709 first."""
    return _light(r, p), _light(g, p), _light(b, p)


def _light(signal: Plane, p: Rising) -> Plane:
    return risen(bt709_decode(clip(signal, p.lowest, p.highest)), p)


@dataclass(frozen=True)
class RisingCurve:
    """A curve through (knots[0], 0) with the slope exp(log_slopes[k]) at each knot.

    Attributes
    ----------
    knots
        Where the slopes stand, increasing, shape (k,).
    log_slopes
        Natural logarithm of the slope at each knot, shape (k,); zeros are the identity
        (less knots[0]).
    """

    knots: Array
    log_slopes: Array

    def __call__(self, x: Array) -> Array:
        """Return y of any shape of x; rises everywhere, negatives carried."""
        return np.asarray(risen(np.asarray(x, dtype=np.float64), self.numbers(-np.inf, np.inf)))

    def numbers(self, lowest: float, highest: float) -> Rising:
        """Return what `camera_curve` takes; signals are held between two ends before it."""
        widths = np.diff(self.knots)
        columns = (
            self.knots[:-1], 1.0 / widths, self._heights(widths), np.exp(self.log_slopes[:-1]),
            np.diff(self.log_slopes),
        )  # fmt: skip
        segments = [Segment(*map(float, row)) for row in zip(*columns, strict=False)]
        ends = (self.knots[0], self.knots[-1], *np.exp(self.log_slopes[[0, -1]]))
        return Rising(padded(segments, _NO_SEGMENT, LENGTHS), *map(float, (*ends, lowest, highest)))

    def inverse(self, y: Array) -> Array:
        """Return the x of any shape of y."""
        widths = np.diff(self.knots)
        heights = self._heights(widths)
        segment = np.clip(np.searchsorted(heights, y, side="right") - 1, 0, len(widths) - 1)
        low = self.log_slopes[segment]
        step = self.log_slopes[segment + 1] - low
        share = (y - heights[segment]) / (widths[segment] * np.exp(low))
        straight = np.abs(step) < 1e-9
        bent = np.log1p(np.clip(share * step, -1.0 + 1e-15, None)) / np.where(straight, 1.0, step)
        part = np.clip(np.where(straight, share, bent), 0.0, 1.0)
        inside = self.knots[segment] + widths[segment] * part
        below = np.minimum(y - heights[0], 0.0) / np.exp(self.log_slopes[0])
        above = np.maximum(y - heights[-1], 0.0) / np.exp(self.log_slopes[-1])
        return np.asarray(inside + below + above)

    def jacobian(self, x: Array) -> Array:
        """Return the derivative of y by each log slope, shape (..., k) for x of shape (...)."""
        segment, part, widths, _ = self._place(x)
        count = len(self.knots)
        low, high = self.log_slopes[:-1], self.log_slopes[1:]
        scale = widths * np.exp(low)
        by_high = scale * _mean_exp_weighted(high - low)
        by_low = scale * growth(high - low) - by_high
        whole = np.zeros((count, count))
        for k in range(count - 1):
            whole[k + 1] = whole[k]
            whole[k + 1, k] += by_low[k]
            whole[k + 1, k + 1] += by_high[k]
        out = whole[segment]
        bend = (self.log_slopes[segment + 1] - self.log_slopes[segment]) * part
        part_high = scale[segment] * part * part * _mean_exp_weighted(bend)
        part_low = scale[segment] * part * growth(bend) - part_high
        np.put_along_axis(
            out,
            segment[..., None],
            np.take_along_axis(out, segment[..., None], -1) + part_low[..., None],
            -1,
        )
        above = segment[..., None] + 1
        np.put_along_axis(out, above, np.take_along_axis(out, above, -1) + part_high[..., None], -1)
        out[..., 0] += np.minimum(x - self.knots[0], 0.0) * np.exp(self.log_slopes[0])
        out[..., -1] += np.maximum(x - self.knots[-1], 0.0) * np.exp(self.log_slopes[-1])
        return np.asarray(out)

    def _heights(self, widths: Array) -> Array:
        low, high = self.log_slopes[:-1], self.log_slopes[1:]
        return np.concatenate([[0.0], np.cumsum(widths * np.exp(low) * growth(high - low))])

    def _place(self, x: Array) -> tuple[np.ndarray, Array, Array, Array]:
        widths = np.diff(self.knots)
        inside = np.clip(x, self.knots[0], self.knots[-1])
        segment = np.clip(np.searchsorted(self.knots, inside, side="right") - 1, 0, len(widths) - 1)
        part = (inside - self.knots[segment]) / widths[segment]
        return segment, part, widths, self._heights(widths)


def _mean_exp_weighted(z: Array) -> Array:
    """Mean of s exp(z s) over s in 0-1."""
    small = np.abs(z) < 1e-3
    safe = np.where(small, 1.0, z)
    exact = (np.exp(safe) * (safe - 1.0) + 1.0) / safe**2
    return np.where(small, 0.5 + z / 3.0 + z * z / 8.0 + z**3 / 30.0, exact)
