"""Logarithms above a root of light: N-Log, Apple Log and HLG.

Below a break the code is a root (or a power) of light, above it a logarithm. The root is
infinitely steep at its foot, one way or the other, where a LUT alone would be coarse, so
each is lowered to a mirrored exponent and a half-float 1D LUT of the rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import log, log2
from typing import ClassVar, Final

import numpy as np

from lookkit.spaces.curves.base import Curve, require, safe_exp, signed_power
from lookkit.spaces.working import Array, OcioTransform


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

    def decode(self, code: Array) -> Array:
        """Return linear light for codes, any shape."""
        above = safe_exp((code - self.log_offset) / self.log_slope)
        below = signed_power(code / self.root_slope, 3) - self.root_offset
        return np.where(code >= self._break_code, above, np.minimum(below, self.lin_break))

    def encode(self, linear: Array) -> Array:
        """Return codes for linear light, any shape."""
        above = self.log_slope * np.log(np.maximum(linear, self.lin_break)) + self.log_offset
        below = self.root_slope * np.cbrt(linear + self.root_offset)
        return np.where(linear >= self.lin_break, above, np.minimum(below, self._break_code))

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
        return self.log_slope * log2(self.lin_break + self.lin_offset) + self.log_offset

    def decode(self, code: Array) -> Array:
        """Return linear light for codes, any shape."""
        above = safe_exp((code - self.log_offset) / self.log_slope * log(2)) - self.lin_offset
        below = signed_power(code / self.square_slope, 0.5) + self.black
        return np.where(code >= self._break_code, above, np.minimum(below, self.lin_break))

    def encode(self, linear: Array) -> Array:
        """Return codes for linear light, any shape."""
        inside = np.maximum(linear, self.lin_break) + self.lin_offset
        above = self.log_slope * np.log2(inside) + self.log_offset
        below = self.square_slope * signed_power(linear - self.black, 2)
        return np.where(linear >= self.lin_break, above, np.minimum(below, self._break_code))

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

    def decode(self, code: Array) -> Array:
        """Return linear light for codes, any shape."""
        above = (safe_exp((code - _C) / _A) + _B) / 12
        below = signed_power(code, 2) / 3
        return np.where(code > 0.5, above, below) / self.unit

    def encode(self, linear: Array) -> Array:
        """Return codes for linear light, any shape."""
        e = linear * self.unit
        above = _A * np.log(12 * np.maximum(e, 1 / 12) - _B) + _C
        return np.where(e > 1 / 12, above, signed_power(3 * e, 0.5))

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
