"""A root of light and its logarithm added: a phone camera's log."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import exp, log, sqrt
from typing import ClassVar, Final, NamedTuple

from lookkit.kernel.formula import each_channel
from lookkit.kernel.maths import Plane, held_exp2, log2, maximum, minimum, where
from lookkit.kernel.maths import sqrt as root
from lookkit.spaces.curves.base import Curve, Way, require
from lookkit.spaces.working import OcioTransform

_LN2: Final = log(2.0)
_STEPS: Final = 5
"""Newton's steps: four reach a double's last digits for codes from 0 to 2."""


class RootAndLogNumbers(NamedTuple):
    """The constants of a `RootAndLog`; `log_weight` is that of the natural logarithm."""

    scale: float
    log_weight: float
    offset: float
    lin_break: float
    slope: float


@each_channel
def root_and_log_decode(code: Plane, p: RootAndLogNumbers) -> Plane:
    """Return linear light for a code.

    With v = ln(x) / 2 it solves e^v + 2 w v = c. The left side is convex, so Newton's steps from
    the right of the root stay there and end at it.
    """
    double = 2.0 * p.log_weight
    c = maximum(code, 0.0) / p.scale - p.offset
    v = where(c > 1.0, log2(maximum(c, 1.0)) * _LN2, (c - 1.0) / (1.0 + double))
    for _ in range(_STEPS):
        e = held_exp2(v / _LN2)
        v = v - (e + double * v - c) / (e + double)
    above = maximum(held_exp2(2.0 * v / _LN2), p.lin_break)
    return where(code >= 0.0, above, p.lin_break + code / p.slope)


@each_channel
def root_and_log_encode(light: Plane, p: RootAndLogNumbers) -> Plane:
    """Return the code for linear light."""
    x = maximum(light, p.lin_break)
    above = p.scale * (root(x) + p.log_weight * _LN2 * log2(x) + p.offset)
    below = minimum(p.slope * (light - p.lin_break), 0.0)
    return where(light >= p.lin_break, maximum(above, 0.0), below)


@dataclass(frozen=True)
class RootAndLog(Curve):
    """A square root of light and a natural logarithm, added (Filmic Pro 6).

    ``code = scale * (sqrt(x) + log_weight * ln(x) + offset)`` for light x whose code is 0 or
    more; darker light and negative codes go on along the tangent there.
    """

    family: ClassVar[str] = "root-and-log"
    is_log: ClassVar[bool] = True

    scale: float
    log_weight: float
    offset: float

    def __post_init__(self) -> None:
        require(self.scale > 0, f"scale is {self.scale:g}, expected above 0")
        require(self.log_weight > 0, f"log_weight is {self.log_weight:g}, expected above 0")

    @cached_property
    def _numbers(self) -> RootAndLogNumbers:
        double = 2.0 * self.log_weight
        v = (-self.offset - 1.0) / (1.0 + double) if self.offset > -1.0 else log(-self.offset)
        for _ in range(60):
            v -= (exp(v) + double * v + self.offset) / (exp(v) + double)
        start = exp(2.0 * v)
        slope = self.scale * (0.5 / sqrt(start) + self.log_weight / start)
        return RootAndLogNumbers(self.scale, self.log_weight, self.offset, start, slope)

    @property
    def decoding(self) -> Way:
        """The formula from codes to light."""
        return root_and_log_decode, self._numbers

    @property
    def encoding(self) -> Way:
        """The formula from light to codes."""
        return root_and_log_encode, self._numbers

    def lower_decode(self) -> list[OcioTransform]:
        """Return a 1D LUT of all half floats."""
        from lookkit.spaces.ocio_ops import half_lut

        return [half_lut(self.decode)]

    def lower_encode(self) -> list[OcioTransform]:
        """Return a 1D LUT of all half floats."""
        from lookkit.spaces.ocio_ops import half_lut

        return [half_lut(self.encode)]
