"""Display light by its power of 1/2.4, evenly, so that points lie as a display's codes do."""

from __future__ import annotations

import numpy as np

from lookkit.nodes.base import mirrored_exponent, power_mirrored, scale_offset
from lookkit.spaces.working import Array, OcioTransform

GAMMA = 2.4


class DisplayLight:
    """Display light from 0 to `peak`, 1.0 = 100 cd/m2, its highest value."""

    decimals = (4, 4, 4)

    def __init__(self, peak: float) -> None:
        self.peak = peak
        self._scale = np.full(3, 1.0 / peak)
        self._exponent = np.full(3, 1.0 / GAMMA)

    def place(self, values: Array) -> Array:
        """Return the place of display light."""
        return np.asarray(np.clip(values / self.peak, 0.0, 1.0) ** self._exponent)

    def values_at(self, place: Array) -> Array:
        """Return the display light at a place."""
        return np.asarray(self.peak * place**GAMMA)

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
