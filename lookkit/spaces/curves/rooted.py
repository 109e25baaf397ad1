"""Logarithms above a root of light: N-Log, Apple Log and HLG.

Below a break the code is a root (or a power) of light, above it a logarithm. The root is
infinitely steep at its foot, one way or the other, where a LUT alone would be coarse, so
each is lowered to a mirrored exponent and a half-float 1D LUT of the rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import log
from typing import ClassVar, Final, NamedTuple

import numpy as np

from lookkit.kernel.formula import each_channel
from lookkit.kernel.maths import (
    Plane,
    absolute,
    cbrt,
    copysign,
    held_exp2,
    log2,
    maximum,
    minimum,
    signed_power,
    sqrt,
    where,
)
from lookkit.spaces.curves.base import Curve, Way, require
from lookkit.spaces.working import OcioTransform


class CubeRootNumbers(NamedTuple):
    """The constants of a `CubeRootLog`; `rate` is code for a doubling."""

    root_slope: float
    root_offset: float
    rate: float
    log_offset: float
    lin_break: float
    break_code: float


@each_channel
def cube_root_decode(code: Plane, p: CubeRootNumbers) -> Plane:
    """Return linear light for a code."""
    above = held_exp2((code - p.log_offset) / p.rate)
    root = code / p.root_slope
    below = root * root * root - p.root_offset
    return where(code >= p.break_code, above, minimum(below, p.lin_break))


@each_channel
def cube_root_encode(light: Plane, p: CubeRootNumbers) -> Plane:
    """Return the code for linear light."""
    above = p.rate * log2(maximum(light, p.lin_break)) + p.log_offset
    below = p.root_slope * cbrt(light + p.root_offset)
    return where(light >= p.lin_break, above, minimum(below, p.break_code))


@dataclass(frozen=True)
class CubeRootLog(Curve):
    """A cube root of light below a break, a natural logarithm above (N-Log).

    ``code = root_slope * (x + root_offset)^(1/3)`` for light x below `lin_break`, odd about
    -root_offset; ``code = log_slope * ln(x) + log_offset`` from there. The published pieces
    of N-Log miss each other by 0.13 of a 10-bit code; no encoder gives the codes between,
    and `decode` gives the break for them.
    """

    family: ClassVar[str] = "cube-root-log"
    is_log: ClassVar[bool] = True

    root_slope: float
    root_offset: float
    log_slope: float
    log_offset: float
    lin_break: float

    def __post_init__(self) -> None:
        require(self.root_slope > 0, f"root_slope is {self.root_slope:g}, expected above 0")
        require(self.log_slope > 0, f"log_slope is {self.log_slope:g}, expected above 0")
        require(self.lin_break > 0, f"lin_break is {self.lin_break:g}, expected above 0")
        root = self.root_slope * (self.lin_break + self.root_offset) ** (1 / 3)
        miss = abs(root - self._break_code)
        require(miss < 2e-3, f"root and logarithm miss each other by {miss:.4g}, expected to meet")

    @cached_property
    def _break_code(self) -> float:
        return self.log_slope * log(self.lin_break) + self.log_offset

    @cached_property
    def _numbers(self) -> CubeRootNumbers:
        return CubeRootNumbers(
            root_slope=self.root_slope,
            root_offset=self.root_offset,
            rate=self.log_slope * log(2.0),
            log_offset=self.log_offset,
            lin_break=self.lin_break,
            break_code=self._break_code,
        )

    @property
    def decoding(self) -> Way:
        """The formula from codes to light."""
        return cube_root_decode, self._numbers

    @property
    def encoding(self) -> Way:
        """The formula from light to codes."""
        return cube_root_encode, self._numbers

    def lower_decode(self) -> list[OcioTransform]:
        """Return a LUT to the cube root of light, a cube and an offset.

        Within 5e-6 of the formula, relative with a floor of 0.01, but for one half-float
        step at the published break.
        """
        from lookkit.spaces.ocio_ops import affine, half_lut, power

        root = half_lut(lambda code: np.cbrt(self.decode(code) + self.root_offset))
        return [root, power(3), affine(1, -self.root_offset)]

    def lower_encode(self) -> list[OcioTransform]:
        """Return `lower_decode` backwards."""
        from lookkit.spaces.ocio_ops import affine, half_lut, power

        rest = half_lut(lambda root: self.encode(signed_power(root, 3) - self.root_offset))
        return [affine(1, self.root_offset), power(1 / 3), rest]


class SquareNumbers(NamedTuple):
    """The constants of a `SquareLog`; `rate` is code for a doubling."""

    black: float
    square_slope: float
    lin_offset: float
    rate: float
    log_offset: float
    lin_break: float
    break_code: float


@each_channel
def square_decode(code: Plane, p: SquareNumbers) -> Plane:
    """Return linear light for a code."""
    above = held_exp2((code - p.log_offset) / p.rate) - p.lin_offset
    below = copysign(sqrt(absolute(code) / p.square_slope), code) + p.black
    return where(code >= p.break_code, above, minimum(below, p.lin_break))


@each_channel
def square_encode(light: Plane, p: SquareNumbers) -> Plane:
    """Return the code for linear light."""
    above = p.rate * log2(maximum(light, p.lin_break) + p.lin_offset) + p.log_offset
    x = light - p.black
    below = p.square_slope * (x * absolute(x))
    return where(light >= p.lin_break, above, minimum(below, p.break_code))


@dataclass(frozen=True)
class SquareLog(Curve):
    """A square of light above a black point, then a logarithm (Apple Log).

    For light x: ``code = square_slope * (x - black)^2`` from `black` to `lin_break`,
    ``code = log_slope * log2(x + lin_offset) + log_offset`` from there. Below `black` the
    standard holds code 0; here the parabola goes on mirrored, so that nothing is lost.
    """

    family: ClassVar[str] = "square-log"
    is_log: ClassVar[bool] = True

    black: float
    lin_break: float
    square_slope: float
    lin_offset: float
    log_slope: float
    log_offset: float

    def __post_init__(self) -> None:
        require(self.square_slope > 0, f"square_slope is {self.square_slope:g}, expected above 0")
        require(self.log_slope > 0, f"log_slope is {self.log_slope:g}, expected above 0")
        require(self.black < self.lin_break, f"lin_break is {self.lin_break:g}, below black")
        require(
            self.lin_break + self.lin_offset > 0,
            f"lin_break is {self.lin_break:g}, expected above {-self.lin_offset:g}",
        )
        miss = abs(self.square_slope * (self.lin_break - self.black) ** 2 - self._break_code)
        require(miss < 2e-3, f"square and logarithm miss by {miss:.4g}, expected to meet")

    @cached_property
    def _break_code(self) -> float:
        return self.log_slope * float(log2(self.lin_break + self.lin_offset)) + self.log_offset

    @cached_property
    def _numbers(self) -> SquareNumbers:
        return SquareNumbers(
            black=self.black,
            square_slope=self.square_slope,
            lin_offset=self.lin_offset,
            rate=self.log_slope,
            log_offset=self.log_offset,
            lin_break=self.lin_break,
            break_code=self._break_code,
        )

    @property
    def decoding(self) -> Way:
        """The formula from codes to light."""
        return square_decode, self._numbers

    @property
    def encoding(self) -> Way:
        """The formula from light to codes."""
        return square_encode, self._numbers

    def lower_decode(self) -> list[OcioTransform]:
        """Return a LUT to the square of light above black, a mirrored root and an offset.

        Within 5e-6 of the formula, relative with a floor of 0.01, for codes to 1.
        """
        from lookkit.spaces.ocio_ops import affine, half_lut, power

        square = half_lut(lambda code: signed_power(self.decode(code) - self.black, 2))
        return [square, power(0.5), affine(1, self.black)]

    def lower_encode(self) -> list[OcioTransform]:
        """Return `lower_decode` backwards."""
        from lookkit.spaces.ocio_ops import affine, half_lut, power

        rest = half_lut(lambda square: self.encode(signed_power(square, 0.5) + self.black))
        return [affine(1, -self.black), power(2), rest]


_A: Final = 0.17883277
_B: Final = 1 - 4 * _A
_C: Final = 0.5 - _A * log(4 * _A)


_RATE: Final = _A * log(2.0)


class HlgNumbers(NamedTuple):
    """E of linear light 1.0."""

    unit: float


@each_channel
def hlg_decode(code: Plane, p: HlgNumbers) -> Plane:
    """Return linear light for a code."""
    above = (held_exp2((code - _C) / _RATE) + _B) / 12.0
    below = code * absolute(code) / 3.0
    return where(code > 0.5, above, below) / p.unit


@each_channel
def hlg_encode(light: Plane, p: HlgNumbers) -> Plane:
    """Return the code for linear light."""
    e = light * p.unit
    above = _RATE * log2(12.0 * maximum(e, 1.0 / 12.0) - _B) + _C
    below = copysign(sqrt(3.0 * absolute(e)), e)
    return where(e > 1.0 / 12.0, above, below)


@dataclass(frozen=True)
class Hlg(Curve):
    """The opto-electronic transfer function of ITU-R BT.2100 hybrid log-gamma.

    For normalised scene light E: ``code = sqrt(3 E)`` to E = 1/12, odd about zero, then
    ``a ln(12 E - b) + c`` with a = 0.17883277, b = 1 - 4a, c = 0.5 - a ln(4a).

    Parameters
    ----------
    unit
        E of linear light 1.0: 1 is BT.2100's own scale; 0.264963 puts a perfect white at
        75 % (ITU-R BT.2408).
    """

    family: ClassVar[str] = "hlg"

    unit: float = 1.0

    def __post_init__(self) -> None:
        require(self.unit > 0, f"unit is {self.unit:g}, expected above 0")

    @property
    def decoding(self) -> Way:
        """The formula from codes to light."""
        return hlg_decode, HlgNumbers(self.unit)

    @property
    def encoding(self) -> Way:
        """The formula from light to codes."""
        return hlg_encode, HlgNumbers(self.unit)

    def lower_decode(self) -> list[OcioTransform]:
        """Return a LUT, a mirrored square and a gain; within 5e-6, relative, floor 0.01."""
        from lookkit.spaces.ocio_ops import affine, half_lut, power

        root = half_lut(lambda code: signed_power(self.decode(code) * self.unit, 0.5))
        return [root, power(2), affine(1 / self.unit, 0)]

    def lower_encode(self) -> list[OcioTransform]:
        """Return `lower_decode` backwards."""
        from lookkit.spaces.ocio_ops import affine, half_lut, power

        rest = half_lut(lambda root: self.encode(signed_power(root, 2) / self.unit))
        return [affine(self.unit, 0), power(0.5), rest]
