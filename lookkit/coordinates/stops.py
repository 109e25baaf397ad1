"""Light in stops, without an end at black.

    u = log2(1 + x / c)             x >= 0
    u = -a log2(1 - x / (a c))      x < 0

Far above c one u is one stop; around black it is linear, and below it soon bends away, for light
below black is rare and must not take many points. The equations are ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from lookkit.coordinates.tables import read_even
from lookkit.nodes.base import mirrored_exponent, scale_offset
from lookkit.ocio import table_transform
from lookkit.spaces.working import MID_GREY, Array, OcioTransform

ENTRIES: Final = 2049
_ROOT: Final = 3.0
_BEYOND: Final = (-2.0, 8.0)
"""How far outside the ends light is followed, in u, for points that no light reaches."""


@dataclass(frozen=True)
class Stops:
    """Light from `lowest` to `highest` in stops; what lies beyond is held at these ends."""

    c: float
    a: float
    lowest: float
    highest: float

    @cached_property
    def low(self) -> float:
        """The stops of the lowest light."""
        return float(self.of(np.array(self.lowest)))

    @cached_property
    def high(self) -> float:
        """The stops of the highest light."""
        return float(self.of(np.array(self.highest)))

    def of(self, light: Array) -> Array:
        """Return u."""
        above = np.log1p(np.maximum(light, 0.0) / self.c)
        below = -self.a * np.log1p(np.maximum(-light, 0.0) / (self.a * self.c))
        return np.asarray(np.where(light >= 0.0, above, below) / np.log(2.0))

    def light(self, u: Array) -> Array:
        """Return the light of u."""
        above = self.c * np.expm1(np.maximum(u, 0.0) * np.log(2.0))
        below = -self.a * self.c * np.expm1(np.maximum(-u, 0.0) / self.a * np.log(2.0))
        return np.asarray(np.where(u >= 0.0, above, below))

    def read(self, light: Array) -> Array:
        """Return u as `transforms` gives it."""
        return read_even(np.cbrt(light), self._roots[0], self._roots[-1], self._values)

    def unread(self, u: Array) -> Array:
        """Return the light of u: the inverse of `read` where its table has an entry."""
        read = np.interp(u, self._values, self._roots) ** 3
        beyond = self.light(np.clip(u, self.low + _BEYOND[0], self.high + _BEYOND[1]))
        return np.asarray(np.where((u > self.low) & (u < self.high), read, beyond))

    def transforms(self) -> list[OcioTransform]:
        """Return light to u, 0-1 for its whole range."""
        span = self._roots[-1] - self._roots[0]
        column = (self._values - self.low) / (self.high - self.low)
        return [
            mirrored_exponent(np.full(3, 1.0 / _ROOT)),
            scale_offset(np.full(3, 1.0 / span), np.full(3, -self._roots[0] / span)),
            table_transform(np.repeat(column[:, None], 3, axis=1)),
        ]

    @cached_property
    def _roots(self) -> Array:
        return np.linspace(np.cbrt(self.lowest), np.cbrt(self.highest), ENTRIES)

    @cached_property
    def _values(self) -> Array:
        return self.of(self._roots**3)


LOOK: Final = Stops(c=MID_GREY / 64.0, a=0.2, lowest=-8.0, highest=600.0)
"""For scene light that stays scene light."""
SHOWN: Final = Stops(c=MID_GREY / 50.0, a=0.177, lowest=-1.22, highest=164.0)
"""For scene light on its way to a display."""
