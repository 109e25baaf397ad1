"""A strictly rising curve whose slope is the exponential of a polyline.

    y(x) = integral of exp(a(u)) du, a(u) linear between knots

so it is smooth, cannot fold, has a closed form, and its parameters are free numbers:
what a fit wants. Outside of the knots it goes on straight with the slope of its end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lookkit.spaces.working import Array


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
        segment, part, widths, heights = self._place(x)
        low = self.log_slopes[segment]
        bend = (self.log_slopes[segment + 1] - low) * part
        inside = heights[segment] + widths[segment] * np.exp(low) * part * _mean_exp(bend)
        return np.asarray(inside + self._beyond(x))

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
        by_low = scale * _mean_exp(high - low) - by_high
        whole = np.zeros((count, count))
        for k in range(count - 1):
            whole[k + 1] = whole[k]
            whole[k + 1, k] += by_low[k]
            whole[k + 1, k + 1] += by_high[k]
        out = whole[segment]
        bend = (self.log_slopes[segment + 1] - self.log_slopes[segment]) * part
        part_high = scale[segment] * part * part * _mean_exp_weighted(bend)
        part_low = scale[segment] * part * _mean_exp(bend) - part_high
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
        return np.concatenate([[0.0], np.cumsum(widths * np.exp(low) * _mean_exp(high - low))])

    def _place(self, x: Array) -> tuple[np.ndarray, Array, Array, Array]:
        widths = np.diff(self.knots)
        inside = np.clip(x, self.knots[0], self.knots[-1])
        segment = np.clip(np.searchsorted(self.knots, inside, side="right") - 1, 0, len(widths) - 1)
        part = (inside - self.knots[segment]) / widths[segment]
        return segment, part, widths, self._heights(widths)

    def _beyond(self, x: Array) -> Array:
        below = np.minimum(x - self.knots[0], 0.0) * np.exp(self.log_slopes[0])
        above = np.maximum(x - self.knots[-1], 0.0) * np.exp(self.log_slopes[-1])
        return np.asarray(below + above)


def _mean_exp(z: Array) -> Array:
    """Mean of exp(z s) over s in 0-1."""
    small = np.abs(z) < 1e-5
    safe = np.where(small, 1.0, z)
    return np.where(small, 1.0 + 0.5 * z, np.expm1(safe) / safe)


def _mean_exp_weighted(z: Array) -> Array:
    """Mean of s exp(z s) over s in 0-1."""
    small = np.abs(z) < 1e-3
    safe = np.where(small, 1.0, z)
    exact = (np.exp(safe) * (safe - 1.0) + 1.0) / safe**2
    return np.where(small, 0.5 + z / 3.0 + z * z / 8.0 + z**3 / 30.0, exact)
