r"""Where colours lie in a lattice, and how a lattice holds what comes out.

A lattice is exact at its points and straight between them. So its axes should be such that what
happens to pictures bends little along them, and its points should be where pictures are.

Scene light is placed by three cones in stops:

    x     = N in                                   AP1 to Oklab's cones, mixed a little
    u     = log2(1 + x / c)             x >= 0,    c = 0.18 / 64
    u     = -a log2(1 - x / (a c))      x < 0,     a = 0.2
    place = ((u_L + u_M + u_S) / 3, u_L - u_M + 0.4 d, d),   d = u_S - (u_L + u_M) / 2

Almost all light has positive cones, so twice the light moves every colour alike along the first
axis, and hues stay where they are on the others. The third axis follows daylight from blue to
amber, along which pictures vary most; the second crosses it, which is the way in which hue turns.
Both are spread by asinh, so that most points lie near grey. Greys lie on points of the lattice
whatever its size. The numbers were searched on three of the shipped looks.

Display light is placed by its power of 1/2.4, evenly, so that points lie as a display's codes do.

Sources: cones of Oklab, B. Ottosson (2020), see `spaces/oklab.py`; the rest is ours.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property, lru_cache
from typing import Final, Protocol

import numpy as np

from lookkit.nodes.base import (
    matrix_transform,
    mirrored_exponent,
    power_mirrored,
    scale_offset,
)
from lookkit.ocio import table_transform
from lookkit.spaces.oklab import CONES
from lookkit.spaces.working import MID_GREY, Array, OcioTransform, State

LOWEST = -8.0
HIGHEST = 600.0
"""Cone light that is carried: 11.7 stops over mid-grey; beyond is held at these ends."""

_ENTRIES: Final = 2049
_C: Final = MID_GREY / 64.0
_A: Final = 0.2
_MIXED: Final = 0.03
"""The share of all cones together in each: light with a channel of -10 % stays positive."""
_ROOT: Final = 3.0
_TO_AXES: Final[Array] = np.array([[1 / 3, 1 / 3, 1 / 3], [0.8, -1.2, 0.4], [-0.5, -0.5, 1.0]])
_FROM_AXES: Final[Array] = np.asarray(np.linalg.inv(_TO_AXES), dtype=np.float64)
_ASIDE: Final = ((-3.1, 0.4697), (-3.85, 0.4863))
"""Where the second and the third axis start, in stops, and which part of them lies below grey."""
_HELD: Final = (8.0, 10.0)
"""Stops that a lattice's second and third number span, with grey in their middle: 0.5."""
_NEAR_GREY: Final = (0.15, 1.1)
"""The differences, in stops, up to which points lie evenly; beyond, ever farther apart."""
_BEYOND: Final = (-2.0, 8.0)
"""How far outside its ends a cone is followed, in u, for points that no light reaches."""
_GAMMA: Final = 2.4
_PLACES: Final[Array] = np.linspace(0.0, 1.0, _ENTRIES)


class Coordinates(Protocol):
    """Values to places in a lattice, and what it holds to values; all arrays (..., 3).

    A step that nothing but a lattice can say may bring coordinates of its own: its `placing` or
    `holding`, a function of the lattice's points an edge.
    """

    decimals: tuple[int, int, int]
    """Decimals that what is held needs, by channel."""

    def place(self, values: Array) -> Array:
        """Return where values lie, each coordinate 0-1; what lies beyond is held at the ends."""
        ...

    def values_at(self, place: Array) -> Array:
        """Return the values at a place; the inverse of `place`."""
        ...

    def to_place(self) -> list[OcioTransform]:
        """Return `place` as operations that OpenColorIO and the Common LUT Format have."""
        ...

    def hold(self, values: Array) -> Array:
        """Return what the lattice holds for values, mostly 0-1."""
        ...

    def release(self, held: Array) -> Array:
        """Return the values of what is held; the inverse of `hold`."""
        ...

    def from_held(self) -> list[OcioTransform]:
        """Return `release` as operations that OpenColorIO and the Common LUT Format have."""
        ...


MakesCoordinates = Callable[[int], Coordinates]
"""Coordinates for a lattice of so many points an edge."""


class SceneColours:
    """Scene light, AP1, in a lattice of `size` points an edge."""

    decimals = (5, 4, 4)

    def __init__(self, size: int) -> None:
        self.size = size

    def place(self, values: Array) -> Array:
        """Return the place of scene light."""
        even = (_roots_to_stops(values @ _MIXED_CONES.T) @ _TO_AXES.T - _STARTS) / _SPANS
        even = np.clip(even, 0.0, 1.0)
        columns = [np.interp(even[..., k], _PLACES, self._spread[:, k]) for k in range(3)]
        return np.stack(columns, axis=-1)

    def values_at(self, place: Array) -> Array:
        """Return the scene light at a place."""
        columns = [np.interp(place[..., k], self._spread[:, k], _PLACES) for k in range(3)]
        u = (_STARTS + np.stack(columns, axis=-1) * _SPANS) @ _FROM_AXES.T
        return _stops_to_light(u) @ _FROM_MIXED_CONES.T

    def to_place(self) -> list[OcioTransform]:
        """Return matrix, cube root, 1D, matrix, 1D."""
        return [
            *_to_stops(),
            matrix_transform(_TO_AXES * _U_SPAN / _SPANS[:, None], _u_offset()),
            table_transform(self._spread),
        ]

    def hold(self, values: Array) -> Array:
        """Return stops of cones as the axes have them, of unmixed cones, without spreading."""
        return np.asarray((_held_stops(values @ CONES.T) @ _TO_AXES.T - _HELD_STARTS) / _HELD_SPANS)

    def release(self, held: Array) -> Array:
        """Return the scene light of what is held."""
        u = (_HELD_STARTS + held * _HELD_SPANS) @ _FROM_AXES.T
        return np.asarray(np.interp(u, _U_TABLE, _LIGHT_TABLE) @ _FROM_CONES.T)

    def from_held(self) -> list[OcioTransform]:
        """Return matrix, 1D, matrix."""
        first, last = _U_TABLE[0], _U_TABLE[-1]
        rows = _FROM_AXES * _HELD_SPANS / (last - first)
        offset = (_FROM_AXES @ _HELD_STARTS - first) / (last - first)
        return [
            matrix_transform(rows, offset),
            table_transform(np.repeat(_LIGHT_TABLE[:, None], 3, axis=1)),
            matrix_transform(_FROM_CONES),
        ]

    @cached_property
    def _spread(self) -> Array:
        """The place along each axis at equal steps of it, shape (entries, 3)."""
        return _spread(self.size)


class DisplayLight:
    """Display light from 0 to `peak`, 1.0 = 100 cd/m2, its highest value."""

    decimals = (4, 4, 4)

    def __init__(self, peak: float) -> None:
        self.peak = peak
        self._scale = np.full(3, 1.0 / peak)
        self._exponent = np.full(3, 1.0 / _GAMMA)

    def place(self, values: Array) -> Array:
        """Return the place of display light."""
        return np.asarray(np.clip(values / self.peak, 0.0, 1.0) ** self._exponent)

    def values_at(self, place: Array) -> Array:
        """Return the display light at a place."""
        return np.asarray(self.peak * place**_GAMMA)

    def to_place(self) -> list[OcioTransform]:
        """Return a scaling, a clamp and a power."""
        from lookkit.spaces.ocio_ops import clip

        return [scale_offset(self._scale), clip(0.0, 1.0), mirrored_exponent(self._exponent)]

    def hold(self, values: Array) -> Array:
        """Return the power of 1/2.4; negatives are mirrored."""
        return power_mirrored(values / self.peak, self._exponent)

    def release(self, held: Array) -> Array:
        """Return the display light of what is held."""
        return np.asarray(self.peak * power_mirrored(held, 1.0 / self._exponent))

    def from_held(self) -> list[OcioTransform]:
        """Return a power and a scaling."""
        return [mirrored_exponent(1.0 / self._exponent), scale_offset(1.0 / self._scale)]


class Signal:
    """Display codes, held as they are; they are no place."""

    decimals = (5, 5, 5)

    def hold(self, values: Array) -> Array:
        """Return the codes."""
        return values

    def release(self, held: Array) -> Array:
        """Return the codes."""
        return held

    def from_held(self) -> list[OcioTransform]:
        """Return nothing to do."""
        return []


def stop_of(light: float) -> float:
    """Return u of one cone."""
    return float(_stops(np.array(light)))


def _stops(x: Array) -> Array:
    above = np.log1p(np.maximum(x, 0.0) / _C)
    below = -_A * np.log1p(np.maximum(-x, 0.0) / (_A * _C))
    return np.asarray((above + below) / np.log(2.0))


def _light(u: Array) -> Array:
    above = _C * np.expm1(np.maximum(u, 0.0) * np.log(2.0))
    below = -_A * _C * np.expm1(np.maximum(-u, 0.0) / _A * np.log(2.0))
    return np.asarray(np.where(u >= 0.0, above, below))


def _roots_to_stops(x: Array) -> Array:
    return np.asarray(np.interp(np.cbrt(x), _ROOTS, _STOPS_TABLE))


def _stops_to_light(u: Array) -> Array:
    """Return the light of u; the inverse of what the table makes of it, where it has an entry."""
    read = np.interp(u, _STOPS_TABLE, _ROOTS) ** 3
    beyond = _light(np.clip(u, _LOW + _BEYOND[0], _HIGH + _BEYOND[1]))
    return np.asarray(np.where((u > _LOW) & (u < _HIGH), read, beyond))


def _held_stops(x: Array) -> Array:
    """Return the u that the table of what is held turns into x."""
    return np.asarray(np.interp(x, _LIGHT_TABLE, _U_TABLE))


def _to_stops() -> list[OcioTransform]:
    """Return light to u of mixed cones, 0-1 for its whole range."""
    span = _ROOTS[-1] - _ROOTS[0]
    column = (_STOPS_TABLE - _LOW) / _U_SPAN
    return [
        matrix_transform(_MIXED_CONES),
        mirrored_exponent(np.full(3, 1.0 / _ROOT)),
        scale_offset(np.full(3, 1.0 / span), np.full(3, -_ROOTS[0] / span)),
        table_transform(np.repeat(column[:, None], 3, axis=1)),
    ]


def _u_offset() -> Array:
    return np.asarray((_TO_AXES @ np.full(3, _LOW) - _STARTS) / _SPANS)


@lru_cache(maxsize=8)
def _spread(size: int) -> Array:
    columns = [_PLACES]
    for axis, near in enumerate(_NEAR_GREY, start=1):
        difference = _STARTS[axis] + _PLACES * _SPANS[axis]
        place = np.arcsinh(difference / near)
        place = (place - place[0]) / (place[-1] - place[0])
        grey = place[_entry_of_grey(axis)]
        at = round(grey * (size - 1)) / (size - 1)
        below, above = place / grey * at, at + (place - grey) / (1.0 - grey) * (1.0 - at)
        columns.append(np.where(place < grey, below, above))
    return np.stack(columns, axis=-1)


def _entry_of_grey(axis: int) -> int:
    """Return the entry of an axis' table at which the difference is 0, exactly."""
    return round(_ASIDE[axis - 1][1] * (_ENTRIES - 1))


_LOW, _HIGH = stop_of(LOWEST), stop_of(HIGHEST)
_U_SPAN = _HIGH - _LOW
_STARTS: Final[Array] = np.array([_LOW, *(low for low, _ in _ASIDE)])
_SPANS: Final[Array] = np.array(
    [
        _U_SPAN,
        *(-low * (_ENTRIES - 1) / _entry_of_grey(k) for k, (low, _) in enumerate(_ASIDE, start=1)),
    ]
)
_HELD_SPANS: Final[Array] = np.array([_U_SPAN, *_HELD])
_HELD_STARTS: Final[Array] = np.array([_LOW, *(-0.5 * span for span in _HELD)])
_MIXED_CONES: Final[Array] = (1.0 - _MIXED) * CONES + _MIXED * CONES.mean(axis=0)
_FROM_MIXED_CONES: Final[Array] = np.asarray(np.linalg.inv(_MIXED_CONES), dtype=np.float64)
_FROM_CONES: Final[Array] = np.asarray(np.linalg.inv(CONES), dtype=np.float64)
_ROOTS: Final[Array] = np.linspace(np.cbrt(LOWEST), np.cbrt(HIGHEST), _ENTRIES)
_STOPS_TABLE: Final[Array] = _stops(_ROOTS**3)
_U_TABLE: Final[Array] = np.linspace(_LOW - 0.5, _HIGH + 0.5, _ENTRIES)
_LIGHT_TABLE: Final[Array] = _light(_U_TABLE)


def placed_by(state: State, peak: float) -> MakesCoordinates | None:
    """Return the coordinates for values of a state that go into a lattice, or None.

    Parameters
    ----------
    peak
        The most display light, 1.0 = 100 cd/m2.
    """
    if state == State.SCENE:
        return SceneColours
    return (lambda size: DisplayLight(peak)) if state == State.DISPLAY else None
