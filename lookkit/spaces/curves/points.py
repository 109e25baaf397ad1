"""A curve through measured points."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any, ClassVar, Final, NamedTuple

import numpy as np

from lookkit.kernel.formula import Planes, formula, padded
from lookkit.kernel.maths import Plane, clip, exp2, maximum, minimum, piece_at
from lookkit.spaces.curves.base import Curve, Way, require
from lookkit.spaces.working import Array, OcioTransform

_NEAR_BLACK: Final = 0.01
"""Light below about this is interpolated linearly, light above logarithmically."""
_PER_E: Final = 1.4426950408889634
"""log2(e)."""
LENGTHS: Final = (16,)


class Cubic(NamedTuple):
    """Between two points: the code where it begins, and its coefficients from the cube down."""

    start: float
    cube: float
    square: float
    slope: float
    height: float


_NO_CUBIC: Final = Cubic(1e30, 0.0, 0.0, 0.0, 0.0)


class PointNumbers(NamedTuple):
    """The cubics, the codes of the first and last points, and the slopes of light beyond them."""

    cubics: tuple[Cubic, ...]
    first: float
    last: float
    low: float
    high: float


@formula(LENGTHS)
def points_decode(r: Plane, g: Plane, b: Plane, p: PointNumbers) -> Planes:
    """Return linear light for codes."""
    return _light(r, p), _light(g, p), _light(b, p)


def _light(code: Plane, p: PointNumbers) -> Plane:
    inside = clip(code, p.first, p.last)
    start, cube, square, slope, height = piece_at(inside, p.cubics)
    t = inside - start
    power = exp2(_PER_E * (((cube * t + square) * t + slope) * t + height))
    light = (0.5 * _NEAR_BLACK) * (power - 1.0 / power)
    return light + p.low * minimum(code - p.first, 0.0) + p.high * maximum(code - p.last, 0.0)


@dataclass(frozen=True)
class Points(Curve):
    """A monotone curve through measured pairs of code and linear light.

    Between points it is the monotone cubic of Fritsch and Butland (1984), from code to
    asinh(light / 0.01): a logarithm of light from about 0.02, linear about black, so that a
    point each stop suffices. Beyond the first and last points it goes on straight in light.

    Parameters
    ----------
    points
        At least three pairs, code and light both strictly rising.
    """

    family: ClassVar[str] = "points"

    points: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        pairs = self.points
        shaped = len(pairs) >= 3 and all(isinstance(p, tuple) and len(p) == 2 for p in pairs)
        require(shaped, "points: expected at least three pairs of code and light")
        for (code, light), (code2, light2) in pairwise(pairs):
            require(
                code2 > code and light2 > light,
                f"points: [{code2:g}, {light2:g}] does not rise above [{code:g}, {light:g}]",
            )

    @property
    def is_log(self) -> bool:  # type: ignore[override]
        """Whether the stops above grey take about equal steps of code, as a logarithm's do."""
        grey, one, two = self.encode(0.18 * np.array([1.0, 2.0, 4.0]))
        return bool(two - one < 1.15 * (one - grey))

    @cached_property
    def _codes(self) -> Array:
        return np.array([code for code, _ in self.points])

    @cached_property
    def _light(self) -> Array:
        return np.array([light for _, light in self.points])

    @cached_property
    def _cubic(self) -> Any:
        from scipy.interpolate import PchipInterpolator

        return PchipInterpolator(self._codes, np.arcsinh(self._light / _NEAR_BLACK))

    @cached_property
    def _end_slopes(self) -> tuple[float, float]:
        """Slope of light over code at the first and last point, never flat."""
        rate = self._cubic.derivative()(self._codes[[0, -1]])
        smooth = rate * np.hypot(self._light[[0, -1]], _NEAR_BLACK)
        chords = np.diff(self._light)[[0, -1]] / np.diff(self._codes)[[0, -1]]
        low, high = np.where(smooth > 0, smooth, chords)
        return float(low), float(high)

    @property
    def decoding(self) -> Way:
        """The formula from codes to light."""
        rows = zip(self._codes[:-1], *self._cubic.c, strict=True)
        cubics = padded([Cubic(*map(float, row)) for row in rows], _NO_CUBIC, LENGTHS)
        ends = (float(self._codes[0]), float(self._codes[-1]), *self._end_slopes)
        return points_decode, PointNumbers(cubics, *ends)

    def decode(self, code: Array) -> Array:
        """Return linear light for codes, any shape."""
        return np.asarray(_light(np.asarray(code, dtype=np.float64), self.decoding[1]))

    def encode(self, linear: Array) -> Array:
        """Return codes for linear light, any shape, to 1e-12 of the interval."""
        first, last = self._light[0], self._light[-1]
        low, high = self._end_slopes
        target = np.arcsinh(np.clip(linear, first, last) / _NEAR_BLACK)
        knots = np.arcsinh(self._light / _NEAR_BLACK)
        index = np.clip(np.searchsorted(knots, target) - 1, 0, len(knots) - 2)
        under, over = self._codes[index], self._codes[index + 1]
        for _ in range(44):
            middle = (under + over) / 2
            short = self._cubic(middle) < target
            under, over = np.where(short, middle, under), np.where(short, over, middle)
        inside = np.where(linear < last, (under + over) / 2, self._codes[-1])
        held = np.where(linear > first, inside, self._codes[0])
        beyond = np.minimum(linear - first, 0) / low + np.maximum(linear - last, 0) / high
        return np.asarray(held + beyond)

    def lower_decode(self) -> list[OcioTransform]:
        """Return a half-float 1D LUT; within 1e-5, relative, for curves as steep as camera logs."""
        from lookkit.spaces.ocio_ops import half_lut

        return [half_lut(self.decode)]

    def lower_encode(self) -> list[OcioTransform]:
        """Return a half-float 1D LUT."""
        from lookkit.spaces.ocio_ops import half_lut

        return [half_lut(self.encode)]
