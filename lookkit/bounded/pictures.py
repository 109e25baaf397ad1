"""Pictures through the bounded way: what its lattice does not serve goes through the function."""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Final

import numpy as np

from lookkit.bounded.lattice import Indices, Lattice, Pixels, Planes

STRIP: Final = 1 << 16
"""Pixels that are graded at a time by one thread."""


def grade_planes(
    lattice: Lattice, source: Planes, target: Planes, width: int, workers: Executor
) -> None:
    """Grade a picture in three planes of 16-bit integers.

    Both are C-contiguous planes, shape (rows, at least `width`).
    """
    rows = max(1, STRIP // width)
    strips = [
        _PlanarStrip(_rows(source, at, rows), _rows(target, at, rows), width)
        for at in range(0, len(source[0]), rows)
    ]
    lattice.serve(strips, workers)


def grade_packed(lattice: Lattice, source: Pixels, workers: Executor) -> Pixels:
    """Grade a picture of float32 pixels, shape (..., 3); return the same shape."""
    flat = np.ascontiguousarray(source, dtype=np.float32).reshape(-1, 3)
    graded = np.empty_like(flat)
    strips = [
        _PackedStrip(flat[at : at + STRIP], graded[at : at + STRIP])
        for at in range(0, len(flat), STRIP)
    ]
    lattice.serve(strips, workers)
    return graded.reshape(source.shape)


def _rows(planes: Planes, start: int, count: int) -> Planes:
    first, second, third = (plane[start : start + count] for plane in planes)
    return first, second, third


@dataclass(frozen=True)
class _PlanarStrip:
    source: Planes
    target: Planes
    width: int

    def read(self, lattice: Lattice) -> tuple[Indices, Indices]:
        return lattice.read_planes(self.source, self.target, self.width)

    def read_again(self, lattice: Lattice, pixels: Indices) -> Indices:
        where = np.divmod(pixels, self.width)
        first, second, third = (plane[where][None] for plane in self.source)
        made = (np.empty_like(first), np.empty_like(first), np.empty_like(first))
        left, _ = lattice.read_planes((first, second, third), made, len(pixels))
        for plane, values in zip(self.target, made, strict=True):
            plane[where] = values[0]
        return pixels[left]

    def grade(self, lattice: Lattice, pixels: Indices) -> None:
        lattice.grade_planes(self.source, self.target, self.width, pixels)


@dataclass(frozen=True)
class _PackedStrip:
    source: Pixels
    target: Pixels

    def read(self, lattice: Lattice) -> tuple[Indices, Indices]:
        return lattice.read_packed(self.source, self.target)

    def read_again(self, lattice: Lattice, pixels: Indices) -> Indices:
        made = np.empty((len(pixels), 3), dtype=np.float32)
        left, _ = lattice.read_packed(self.source[pixels], made)
        self.target[pixels] = made
        return pixels[left]

    def grade(self, lattice: Lattice, pixels: Indices) -> None:
        self.target[pixels] = lattice.grade(self.source.take(pixels, axis=0))
