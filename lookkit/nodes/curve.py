r"""A monotone curve through points in stops from mid-grey.

    s   = log2(|in| / 0.18)
    out = sign(in) 0.18 2^f(s)

f is the piecewise cubic Hermite polynomial through the points with the slopes of Fritsch and
Butland (PCHIP), so it never overshoots and always rises; beyond the outermost points it goes
on in a straight line with its end slopes. `points` shape all channels alike, each on its own
value; `red`, `green` and `blue` then shape one channel each. Neutrals stay neutral as long
as the three are equal.

Black and negatives: 16 stops and more below mid-grey (light under 2.7e-6) the curve is a
straight line through zero in light, and it is odd-symmetric, so it is continuous through black.
Light above 65504 is carried on here and held by OpenColorIO. A curve that ends flat holds
everything beyond at one value, and has no inverse; any other is exactly invertible.

Source: F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise
cubic interpolants" (1984), as in SciPy's PchipInterpolator.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Annotated, ClassVar, Final, Literal, NamedTuple

import numpy as np
from pydantic import AfterValidator, Field

from lookkit.kernel.formula import Call, Planes, Program, formula, padded
from lookkit.kernel.maths import (
    Plane,
    absolute,
    clip,
    copysign,
    exp2,
    log2,
    maximum,
    minimum,
    unsure,
    where,
)
from lookkit.nodes.base import Node, error_at, light_table, param
from lookkit.spaces.working import MID_GREY, Array, OcioTransform

_ENTRIES: Final = 32769
"""Of the table for OpenColorIO: curves bend sharply at their points."""
LOWEST = -16.0
"""Stops from mid-grey below which the curve is a straight line through zero."""
STEEPEST = 4.0
"""Stops out for one stop in between two points; more would not survive a table."""
_FARTHEST = (-100.0, 40.0)
_FLOOR = MID_GREY * 2.0**LOWEST
_FAINT: Final = 1e-3
"""Of the largest channel: float32 leaves 1e-4 of a channel there, .05 code at the steepest."""


def _rising(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    if len(points) == 1:
        raise error_at((0,), "one point only, expected none or at least two", points[0])
    for index, (before, after) in enumerate(pairwise(points), start=1):
        for place, what in enumerate(("in", "out")):
            if after[place] <= before[place]:
                raise error_at(
                    (index,),
                    f"{what} {after[place]:g} follows {before[place]:g}, expected points whose "
                    "in and out both rise",
                    after,
                )
        slope = (after[1] - before[1]) / (after[0] - before[0])
        if slope > STEEPEST:
            raise error_at(
                (index,),
                f"{slope:.1f} stops out for one stop in, expected at most {STEEPEST:g}",
                after,
            )
    return points


Stops = Annotated[float, Field(ge=LOWEST, le=20.0)]
Points = Annotated[
    tuple[tuple[Stops, Stops], ...],
    AfterValidator(_rising),
]
"""Pairs of stops in and stops out, both rising."""


LENGTHS: Final = (4, 8, 16, 32)


class Segment(NamedTuple):
    """One cubic between two points: where it begins, how long it is, its coefficients."""

    start: float
    length: float
    first: float
    second: float
    third: float


class Shape(NamedTuple):
    """A curve: the height of its first point, its segments, and the slopes beyond its ends."""

    height: float
    low: float
    high: float
    slope_below: float
    slope_above: float
    near_zero: float
    segments: tuple[Segment, ...]


class Shapes(NamedTuple):
    """The curves of the three channels."""

    red: Shape
    green: Shape
    blue: Shape


@formula(LENGTHS)
def shape_tone(r: Plane, g: Plane, b: Plane, p: Shapes) -> Planes:
    """Run each channel through its curve in stops."""
    # A faint channel is what float32 left of a bright light, and a steep curve may lift it.
    sizes = absolute(r), absolute(g), absolute(b)
    unsure(minimum(minimum(*sizes[:2]), sizes[2]) < _FAINT * maximum(maximum(*sizes[:2]), sizes[2]))
    r, g, b = _shaped(r, p.red), _shaped(g, p.green), _shaped(b, p.blue)
    # A print's matrices show the last digits of a negative channel that outweighs the others.
    unsure(minimum(minimum(r, g), b) < -maximum(maximum(r, g), b))
    return r, g, b


def _shaped(light: Plane, p: Shape) -> Plane:
    size = absolute(light)
    stops = log2(maximum(size, _FLOOR) / MID_GREY)
    # Each segment adds what it rises up to here, so no segment has to be looked up.
    out = p.height + 0.0 * stops
    for one in p.segments:
        t = clip(stops - one.start, 0.0, one.length)
        out = out + t * (one.first + t * (one.second + t * one.third))
    out = out + p.slope_below * minimum(stops - p.low, 0.0)
    out = out + p.slope_above * maximum(stops - p.high, 0.0)
    bright = MID_GREY * exp2(clip(out, _FARTHEST[0], _FARTHEST[1]))
    return where(size < _FLOOR, light * p.near_zero, copysign(bright, light))


def _shape(points: tuple[tuple[float, float], ...]) -> Shape:
    """Return the numbers of a curve through points; of no points, a straight line."""
    spline = Spline.through(points or ((-1.0, -1.0), (1.0, 1.0)))
    first, square, cube = spline.coefficients
    segments = [
        Segment(*map(float, numbers))
        for numbers in zip(spline.x[:-1], np.diff(spline.x), first, square, cube, strict=True)
    ]
    near_zero = float(_light_at(spline, np.array(LOWEST))) / _FLOOR
    ends = (float(spline.x[0]), float(spline.x[-1]))
    return Shape(float(spline.y[0]), *ends, *spline.ends, near_zero, tuple(segments))


def _alike(shapes: Sequence[Shape]) -> list[Shape]:
    """Return the shapes with as many segments each."""
    longest = max((one.segments for one in shapes), key=len)
    count = len(padded(longest, _NO_SEGMENT, LENGTHS))
    return [one._replace(segments=padded(one.segments, _NO_SEGMENT, (count,))) for one in shapes]


_NO_SEGMENT: Final = Segment(0.0, 0.0, 0.0, 0.0, 0.0)


class Curve(Node):
    """Shape tone with a curve through points."""

    example: ClassVar[str] = """
        [[look]]
        kind = "curve"
        points = [[-8, -8.5], [-3, -3.2], [0, 0], [4, 3.5], [8, 6.5]]
        blue = [[-8, -7.9], [0, 0], [8, 7.9]]
    """

    kind: Literal["curve"] = "curve"
    points: Points = param(
        (), "pairs [in, out] for all channels; none is the identity", unit="stops from mid-grey"
    )
    red: Points = param((), "pairs for red, after `points`", unit="stops from mid-grey")
    green: Points = param((), "pairs for green, after `points`", unit="stops from mid-grey")
    blue: Points = param((), "pairs for blue, after `points`", unit="stops from mid-grey")

    @cached_property
    def _curves(self) -> tuple[tuple[Spline, ...], ...]:
        """The curves of each channel, in the order in which they are applied."""
        return tuple(
            tuple(Spline.through(points) for points in (self.points, own) if points)
            for own in (self.red, self.green, self.blue)
        )

    def program(self) -> Program:
        """Return each channel through its curves: those of all channels, then its own."""
        calls = []
        if self.points:
            one = _shape(self.points)
            calls.append(Call(shape_tone, Shapes(*_alike([one, one, one]))))
        own = (self.red, self.green, self.blue)
        if any(own):
            calls.append(Call(shape_tone, Shapes(*_alike([_shape(points) for points in own]))))
        return tuple(calls)

    def lower(self) -> list[OcioTransform]:
        """Return a 1D table over light of either sign; beyond 65504 it holds."""
        return light_table(self.evaluate, _ENTRIES) if any(self._curves) else []

    def inverse(self, rgb: Array) -> Array | None:
        """Return the light before the curves, or None if one of them ends flat."""
        if any(0.0 in curve.ends for curves in self._curves for curve in curves):
            return None
        out = np.array(rgb)
        for channel, curves in enumerate(self._curves):
            for curve in reversed(curves):
                out[..., channel] = unshaped(curve, out[..., channel])
        return out

    def warnings(self) -> list[str]:
        """Say where a curve ends flat."""
        found = []
        for name in ("points", "red", "green", "blue"):
            points = getattr(self, name)
            ends = Spline.through(points).ends if points else (1.0, 1.0)
            if ends[0] == 0.0:
                found.append(
                    f"{name} ends flat: all light below {points[0][0]:+g} stops comes out at "
                    f"{points[0][1]:+g} stops; add a point before it"
                )
            if ends[1] == 0.0:
                found.append(
                    f"{name} ends flat: all light above {points[-1][0]:+g} stops comes out at "
                    f"{points[-1][1]:+g} stops; add a point beyond it"
                )
        return found


@dataclass(frozen=True, eq=False)
class Spline:
    """A monotone cubic through points; arrays of shape (points,)."""

    x: Array
    y: Array
    slopes: Array

    @classmethod
    def through(cls, points: tuple[tuple[float, float], ...]) -> Spline:
        """Return the curve through two or more points that rise in both numbers."""
        x, y = np.array(points, dtype=np.float64).T
        return cls(x, y, pchip_slopes(x, y))

    @property
    def ends(self) -> tuple[float, float]:
        """The slopes of the straight lines beyond the first and the last point."""
        return float(self.slopes[0]), float(self.slopes[-1])

    def __call__(self, s: Array) -> Array:
        """Return f(s), any shape."""
        inside = np.clip(s, self.x[0], self.x[-1])
        segment = np.clip(np.searchsorted(self.x, inside, side="right") - 1, 0, len(self.x) - 2)
        t = inside - self.x[segment]
        linear, square, cube = self.coefficients
        value = self.y[segment] + t * (linear[segment] + t * (square[segment] + t * cube[segment]))
        beyond = s - inside
        return np.asarray(value + beyond * np.where(beyond < 0.0, self.slopes[0], self.slopes[-1]))

    @cached_property
    def coefficients(self) -> tuple[Array, Array, Array]:
        """The coefficients of each segment: of t, t^2 and t^3, t from its start."""
        h = np.diff(self.x)
        chord = np.diff(self.y) / h
        first, last = self.slopes[:-1], self.slopes[1:]
        square = (3.0 * chord - 2.0 * first - last) / h
        cube = (first + last - 2.0 * chord) / h**2
        return first, square, cube

    def inverse(self, y: Array) -> Array:
        """Return the s with f(s) = y, any shape, for end slopes above 0."""
        low = np.minimum(self.x[0], self.x[0] + (y - self.y[0]) / self.slopes[0])
        high = np.maximum(self.x[-1], self.x[-1] + (y - self.y[-1]) / self.slopes[-1])
        # Bisection: a cubic may be flat at a point, where Newton's method would jump.
        for _ in range(64):
            middle = 0.5 * (low + high)
            below = self(middle) < y
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.asarray(0.5 * (low + high))


def pchip_slopes(x: Array, y: Array) -> Array:
    """Return the slopes at the points, shape (n,): weighted harmonic means of the chords'.

    At the ends: the three-point formula, limited so that the curve stays monotone.
    """
    h = np.diff(x)
    chord = np.diff(y) / h
    if len(x) == 2:
        return np.repeat(chord, 2)
    slopes = np.zeros_like(x)
    ahead, behind = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
    rising = chord[:-1] * chord[1:] > 0.0
    near, far = np.where(rising, chord[:-1], 1.0), np.where(rising, chord[1:], 1.0)
    slopes[1:-1] = np.where(rising, (ahead + behind) / (ahead / near + behind / far), 0.0)
    slopes[0] = _end_slope(h[0], h[1], chord[0], chord[1])
    slopes[-1] = _end_slope(h[-1], h[-2], chord[-1], chord[-2])
    return slopes


def _end_slope(h: float, h_next: float, chord: float, chord_next: float) -> float:
    slope = ((2.0 * h + h_next) * chord - h * chord_next) / (h + h_next)
    if slope * chord <= 0.0:
        return 0.0
    if chord * chord_next < 0.0 and abs(slope) > 3.0 * abs(chord):
        return 3.0 * chord
    return float(slope)


def unshaped(curve: Spline, light: Array) -> Array:
    """Return the light that `shaped` turns into `light`."""
    floor = _light_at(curve, np.array(LOWEST))
    size = np.maximum(np.abs(light), floor)
    stops = curve.inverse(np.log2(size / MID_GREY))
    outside = np.copysign(MID_GREY * np.exp2(stops), light)
    return np.where(np.abs(light) < floor, light * (_FLOOR / floor), outside)


def _light_at(curve: Spline, stops: Array) -> Array:
    return np.asarray(MID_GREY * np.exp2(np.clip(curve(stops), *_FARTHEST)))
