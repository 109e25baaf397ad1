"""A lattice over a camera's codes that serves only where it is proved to be within a bound.

A colour's place is its mean code, r - g and b - (r + g) / 2, the two differences spread by
asinh(d / 0.03). In these coordinates a print's error is much the same everywhere, and few
cells of a noisy log picture are bad; on axes R, G, B most are.

Between its points the lattice is read by tetrahedra. Where a function's third derivatives
vanish, linear interpolation in a tetrahedron is off by at most 3/2 of the largest error in the
middles of its six edges: at weights w it is the sum over edges of 4 w_i w_j times the edge's
error, and the sum of w_i w_j is at most 3/8 (our derivation). So a cell is measured in the
middles of all the edges of its tetrahedra, 19 places, and may be off by half a code there.
Where a graph bends sharply, as near black, that alone would not do: a bend that a cell's own
places miss shows in its neighbours. So a cell serves only if all those that touch it are within
half a code too. That the bound holds is then a matter of measurement: over all ten-bit codes,
and in the tests.

Nothing is made before it is needed. Cells that a picture touches are proved, with their
neighbours, before the picture is graded; so results do not depend on what was graded before.
"""

from __future__ import annotations

import ctypes
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from typing import Any, Final, Protocol

import numpy as np
import numpy.typing as npt

from lookkit.bounded.compiled import Header, library
from lookkit.spaces.working import Array

Pixels = npt.NDArray[np.float32]
Indices = npt.NDArray[np.int32]
Planes = tuple[npt.NDArray[np.uint16], npt.NDArray[np.uint16], npt.NDArray[np.uint16]]
Grade = Callable[[Pixels], npt.NDArray[Any]]
"""From R'G'B' codes, shape (n, 3), below zero and above one too, to those of the target."""
Affine = tuple[Array, Array]
"""A 3x3 matrix and an offset: `matrix @ values + offset`."""

FINE: Final = (257, 193, 193)
"""Points along the mean code and the two differences, for targets of more than 8 bits."""
COARSE: Final = (193, 129, 129)
"""The same for targets of 8 bits."""
_SPREAD: Final = 0.03
_BATCH: Final = 4096
"""Cells proved at a time."""
_OPPONENT: Final = np.array([[1 / 3, 1 / 3, 1 / 3], [1.0, -1.0, 0.0], [-0.5, -0.5, 1.0]])


def available() -> bool:
    """Say whether this lookkit was built with the compiled part that the bounded way needs."""
    return library() is not None


class Strip(Protocol):
    """Part of a picture, small enough for one thread."""

    def read(self, lattice: Lattice) -> tuple[Indices, Indices]:
        """Grade all pixels through the lattice; return what `Lattice.read_planes` does."""

    def read_again(self, lattice: Lattice, pixels: Indices) -> Indices:
        """Grade some pixels through the lattice; return those that it does not serve."""

    def grade(self, lattice: Lattice, pixels: Indices) -> None:
        """Grade some pixels through the lattice's function itself."""


class Lattice:
    """Reads and proves.

    Parameters
    ----------
    grade
        The exact function. Called from several threads, with some 10^5 pixels at most.
    source
        From what is read (16-bit integers 0-65535, or floats) to R'G'B' codes.
    target
        From the R'G'B' that `grade` gives to what is written (in the same units).
    codes
        The largest code of the target: errors count in steps of 1 / codes of its R'G'B'.
    shape
        Points along the mean code and the two differences.
    tolerance
        How far a cell, and those that touch it, may be off where they are measured, in codes.
    """

    def __init__(
        self,
        grade: Grade,
        source: Affine,
        target: Affine,
        codes: int,
        *,
        shape: tuple[int, int, int] | None = None,
        tolerance: float = 0.5,
    ) -> None:
        self.grade = grade
        self._tolerance = tolerance / codes
        shape = shape or (FINE if codes > 255 else COARSE)
        self._shape = shape
        self._library = library()
        self._lock = threading.Lock()
        count = int(np.prod(shape))
        room = np.zeros(4 * count + 4, dtype=np.float32)
        skip = -room.ctypes.data // 4 % 4
        self.points = room[skip : skip + 4 * count].reshape(-1, 4)
        self.errors = np.zeros(count, dtype=np.float32)
        reach = np.arcsinh(1.0 / _SPREAD)
        halves = [np.linspace(-1.0, 1.0, 2 * n - 1) for n in shape]
        self._axes = [
            0.5 + 0.5 * halves[0],
            *(_SPREAD * np.sinh(half * reach) for half in halves[1:]),
        ]
        matrix = _OPPONENT @ source[0]
        offset = _OPPONENT @ source[1]
        matrix[1:] /= _SPREAD
        offset[1:] /= _SPREAD
        slopes = [(n - 1) / 2 / (reach / np.log(2)) for n in shape]
        self._header = Header(
            self.points.ctypes.data,
            self.errors.ctypes.data,
            shape,
            (shape[0] - 1, *slopes[1:]),
            (*matrix.ravel(), *offset),
            (*source[0].ravel(), *source[1]),
            (*target[0].ravel(), *target[1]),
            tuple(axis.ctypes.data for axis in self._axes),
        )

    def serve(self, strips: Sequence[Strip], workers: Executor) -> None:
        """Grade the strips of a picture: each cell is proved before a pixel is served from it.

        Several pictures may be graded at a time; `workers` must be free to work on.
        """
        with self._lock:
            found = list(workers.map(lambda strip: strip.read(self), strips))
            cells = np.unique(np.concatenate([cells for _, cells in found]))
            if len(cells):
                self._prove(cells, workers)

        def rest(strip: Strip, pixels: Indices) -> None:
            if len(cells):
                pixels = strip.read_again(self, pixels)
            if len(pixels):
                strip.grade(self, pixels)

        list(workers.map(rest, strips, [pixels for pixels, _ in found]))

    def read_planes(self, source: Planes, target: Planes, width: int) -> tuple[Indices, Indices]:
        """Grade three planes of 16-bit integers into three others, on this thread.

        Returns
        -------
        pixels
            Indices, row * width + column, of those that the lattice does not serve.
        cells
            Those of which nothing is known yet; each is listed but once, until it is proved.
        """
        for planes in (source, target):
            for plane in planes:
                if plane.dtype != np.uint16 or not plane.flags.c_contiguous or plane.ndim != 2:
                    raise ValueError("expected C-contiguous 16-bit planes")
                if plane.shape != planes[0].shape or len(plane) != len(source[0]):
                    raise ValueError(f"planes of {plane.shape} do not fit")
                if plane.shape[1] < width:
                    raise ValueError(f"rows of {plane.shape[1]}, expected {width} or more")
        if not all(plane.flags.writeable for plane in target):
            raise ValueError("the target planes are read-only")
        rows = len(source[0])
        found = _Lists(rows * width)
        self._library.lookkit_lattice_planes(
            self._header, _addresses(source), source[0].shape[1],
            _addresses(target), target[0].shape[1], width, rows, *found.arguments,
        )  # fmt: skip
        return found.lists

    def grade_planes(self, source: Planes, target: Planes, width: int, pixels: Indices) -> None:
        """Send pixels of planes, by their indices, through the function itself."""
        rgb = np.empty((len(pixels), 3), dtype=np.float32)
        self._library.lookkit_lattice_take(
            self._header, _addresses(source), source[0].shape[1], width,
            pixels.ctypes.data, len(pixels), rgb.ctypes.data,
        )  # fmt: skip
        graded = np.ascontiguousarray(self.grade(rgb), dtype=np.float32)
        self._library.lookkit_lattice_put(
            self._header, _addresses(target), target[0].shape[1], width,
            pixels.ctypes.data, len(pixels), graded.ctypes.data,
        )  # fmt: skip

    def read_packed(self, source: Pixels, target: Pixels) -> tuple[Indices, Indices]:
        """Grade C-contiguous float32 pixels, shape (n, 3), into others; see `read_planes`."""
        for pixels in (source, target):
            if pixels.dtype != np.float32 or not pixels.flags.c_contiguous:
                raise ValueError("expected C-contiguous float32 pixels")
            if pixels.shape != (len(source), 3):
                raise ValueError(f"pixels of {pixels.shape} do not fit")
        found = _Lists(len(source))
        self._library.lookkit_lattice_packed(
            self._header, source.ctypes.data, target.ctypes.data, len(source), *found.arguments
        )
        return found.lists

    def _prove(self, cells: Indices, workers: Executor) -> None:
        """Prove cells, and measure their neighbours for it."""
        fresh = np.empty(27 * len(cells), dtype=np.int32)
        count = self._library.lookkit_lattice_unmeasured(
            self._header, cells.ctypes.data, len(cells), fresh.ctypes.data
        )
        fresh = np.sort(fresh[:count])
        parts = [fresh[at : at + _BATCH] for at in range(0, count, _BATCH)]
        list(workers.map(self._measure, parts))
        self._library.lookkit_lattice_judge(
            self._header, cells.ctypes.data, len(cells), self._tolerance
        )

    def _measure(self, cells: Indices) -> None:
        count = len(cells)
        room = 1 << int(54 * count - 1).bit_length()
        table = np.empty((room, 2), dtype=np.int32)
        codes = np.empty((27 * count, 3), dtype=np.float32)
        index = np.empty(27 * count, dtype=np.int32)
        probes = self._library.lookkit_lattice_probes(
            self._header, cells.ctypes.data, count, table.ctypes.data, room,
            codes.ctypes.data, index.ctypes.data,
        )  # fmt: skip
        values = np.ascontiguousarray(self.grade(codes[:probes]), dtype=np.float32)
        self._library.lookkit_lattice_measure(
            self._header, cells.ctypes.data, count, values.ctypes.data, index.ctypes.data
        )


class _Lists:
    """Room for the pixels and cells that a reading lists."""

    def __init__(self, count: int) -> None:
        self._pixels = np.empty(count + 1, dtype=np.int32)
        self._cells = np.empty(count + 1, dtype=np.int32)
        self._counts = np.zeros(2, dtype=np.int64)
        self.arguments = tuple(
            array.ctypes.data for array in (self._pixels, self._cells, self._counts)
        )

    @property
    def lists(self) -> tuple[Indices, Indices]:
        """Copies of what was listed."""
        pixels, cells = (int(count) for count in self._counts)
        return self._pixels[:pixels].copy(), self._cells[:cells].copy()


def _addresses(planes: Planes) -> Any:
    return (ctypes.c_void_p * 3)(*(plane.ctypes.data for plane in planes))
