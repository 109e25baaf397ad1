"""Straight lines and powers: linear light, display gammas, and powers with a straight toe."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import isfinite, log2
from typing import ClassVar, NamedTuple

from lookkit.kernel.formula import Nothing, each_channel
from lookkit.kernel.maths import Plane, maximum, minimum, power, signed_power, where
from lookkit.spaces.curves.base import Curve, Way, require
from lookkit.spaces.working import OcioTransform


@each_channel
def as_it_is(x: Plane, p: Nothing) -> Plane:
    """Return the same values."""
    return x + 0.0


@dataclass(frozen=True)
class Linear(Curve):
    """Codes are linear light."""

    family: ClassVar[str] = "linear"

    @property
    def decoding(self) -> Way:
        """The formula that changes nothing."""
        return as_it_is, Nothing()

    encoding = decoding

    def lower_decode(self) -> list[OcioTransform]:
        """Return nothing to do."""
        return []

    def lower_encode(self) -> list[OcioTransform]:
        """Return nothing to do."""
        return []


class PowerNumbers(NamedTuple):
    """What multiplies before, the exponent, and what multiplies after."""

    before: float
    exponent: float
    after: float


@each_channel
def power_curve(x: Plane, p: PowerNumbers) -> Plane:
    """Return a power, odd about zero."""
    return p.after * signed_power(p.before * x, p.exponent)


class ToeNumbers(NamedTuple):
    """The constants of a `ToePower`."""

    gamma: float
    offset: float
    toe_slope: float
    lin_break: float
    break_code: float


@each_channel
def toe_decode(code: Plane, p: ToeNumbers) -> Plane:
    """Return linear light for a code."""
    above = signed_power((code + p.offset) / (1.0 + p.offset), p.gamma)
    below = minimum(code / p.toe_slope, p.lin_break)
    return where(code >= p.break_code, above, below)


@each_channel
def toe_encode(light: Plane, p: ToeNumbers) -> Plane:
    """Return the code for linear light."""
    above = (1.0 + p.offset) * power(maximum(light, p.lin_break), 1.0 / p.gamma) - p.offset
    below = minimum(p.toe_slope * light, p.break_code)
    return where(light >= p.lin_break, above, below)


class Bt1886Numbers(NamedTuple):
    """The span and the lift of a display, as BT.1886 has them."""

    span: float
    lift: float


@each_channel
def bt1886_decode(signal: Plane, p: Bt1886Numbers) -> Plane:
    """Return light for signal."""
    return signed_power(signal * p.span + p.lift, 2.4)


@each_channel
def bt1886_encode(light: Plane, p: Bt1886Numbers) -> Plane:
    """Return signal for light."""
    return (signed_power(light, 1.0 / 2.4) - p.lift) / p.span


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

    @property
    def decoding(self) -> Way:
        """The formula from codes to light."""
        return power_curve, PowerNumbers(1.0, self.gamma, self.scale)

    @property
    def encoding(self) -> Way:
        """The formula from light to codes."""
        return power_curve, PowerNumbers(1.0 / self.scale, 1.0 / self.gamma, 1.0)

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

    @cached_property
    def _numbers(self) -> ToeNumbers:
        return ToeNumbers(self.gamma, self.offset, self.toe_slope, self.lin_break, self._break_code)

    @property
    def decoding(self) -> Way:
        """The formula from codes to light."""
        return toe_decode, self._numbers

    @property
    def encoding(self) -> Way:
        """The formula from light to codes."""
        return toe_encode, self._numbers

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

    @property
    def decoding(self) -> Way:
        """The formula from signal to light."""
        return bt1886_decode, Bt1886Numbers(self._span, self._lift)

    @property
    def encoding(self) -> Way:
        """The formula from light to signal; light below the display's black is below 0."""
        return bt1886_encode, Bt1886Numbers(self._span, self._lift)

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
