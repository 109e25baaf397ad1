"""Logarithms that are mirrored about black, and the logarithm that ends in a floor."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import log
from typing import ClassVar, Final, NamedTuple

import numpy as np

from lookkit.kernel.formula import Nothing, each_channel
from lookkit.kernel.maths import Plane, absolute, clip, held_exp2, log2, maximum, where
from lookkit.spaces.curves.base import Curve, Way, require
from lookkit.spaces.working import OcioTransform


class MirroredNumbers(NamedTuple):
    """The constants of a `MirroredLog`; `rate` is code for a doubling."""

    rate: float
    log_offset: float
    mirror_offset: float
    lin_slope: float
    lin_break: float
    high: float
    low: float
    slope: float
    offset: float


@each_channel
def mirrored_decode(code: Plane, p: MirroredNumbers) -> Plane:
    """Return linear light for a code."""
    up = held_exp2((code - p.log_offset) / p.rate) - 1.0
    down = 1.0 - held_exp2((p.mirror_offset - code) / p.rate)
    middle = clip((code - p.offset) / p.slope, -p.lin_break, p.lin_break)
    below = where(code <= p.low, down / p.lin_slope, middle)
    return where(code >= p.high, up / p.lin_slope, below)


@each_channel
def mirrored_encode(light: Plane, p: MirroredNumbers) -> Plane:
    """Return the code for linear light."""
    size = p.rate * log2(1.0 + p.lin_slope * maximum(absolute(light), p.lin_break))
    middle = clip(p.slope * light + p.offset, p.low, p.high)
    below = where(light <= -p.lin_break, p.mirror_offset - size, middle)
    return where(light >= p.lin_break, p.log_offset + size, below)


@dataclass(frozen=True)
class MirroredLog(Curve):
    """A logarithm of light above black and its mirror image below.

    For light x at or above `lin_break`:
    ``code = log_slope * log10(lin_slope * x + 1) + log_offset``; at or below `-lin_break`:
    ``code = -log_slope * log10(1 - lin_slope * x) + mirror_offset``; between them a straight
    line (Canon Log 3) or, with `lin_break` 0, nothing.
    """

    family: ClassVar[str] = "mirrored-log"
    is_log: ClassVar[bool] = True

    log_slope: float
    log_offset: float
    lin_slope: float
    lin_break: float = 0.0
    mirror_offset: float | None = None
    linear_slope: float = 1.0
    linear_offset: float = 0.0

    def __post_init__(self) -> None:
        require(self.log_slope > 0, f"log_slope is {self.log_slope:g}, expected above 0")
        require(self.lin_slope > 0, f"lin_slope is {self.lin_slope:g}, expected above 0")
        require(self.lin_break >= 0, f"lin_break is {self.lin_break:g}, expected 0 or above")
        require(self.linear_slope > 0, f"linear_slope is {self.linear_slope:g}, expected above 0")
        if self.lin_break:
            reach = self.linear_slope * self.lin_break
            high, low = self.linear_offset + reach, self.linear_offset - reach
            miss = max(abs(high - self._high), abs(low - self._low))
        else:
            miss = abs(self._high - self._low)
        require(miss < 2e-3, f"the pieces miss each other by {miss:.4g}, expected to meet")

    @cached_property
    def _rate(self) -> float:
        return self.log_slope / log(10)

    @cached_property
    def _mirror_offset(self) -> float:
        return self.log_offset if self.mirror_offset is None else self.mirror_offset

    @cached_property
    def _high(self) -> float:
        return self._rate * log(self.lin_slope * self.lin_break + 1) + self.log_offset

    @cached_property
    def _low(self) -> float:
        return self._mirror_offset - self._rate * log(self.lin_slope * self.lin_break + 1)

    @cached_property
    def _numbers(self) -> MirroredNumbers:
        return MirroredNumbers(
            rate=self._rate * log(2.0),
            log_offset=self.log_offset,
            mirror_offset=self._mirror_offset,
            lin_slope=self.lin_slope,
            lin_break=self.lin_break,
            high=self._high,
            low=self._low,
            slope=self.linear_slope,
            offset=self.linear_offset,
        )

    @property
    def decoding(self) -> Way:
        """The formula from codes to light."""
        return mirrored_decode, self._numbers

    @property
    def encoding(self) -> Way:
        """The formula from light to codes."""
        return mirrored_encode, self._numbers

    def lower_decode(self) -> list[OcioTransform]:
        """Return a half-float 1D LUT: OpenColorIO has no mirrored logarithm.

        Within 4e-6 of the formula, relative with a floor of 0.01 light, over codes to 1.
        """
        from lookkit.spaces.ocio_ops import half_lut

        return [half_lut(self.decode)]

    def lower_encode(self) -> list[OcioTransform]:
        """Return a half-float 1D LUT, within 1e-6 of code."""
        from lookkit.spaces.ocio_ops import half_lut

        return [half_lut(self.encode)]


_FLOOR: Final = 2.0**-16
"""Light that ACEScc adds to half of what lies below its break."""


_BLACK: Final = (-16 + 9.72) / 17.52
_PER_CODE: Final = 17.52 * log(2)


@each_channel
def acescc_decode(code: Plane, p: Nothing) -> Plane:
    """Return linear light for a code."""
    below = _FLOOR + (code - _BLACK) * _PER_CODE * _FLOOR
    y = where(code >= _BLACK, held_exp2(code * 17.52 - 9.72), below)
    return where(y >= 2.0 * _FLOOR, y, 2.0 * (y - _FLOOR))


@each_channel
def acescc_encode(light: Plane, p: Nothing) -> Plane:
    """Return the code for linear light."""
    y = where(light >= 2.0 * _FLOOR, light, _FLOOR + light / 2.0)
    above = (log2(maximum(y, _FLOOR)) + 9.72) / 17.52
    return where(light >= 0.0, above, _BLACK + (y / _FLOOR - 1.0) / _PER_CODE)


@dataclass(frozen=True)
class AcesCc(Curve):
    """ACEScc: a pure logarithm whose lowest part ends at black.

    ``code = (log2(y) + 9.72) / 17.52`` where y = x for light x at or above 2^-15 and
    y = 2^-16 + x / 2 below. The standard holds negative light at the code of black,
    -0.358447; here it goes on along the tangent, so that nothing is lost, and codes from
    black upwards are the standard's.
    """

    family: ClassVar[str] = "acescc"
    is_log: ClassVar[bool] = True

    @property
    def decoding(self) -> Way:
        """The formula from codes to light."""
        return acescc_decode, Nothing()

    @property
    def encoding(self) -> Way:
        """The formula from light to codes."""
        return acescc_encode, Nothing()

    def lower_decode(self) -> list[OcioTransform]:
        """Return a camera log backwards, and a half-float 1D LUT of two straight pieces.

        The pieces meet at a half float, so the LUT is exact; light above 65504 is held.
        """
        from lookkit.spaces.ocio_ops import half_lut

        pieces = half_lut(lambda y: np.where(y >= 2 * _FLOOR, y, 2 * (y - _FLOOR)))
        return [self._camera(inverse=True), pieces]

    def lower_encode(self) -> list[OcioTransform]:
        """Return `lower_decode` backwards."""
        from lookkit.spaces.ocio_ops import half_lut

        pieces = half_lut(lambda x: np.where(x >= 2 * _FLOOR, x, _FLOOR + x / 2))
        return [pieces, self._camera(inverse=False)]

    @staticmethod
    def _camera(*, inverse: bool) -> OcioTransform:
        from lookkit.spaces.ocio_ops import log_camera

        return log_camera(
            base=2,
            log_slope=1 / 17.52,
            log_offset=9.72 / 17.52,
            lin_slope=1,
            lin_offset=0,
            lin_break=_FLOOR,
            inverse=inverse,
        )
