"""What a lattice needs: places for what goes in, and a form for what comes out."""

from __future__ import annotations

from typing import Protocol

from lookkit.spaces.working import Array, OcioTransform


class Places(Protocol):
    """Values to places in a lattice; all arrays (..., 3)."""

    def place(self, values: Array) -> Array:
        """Return where values lie, each coordinate 0-1; what lies beyond is held at the ends."""
        ...

    def values_at(self, place: Array) -> Array:
        """Return the values at a place; the inverse of `place`."""
        ...

    def to_place(self) -> list[OcioTransform]:
        """Return `place` as operations that OpenColorIO and the Common LUT Format have."""
        ...


class Held(Protocol):
    """What a lattice holds for values; all arrays (..., 3)."""

    decimals: tuple[int, int, int]
    """Decimals that what is held needs, by channel."""

    def hold(self, values: Array) -> Array:
        """Return what the lattice holds for values, mostly 0-1."""
        ...

    def release(self, held: Array) -> Array:
        """Return the values of what is held; the inverse of `hold`."""
        ...

    def from_held(self) -> list[OcioTransform]:
        """Return `release` as operations that OpenColorIO and the Common LUT Format have."""
        ...
