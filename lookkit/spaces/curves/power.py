"""Straight lines and powers: linear light, display gammas, and powers with a straight toe."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import isfinite, log2
from typing import ClassVar

import numpy as np

from lookkit.spaces.curves.base import Curve, require, signed_power
from lookkit.spaces.working import Array, OcioTransform


@dataclass(frozen=True)
class Linear(Curve):
    """Codes are linear light."""

    family: ClassVar[str] = "linear"

    def decode(self, code: Array) -> Array:
        """Return the codes."""
        return np.array(code, dtype=np.float64)

    def encode(self, linear: Array) -> Array:
        """Return the light."""
        return np.array(linear, dtype=np.float64)

    def lower_decode(self) -> list[OcioTransform]:
        """Return nothing to do."""
        return []

    def lower_encode(self) -> list[OcioTransform]:
        """Return nothing to do."""
        return []


@dataclass(frozen=True)
class Power(Curve):
    """A pure power, light = scale * code^gamma, odd about zero.

    Parameters
    ----------
    scale
        Light at code 1.
    """

    family: ClassVar[str] = "power"

    gamma: float
    scale: float = 1.0

    def __post_init__(self) -> None:
        require(self.gamma > 0, f"gamma is {self.gamma:g}, expected above 0")
        require(self.scale > 0, f"scale is {self.scale:g}, expected above 0")

    def decode(self, code: Array) -> Array:
        """Return linear light for codes, any shape."""
        return self.scale * signed_power(code, self.gamma)

    def encode(self, linear: Array) -> Array:
        """Return codes for linear light, any shape."""
        return signed_power(linear / self.scale, 1 / self.gamma)

    def lower_decode(self) -> list[OcioTransform]:
        """Return a mirrored exponent and, where needed, a gain."""
        from lookkit.spaces.ocio_ops import affine, power

        return [power(self.gamma)] + ([] if self.scale == 1 else [affine(self.scale, 0)])

    def lower_encode(self) -> list[OcioTransform]:
        """Return the gain, where needed, and a mirrored exponent."""
        from lookkit.spaces.ocio_ops import affine, power

        gain = [] if self.scale == 1 else [affine(1 / self.scale, 0)]
        return [*gain, power(1 / self.gamma)]


@dataclass(frozen=True)
class ToePower(Curve):
    """A power with a straight toe, as in BT.709, BT.2020, sRGB and ROMM RGB.

    For light x at or above `lin_break`: ``code = (1 + offset) x^(1/gamma) - offset``; below,
    ``code = toe_slope * x``, also for negatives. Printed constants are rounded, so the
    pieces may miss each other at the break (BT.709 by 2.5e-4 of signal, a fifth of a 10-bit
    code): no encoder gives the codes between, and `decode` gives the break for them.
    """

    family: ClassVar[str] = "toe-power"

    gamma: float
    offset: float
    toe_slope: float
    lin_break: float

    def __post_init__(self) -> None:
        require(self.gamma > 1, f"gamma is {self.gamma:g}, expected above 1")
        require(self.offset >= 0, f"offset is {self.offset:g}, expected 0 or above")
        require(self.toe_slope > 0, f"toe_slope is {self.toe_slope:g}, expected above 0")
        require(self.lin_break > 0, f"lin_break is {self.lin_break:g}, expected above 0")
        miss = self._miss
        require(
            isfinite(miss) and abs(miss) < 2e-3,
            f"the toe misses the power by {miss:.4g} at lin_break, expected to meet it",
        )

    @cached_property
    def _break_code(self) -> float:
        body: float = (1 + self.offset) * self.lin_break ** (1 / self.gamma) - self.offset
        return body

    @cached_property
    def _miss(self) -> float:
        return self.toe_slope * self.lin_break - self._break_code

    def decode(self, code: Array) -> Array:
        """Return linear light for codes, any shape."""
        above = signed_power((code + self.offset) / (1 + self.offset), self.gamma)
        below = np.minimum(code / self.toe_slope, self.lin_break)
        return np.where(code >= self._break_code, above, below)

    def encode(self, linear: Array) -> Array:
        """Return codes for linear light, any shape."""
        root = np.maximum(linear, self.lin_break) ** (1 / self.gamma)
        above = (1 + self.offset) * root - self.offset
        below = np.minimum(self.toe_slope * linear, self._break_code)
        return np.where(linear >= self.lin_break, above, below)

    def lower_decode(self) -> list[OcioTransform]:
        """Return `lower_encode` backwards."""
        from lookkit.spaces.ocio_ops import half_lut, inverted

        if abs(self._miss) > 1e-6:
            return [half_lut(self.decode)]
        return [inverted(transform) for transform in reversed(self.lower_encode())]

    def lower_encode(self) -> list[OcioTransform]:
        """Return two camera logs, or a 1D LUT where the published pieces miss each other.

        A power is a logarithm, a factor, and an exponential; the straight lines below the
        breaks of the two camera logs give the toe its published slope exactly, which
        OpenColorIO's exponent with a linear part cannot (its slope follows from gamma and
        offset: 12.9232 for sRGB). Both are shifted to be 0 at the break, which keeps float32
        exact in the toe. The LUT differs from the formula only within one
        half-float step of the break (1.5e-5 of light for BT.709).
        """
        from lookkit.spaces.ocio_ops import half_lut, log_camera

        if abs(self._miss) > 1e-6:
            return [half_lut(self.encode)]
        shift = -log2(self.lin_break) / self.gamma
        return [
            log_camera(
                base=2,
                log_slope=1 / self.gamma,
                log_offset=shift,
                lin_slope=1,
                lin_offset=0,
                lin_break=self.lin_break,
                linear_slope=self.toe_slope,
            ),
            log_camera(
                base=2,
                log_slope=1,
                log_offset=shift,
                lin_slope=1 / (1 + self.offset),
                lin_offset=self.offset / (1 + self.offset),
                lin_break=self._break_code,
                linear_slope=1,
                inverse=True,
            ),
        ]


@dataclass(frozen=True)
class Bt1886(Curve):
    """The reference display of ITU-R BT.1886, light in units of 100 cd/m2.

    L = a max(V + b, 0)^2.4 with a = (Lw^(1/2.4) - Lb^(1/2.4))^2.4 and
    b = Lb^(1/2.4) / (Lw^(1/2.4) - Lb^(1/2.4)); below V = -b it is carried on, mirrored.

    Parameters
    ----------
    white, black
        Lw and Lb, cd/m2.
    """

    family: ClassVar[str] = "bt.1886"

    white: float = 100.0
    black: float = 0.0

    def __post_init__(self) -> None:
        require(
            0 <= self.black < self.white,
            f"black is {self.black:g} cd/m2, expected from 0 to below {self.white:g}",
        )

    @cached_property
    def _span(self) -> float:
        span: float = (self.white / 100) ** (1 / 2.4) - (self.black / 100) ** (1 / 2.4)
        return span

    @cached_property
    def _lift(self) -> float:
        lift: float = (self.black / 100) ** (1 / 2.4)
        return lift

    def decode(self, code: Array) -> Array:
        """Return light for signal, any shape."""
        return signed_power(code * self._span + self._lift, 2.4)

    def encode(self, linear: Array) -> Array:
        """Return signal for light, any shape; light below the display's black is below 0."""
        return (signed_power(linear, 1 / 2.4) - self._lift) / self._span

    def lower_decode(self) -> list[OcioTransform]:
        """Return a mirrored exponent, after an affine step unless Lw is 100 and Lb 0."""
        from lookkit.spaces.ocio_ops import affine, power

        plain = self._span == 1 and self._lift == 0
        return [*([] if plain else [affine(self._span, self._lift)]), power(2.4)]

    def lower_encode(self) -> list[OcioTransform]:
        """Return `lower_decode` backwards."""
        from lookkit.spaces.ocio_ops import affine, power

        plain = self._span == 1 and self._lift == 0
        back = affine(1 / self._span, -self._lift / self._span)
        return [power(1 / 2.4), *([] if plain else [back])]
