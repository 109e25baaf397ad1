r"""Scene light in a lattice.

Scene light is placed by three cones in stops:

    x     = N in                     from AP1 to cones, each mixed a little with the others
    u     = stops of x               `stops.py`
    place = (mean u, d1, d2)         two differences of u that are 0 for greys

Almost all light has positive cones, so twice the light moves every colour alike along the first
axis, and hues stay where they are on the others. Both are spread by asinh, so that most points lie
near grey. Greys lie on points of the lattice whatever its size.

Light that stays scene light is placed by Oklab's cones: the third axis follows daylight from blue
to amber, along which pictures vary most; the second crosses it, which is the way in which hue
turns. Light on its way to a display is placed by cones near those of a film, whose layers part the
colours. The numbers were searched on shipped looks.

Sources: cones of Oklab, B. Ottosson (2020), see `spaces/oklab.py`; the rest is ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final

import numpy as np

from lookkit.coordinates import stops
from lookkit.coordinates.stops import ENTRIES, Stops
from lookkit.coordinates.tables import read_even
from lookkit.nodes.base import matrix_transform
from lookkit.ocio import table_transform
from lookkit.spaces.oklab import CONES
from lookkit.spaces.working import Array, OcioTransform

_MIXED: Final = 0.03
"""The share of all cones together in each: light with a channel of -10 % stays positive."""
_PLACES: Final[Array] = np.linspace(0.0, 1.0, ENTRIES)
_HELD: Final = (8.0, 10.0)
"""Stops that a lattice's second and third number span, with grey in their middle: 0.5."""


@dataclass(frozen=True, eq=False)
class Axes:
    """How scene light is placed.

    Attributes
    ----------
    stops
        Of one cone.
    cones
        From AP1; rows sum to one.
    to_axes
        From the stops of cones; the second and the third row sum to nothing.
    aside
        Where the second and the third axis start and end, in stops.
    near_grey
        The differences, in stops, up to which points lie evenly; beyond, ever farther apart.
    """

    stops: Stops
    cones: Array
    to_axes: Array
    aside: tuple[tuple[float, float], tuple[float, float]]
    near_grey: tuple[float, float]

    @cached_property
    def from_cones(self) -> Array:
        """The inverse of `cones`."""
        return np.asarray(np.linalg.inv(self.cones))

    @cached_property
    def from_axes(self) -> Array:
        """The inverse of `to_axes`."""
        return np.asarray(np.linalg.inv(self.to_axes))

    @cached_property
    def starts(self) -> Array:
        """Where the axes start, shape (3,)."""
        return np.array([self.stops.low, *(low for low, _ in self.aside)])

    @cached_property
    def spans(self) -> Array:
        """How long the axes are, shape (3,): such that 0 of a difference is an entry of tables."""
        lows = [low for low, _ in self.aside]
        spans = [-low * (ENTRIES - 1) / self.entry_of_grey(k) for k, low in enumerate(lows)]
        return np.array([self.stops.high - self.stops.low, *spans])

    def entry_of_grey(self, difference: int) -> int:
        """Return the entry of an axis' table at which the difference is 0, exactly."""
        low, high = self.aside[difference]
        return round(-low / (high - low) * (ENTRIES - 1))


LOOK: Final = Axes(
    stops=stops.LOOK,
    cones=(1.0 - _MIXED) * CONES + _MIXED * CONES.mean(axis=0),
    to_axes=np.array([[1 / 3, 1 / 3, 1 / 3], [0.8, -1.2, 0.4], [-0.5, -0.5, 1.0]]),
    aside=((-3.1, 3.5), (-3.85, 4.067)),
    near_grey=(0.15, 1.1),
)
"""For scene light that stays scene light."""
SHOWN: Final = Axes(
    stops=stops.SHOWN,
    cones=np.array([[0.850, 0.005, 0.145], [0.037, 0.826, 0.137], [0.100, 0.071, 0.829]]),
    to_axes=np.array([[1 / 3, 1 / 3, 1 / 3], [0.825, -0.946, 0.121], [-0.358, -0.493, 0.851]]),
    aside=((-7.64, 8.92), (-3.68, 4.15)),
    near_grey=(0.427, 0.677),
)
"""For scene light on its way to a display."""


class SceneColours:
    """Scene light, AP1, in a lattice of `size` points an edge."""

    def __init__(self, size: int, axes: Axes = LOOK) -> None:
        self.size = size
        self.axes = axes

    def place(self, values: Array) -> Array:
        """Return the place of scene light."""
        axes = self.axes
        u = axes.stops.read(values @ axes.cones.T)
        even = np.clip((u @ axes.to_axes.T - axes.starts) / axes.spans, 0.0, 1.0)
        columns = [read_even(even[..., k], 0.0, 1.0, self._spread[:, k]) for k in range(3)]
        return np.stack(columns, axis=-1)

    def values_at(self, place: Array) -> Array:
        """Return the scene light at a place."""
        axes = self.axes
        columns = [np.interp(place[..., k], self._spread[:, k], _PLACES) for k in range(3)]
        u = (axes.starts + np.stack(columns, axis=-1) * axes.spans) @ axes.from_axes.T
        return np.asarray(axes.stops.unread(u) @ axes.from_cones.T)

    def to_place(self) -> list[OcioTransform]:
        """Return matrix, cube root, 1D, matrix, 1D."""
        axes = self.axes
        rows = axes.to_axes * (axes.stops.high - axes.stops.low) / axes.spans[:, None]
        offset = (axes.to_axes @ np.full(3, axes.stops.low) - axes.starts) / axes.spans
        return [
            matrix_transform(axes.cones),
            *axes.stops.transforms(),
            matrix_transform(rows, np.asarray(offset)),
            table_transform(self._spread),
        ]

    @property
    def _spread(self) -> Array:
        """The place along each axis at equal steps of it, shape (entries, 3)."""
        return _spread(self.size, self.axes)


class HeldColours:
    """Scene light as the stops of Oklab's cones along the axes of `LOOK`, without spreading."""

    decimals = (5, 4, 4)

    def hold(self, values: Array) -> Array:
        """Return stops and two differences, mostly 0-1."""
        u = np.interp(values @ CONES.T, _LIGHT_TABLE, _U_TABLE)
        return np.asarray((u @ LOOK.to_axes.T - _HELD_STARTS) / _HELD_SPANS)

    def release(self, held: Array) -> Array:
        """Return the scene light of what is held."""
        u = (_HELD_STARTS + held * _HELD_SPANS) @ LOOK.from_axes.T
        return np.asarray(read_even(u, _U_TABLE[0], _U_TABLE[-1], _LIGHT_TABLE) @ _FROM_CONES.T)

    def from_held(self) -> list[OcioTransform]:
        """Return matrix, 1D, matrix."""
        first, last = _U_TABLE[0], _U_TABLE[-1]
        rows = LOOK.from_axes * _HELD_SPANS / (last - first)
        offset = (LOOK.from_axes @ _HELD_STARTS - first) / (last - first)
        return [
            matrix_transform(rows, offset),
            table_transform(np.repeat(_LIGHT_TABLE[:, None], 3, axis=1)),
            matrix_transform(_FROM_CONES),
        ]


@lru_cache(maxsize=8)
def _spread(size: int, axes: Axes) -> Array:
    columns = [_PLACES]
    for k, near in enumerate(axes.near_grey):
        difference = axes.starts[k + 1] + _PLACES * axes.spans[k + 1]
        place = np.arcsinh(difference / near)
        place = (place - place[0]) / (place[-1] - place[0])
        grey = place[axes.entry_of_grey(k)]
        at = round(grey * (size - 1)) / (size - 1)
        below, above = place / grey * at, at + (place - grey) / (1.0 - grey) * (1.0 - at)
        columns.append(np.where(place < grey, below, above))
    return np.stack(columns, axis=-1)


_HELD_SPANS: Final[Array] = np.array([stops.LOOK.high - stops.LOOK.low, *_HELD])
_HELD_STARTS: Final[Array] = np.array([stops.LOOK.low, *(-0.5 * span for span in _HELD)])
_FROM_CONES: Final[Array] = np.asarray(np.linalg.inv(CONES), dtype=np.float64)
_U_TABLE: Final[Array] = np.linspace(stops.LOOK.low - 0.5, stops.LOOK.high + 0.5, ENTRIES)
_LIGHT_TABLE: Final[Array] = stops.LOOK.light(_U_TABLE)
