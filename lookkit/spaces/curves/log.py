"""Camera logarithms: with a straight line below a break, or mirrored about black."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import isfinite, log
from typing import ClassVar, Final, NamedTuple

from lookkit.kernel.formula import each_channel
from lookkit.kernel.maths import Plane, held_exp2, log2, maximum, minimum, where
from lookkit.spaces.curves.base import Curve, Way, require
from lookkit.spaces.working import OcioTransform

_LARGEST_MISS: Final = 3e-6


class LogNumbers(NamedTuple):
    """The constants of a `Log`; `rate` is code for a doubling."""

    rate: float
    log_offset: float
    lin_slope: float
    lin_offset: float
    lin_break: float
    break_code: float
    slope: float
    offset: float


@each_channel
def log_decode(code: Plane, p: LogNumbers) -> Plane:
    """Return linear light for a code."""
    above = (held_exp2((code - p.log_offset) / p.rate) - p.lin_offset) / p.lin_slope
    below = minimum((code - p.offset) / p.slope, p.lin_break)
    return where(code >= p.break_code, above, below)


@each_channel
def log_encode(light: Plane, p: LogNumbers) -> Plane:
    """Return the code for linear light."""
    inside = p.lin_slope * maximum(light, p.lin_break) + p.lin_offset
    above = p.rate * log2(inside) + p.log_offset
    below = minimum(p.slope * light + p.offset, p.break_code)
    return where(light >= p.lin_break, above, below)


@dataclass(frozen=True)
class Log(Curve):
    """A logarithm, and a straight line below a break.

    For light x at or above `lin_break`::

        code = log_slope * log_base(lin_slope * x + lin_offset) + log_offset

    and below it ``code = linear_slope * x + linear_offset``. The names are those of the
    camera log of SMPTE ST 2136-1 (CLF). Published constants are rounded, so the two pieces
    may miss each other at the break by some 1e-7: `encode` is the published formula,
    held to the higher piece's start where they overlap; `decode` gives the break for codes
    that fall between them.

    Parameters
    ----------
    linear_slope, linear_offset
        Where not published, the line is the tangent of the logarithm at the break.
    lin_break
        Where not published, it is where the logarithm reaches code 0: a pure logarithm
        that carries negative codes and light along its tangent.
    """

    family: ClassVar[str] = "log"
    is_log: ClassVar[bool] = True

    log_slope: float
    log_offset: float
    lin_slope: float
    lin_offset: float
    base: float = 10.0
    lin_break: float | None = None
    linear_slope: float | None = None
    linear_offset: float | None = None

    def __post_init__(self) -> None:
        require(self.base > 1, f"base is {self.base:g}, expected above 1")
        require(self.log_slope > 0, f"log_slope is {self.log_slope:g}, expected above 0")
        require(self.lin_slope > 0, f"lin_slope is {self.lin_slope:g}, expected above 0")
        require(
            self.lin_slope * self._break + self.lin_offset > 0,
            f"lin_break is {self._break:g}, expected above {-self.lin_offset / self.lin_slope:g}",
        )
        slope, offset = self._line
        require(slope > 0, f"linear_slope is {slope:g}, expected above 0")
        miss = slope * self._break + offset - self._break_code
        require(
            isfinite(miss) and abs(miss) < 2e-3,
            f"the straight line misses the logarithm by {miss:.4g} at lin_break, expected to meet",
        )

    @cached_property
    def _rate(self) -> float:
        return self.log_slope / log(self.base)

    @cached_property
    def _break(self) -> float:
        if self.lin_break is not None:
            return self.lin_break
        start: float = self.base ** (-self.log_offset / self.log_slope)
        return (start - self.lin_offset) / self.lin_slope

    @cached_property
    def _break_code(self) -> float:
        inside = self.lin_slope * self._break + self.lin_offset
        return self._rate * log(inside) + self.log_offset

    @cached_property
    def _line(self) -> tuple[float, float]:
        slope = self.linear_slope
        if slope is None:
            slope = self._rate * self.lin_slope / (self.lin_slope * self._break + self.lin_offset)
        if self.linear_offset is not None:
            return slope, self.linear_offset
        return slope, self._break_code - slope * self._break

    @cached_property
    def numbers(self) -> LogNumbers:
        """What its formulas take."""
        slope, offset = self._line
        return LogNumbers(
            rate=self._rate * log(2.0),
            log_offset=self.log_offset,
            lin_slope=self.lin_slope,
            lin_offset=self.lin_offset,
            lin_break=self._break,
            break_code=self._break_code,
            slope=slope,
            offset=offset,
        )

    @property
    def decoding(self) -> Way:
        """The formula from codes to light."""
        return log_decode, self.numbers

    @property
    def encoding(self) -> Way:
        """The formula from light to codes."""
        return log_encode, self.numbers

    @cached_property
    def miss(self) -> float:
        """How far the published pieces miss each other at the break, in code."""
        slope, offset = self._line
        return abs(slope * self._break + offset - self._break_code)

    def lower_decode(self) -> list[OcioTransform]:
        """Return `lower_encode` backwards."""
        from lookkit.spaces.ocio_ops import half_lut

        if self.miss > _LARGEST_MISS:
            return [half_lut(self.decode)]
        return [self._camera(inverse=True)]

    def lower_encode(self) -> list[OcioTransform]:
        """Return one camera log, or a 1D LUT where the published pieces miss by over 3e-6.

        OpenColorIO lets the line start where the logarithm ends. Published pieces that miss
        each other by a little are joined where they do meet, beside the printed break, so both
        keep their constants, and between there and the break the difference is below the miss;
        if they never meet, the line is moved by the least miss (3e-7 of code for V-Log).
        """
        from lookkit.spaces.ocio_ops import half_lut

        if self.miss > _LARGEST_MISS:
            return [half_lut(self.encode)]
        return [self._camera(inverse=False)]

    def _camera(self, *, inverse: bool) -> OcioTransform:
        from lookkit.spaces.ocio_ops import log_camera

        return log_camera(
            base=self.base,
            log_slope=self.log_slope,
            log_offset=self.log_offset,
            lin_slope=self.lin_slope,
            lin_offset=self.lin_offset,
            lin_break=self._meeting,
            linear_slope=self._line[0],
            inverse=inverse,
        )

    @cached_property
    def _meeting(self) -> float:
        """Where line and logarithm meet or come closest, beside the published break."""
        slope, offset = self._line

        def above(linear: float) -> float:
            inside = self.lin_slope * linear + self.lin_offset
            return self._rate * log(inside) + self.log_offset - slope * linear - offset

        tangent = (self._rate * self.lin_slope / slope - self.lin_offset) / self.lin_slope
        if self.miss < 1e-12:
            return self._break
        if above(tangent) <= 0:
            return tangent
        inner, outer = tangent, self._break
        while above(outer) > 0:
            outer += 2 * (outer - inner)
        for _ in range(100):
            middle = (inner + outer) / 2
            inner, outer = (middle, outer) if above(middle) > 0 else (inner, middle)
        return outer
