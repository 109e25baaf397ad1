"""Pictures through the bounded way: what its lattice does not serve goes through the function."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lookkit.bounded.lattice import Indices, Lattice, Pixels, Planes

STRIP = 1 << 16
"""Pixels that are graded at a time by one thread."""

ExactPlanes = Callable[[Planes], Planes]
"""Grades three arrays of 16-bit integers, shape (n,), exactly."""


def grade_planes(
    lattice: Lattice,
    exact: ExactPlanes,
    source: Planes,
    target: Planes,
    width: int,
    workers: Executor,
) -> None:
    """Grade a picture in three planes of 16-bit integers.

    Parameters
    ----------
    exact
        Grades what the lattice does not serve, at most 65536 pixels at a time, on a worker.
    source, target
        C-contiguous planes, shape (rows, at least `width`).
    """
    rows = max(1, STRIP // width)
    strips = [
        _PlanarStrip(_rows(source, at, rows), _rows(target, at, rows), width, exact)
        for at in range(0, len(source[0]), rows)
    ]
    lattice.serve(strips, workers)


def grade_packed(
    lattice: Lattice,
    exact: Callable[[Pixels], npt.NDArray[np.float32]],
    source: Pixels,
    workers: Executor,
) -> Pixels:
    """Grade a picture of float32 pixels, shape (..., 3); return the same shape."""
    flat = np.ascontiguousarray(source, dtype=np.float32).reshape(-1, 3)
    graded = np.empty_like(flat)
    strips = [
        _PackedStrip(flat[at : at + STRIP], graded[at : at + STRIP], exact)
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
    exact: ExactPlanes

    def read(self, lattice: Lattice) -> tuple[Indices, Indices]:
        return lattice.read_planes(self.source, self.target, self.width)

    def read_again(self, lattice: Lattice, pixels: Indices) -> Indices:
        some = self._taken(pixels)
        row = (some[0][None], some[1][None], some[2][None])
        made = (np.empty_like(row[0]), np.empty_like(row[0]), np.empty_like(row[0]))
        left, _ = lattice.read_planes(row, made, len(pixels))
        self._put(pixels, (made[0][0], made[1][0], made[2][0]))
        return pixels[left]

    def grade(self, pixels: Indices) -> None:
        for at in range(0, len(pixels), STRIP):
            some = pixels[at : at + STRIP]
            self._put(some, self.exact(self._taken(some)))

    def _taken(self, pixels: Indices) -> Planes:
        where = np.divmod(pixels, self.width)
        first, second, third = (plane[where] for plane in self.source)
        return first, second, third

    def _put(self, pixels: Indices, values: Planes) -> None:
        where = np.divmod(pixels, self.width)
        for plane, channel in zip(self.target, values, strict=True):
            plane[where] = channel


@dataclass(frozen=True)
class _PackedStrip:
    source: Pixels
    target: Pixels
    exact: Callable[[Pixels], npt.NDArray[np.float32]]

    def read(self, lattice: Lattice) -> tuple[Indices, Indices]:
        return lattice.read_packed(self.source, self.target)

    def read_again(self, lattice: Lattice, pixels: Indices) -> Indices:
        made = np.empty((len(pixels), 3), dtype=np.float32)
        left, _ = lattice.read_packed(self.source[pixels], made)
        self.target[pixels] = made
        return pixels[left]

    def grade(self, pixels: Indices) -> None:
        self.target[pixels] = self.exact(self.source[pixels])
