"""Grading the planes of a picture: Y'CbCr or R'G'B' integers through any function of R'G'B'.

Every pixel can go through the function itself. For long clips a lattice of it is faster: it
is baked once and measured against the function in every cell, and pixels in cells where it is
off by more than half a code still go through the function.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from lookkit.media.coding import Coding
from lookkit.ocio import PlanarProcessor, Planes, Processor, cores
from lookkit.spaces import ranges
from lookkit.spaces.working import Array

if TYPE_CHECKING:
    from lookkit.look import Look

Pixels = npt.NDArray[np.float32]

Grade = Callable[[Pixels], Pixels]
"""From R'G'B' codes of one coding to those of another, shape (n, 3), 0-1 for all integers."""

LATTICE_SIZE: Final = 129
TOLERANCE: Final = 0.5
"""How far, in codes of the target, a lattice may be off."""
LATTICE_PIXELS: Final = 60_000_000
"""Clips of at least so many pixels get a lattice: baking and measuring one costs a quarter."""
LATTICE_BITS: Final = 12
"""Targets of more bits are never graded through a lattice."""

_STRIP: Final = 1 << 16
_STRIPS: Final = 4
"""Strips of a picture for each core when they go through a lattice."""
_PROBES: Final = np.array(
    [(0.5, 0.5, 0.5), (0.5, 0.5, 0.0), (0.5, 0.0, 0.5), (0.0, 0.5, 0.5), (0.8, 0.4, 0.2)]
)
"""Where in each cell a lattice is measured: centre, three faces and one place aside."""
_FLAG: Final = 1e15
"""What a point has whose cells are off: any share of it saturates the 16-bit result."""
_FLAGGED: Final = 65535


class Grader:
    """Grades pictures of one coding to another.

    Parameters
    ----------
    grade
        Takes R'G'B' codes of `source` (clipped to its integers) and gives those of `target`.
        Called from several threads at once, with at most 65536 pixels.
    source, target
        How the integers carry R'G'B'.
    lattice
        Points per edge; 0 sends every pixel through `grade`.
    tolerance
        The largest error of the lattice in codes of `target`; infinity takes it as it is.
    """

    def __init__(
        self,
        grade: Grade,
        source: Coding,
        target: Coding,
        *,
        lattice: int = 0,
        tolerance: float = TOLERANCE,
    ) -> None:
        self.grade = grade
        self.source = source
        self.target = target
        self._to_rgb = _single(source.to_rgb())
        self._from_rgb = _single(target.from_rgb())
        self._lattice: PlanarProcessor | None = None
        self.flagged_cells = 0.0
        """The share of the lattice's cells that are off by more than the tolerance."""
        if lattice and target.bits <= LATTICE_BITS:
            self._lattice = self._bake(lattice, tolerance)

    def planes(self, source: Planes, target: Planes, width: int) -> None:
        """Grade a picture into `target`.

        Both are three planes (Y', Cb, Cr or R', G', B') of C-contiguous 16-bit integers,
        shape (rows, at least `width`), codes in the upper bits as `Coding` has them; the
        target keeps the bits below its own depth, for whoever rounds last.
        """
        rows = max(1, _STRIP // width)
        if self._lattice is not None:
            # Few strips: OpenColorIO goes line by line anyway, and each call has its price.
            rows = max(rows, -(-len(source[0]) // (_STRIPS * cores())))

        def work(start: int) -> None:
            stop = start + rows
            self._strip(
                (source[0][start:stop], source[1][start:stop], source[2][start:stop]),
                (target[0][start:stop], target[1][start:stop], target[2][start:stop]),
                width,
            )

        list(_workers().map(work, range(0, len(source[0]), rows)))

    def _strip(self, source: Planes, target: Planes, width: int) -> None:
        if self._lattice is None:
            exact = self._exact(*(plane[:, :width].reshape(-1) for plane in source))
            for plane, values in zip(target, exact, strict=True):
                plane[:, :width] = values.reshape(-1, width)
            return
        self._lattice.apply(source, target, width)
        first = target[0][:, :width]
        if self.flagged_cells and first.max() == _FLAGGED:
            where = np.nonzero(first == _FLAGGED)
            for at in range(0, len(where[0]), _STRIP):
                some = (where[0][at : at + _STRIP], where[1][at : at + _STRIP])
                exact = self._exact(*(plane[some] for plane in source))
                for plane, values in zip(target, exact, strict=True):
                    plane[some] = values

    def _exact(self, *planes: npt.NDArray[np.uint16]) -> list[npt.NDArray[np.uint16]]:
        """Send pixels, three arrays of shape (n,), through the function itself."""
        values = [plane.astype(np.float32) for plane in planes]
        for plane in values:
            plane *= np.float32(1 / 65535)
        rgb = np.empty((len(values[0]), 3), dtype=np.float32)
        for channel, mixed in enumerate(_mixed(self._to_rgb, values)):
            np.clip(mixed, 0.0, 1.0, out=rgb[:, channel])
        graded = self.grade(rgb)
        coded = _mixed(self._from_rgb, [graded[:, channel] for channel in range(3)])
        return [_rounded(channel) for channel in coded]

    def _bake(self, size: int, tolerance: float) -> PlanarProcessor:
        from lookkit.nodes.base import matrix_transform

        axis = np.linspace(0.0, 1.0, size, dtype=np.float32)
        points = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
        nodes = np.stack([self._in_strips(plane.reshape(-1, 3)) for plane in points])
        nodes = nodes.reshape(size, size, size, 3)
        off = np.zeros((size, size, size), dtype=bool)
        if np.isfinite(tolerance):
            cells = self._cells_off(nodes, tolerance)
            self.flagged_cells = float(cells.mean())
            for corner in np.ndindex(2, 2, 2):
                part = tuple(slice(c, c + size - 1) for c in corner)
                off[part] |= cells
        matrix, offset = self.target.from_rgb()
        coded = np.clip(nodes @ matrix.T + offset, 0.0, _top(self.target))
        coded[off, 0] = _FLAG
        return PlanarProcessor([matrix_transform(*self.source.to_rgb()), _lut(coded)])

    def _cells_off(self, nodes: Pixels, tolerance: float) -> npt.NDArray[np.bool_]:
        """Return which cells are off by more than the tolerance, shape (size - 1,) * 3."""
        size = len(nodes)
        read = Processor([_lut(nodes)])
        steps = np.arange(size - 1)
        grid = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1)
        off = np.empty((size - 1,) * 3, dtype=bool)
        for red in steps:
            corner = np.concatenate([np.full((*grid.shape[:2], 1), red), grid], axis=-1)
            probes = (corner[:, :, None] + _PROBES) / (size - 1)
            probes = probes.astype(np.float32).reshape(-1, 3)
            error = np.abs(read.apply(probes) - self._in_strips(probes)).max(axis=-1)
            worst = error.reshape(size - 1, size - 1, -1).max(axis=-1)
            off[red] = worst * self.target.top > tolerance
        return off

    def _in_strips(self, pixels: Pixels) -> Pixels:
        strips = [pixels[at : at + _STRIP] for at in range(0, len(pixels), _STRIP)]
        return np.concatenate(list(_workers().map(self.grade, strips)))


def grade_of(
    look: Look,
    source: Coding,
    target: Coding,
    *,
    camera: str,
    output: str,
    scene: str | None = None,
) -> Grade:
    """Return a look as a function between the R'G'B' codes of two files.

    Codes are carried from the source's range and depth to those that the camera's chain
    takes, and from those that the output gives to the target's; beyond black and white
    they are carried too, as far as the integers go.
    """
    display = look.graph.output(output)
    taken = taken_range(look, source, camera)
    given = ranges.scale_offset(display.range, target.range, display.bits, target.bits)

    def grade(rgb: Pixels) -> Pixels:
        graded = look.apply(_scaled(rgb, *taken), camera=camera, output=output, scene=scene)
        return np.clip(_scaled(graded, *given), 0.0, 1.0)

    return grade


def taken_range(look: Look, source: Coding, camera: str) -> tuple[float, float]:
    """Return scale and offset from the codes of a file to those that a camera's chain takes."""
    chain = look.graph.input_transform(camera)
    bits = chain.bits or chain.encoding.bits
    if (source.range, source.signal, chain.signal_range) == ("legal", "full", "full"):
        # Codes of the formula; as video has it, one of 8 bits is a quarter of one of 10.
        return source.top * 2.0 ** (bits - source.bits) / (2**bits - 1), 0.0
    span = source.signal or source.range
    return ranges.scale_offset(span, chain.signal_range, source.bits, bits)


def _scaled(values: Pixels, scale: float, offset: float) -> Pixels:
    if (scale, offset) == (1.0, 0.0):
        return values
    return values * np.float32(scale) + np.float32(offset)


def _single(affine: tuple[Array, Array]) -> tuple[Pixels, Pixels]:
    return affine[0].astype(np.float32), affine[1].astype(np.float32)


def _mixed(affine: tuple[Pixels, Pixels], values: list[Pixels]) -> list[Pixels]:
    """Return the channels of `matrix @ values + offset`."""
    mixed = []
    for row, constant in zip(*affine, strict=True):
        total = np.full(values[0].shape, constant, dtype=np.float32)
        for factor, channel in zip(row, values, strict=True):
            if factor != 0.0:
                total += factor * channel
        mixed.append(total)
    return mixed


def _rounded(values: Pixels) -> npt.NDArray[np.uint16]:
    return (np.clip(values, 0.0, 1.0) * np.float32(65535) + np.float32(0.5)).astype(np.uint16)


def _top(coding: Coding) -> float:
    """Return the largest code in 16 bits, 0-1; below the flag for every depth up to 12."""
    return float(coding.top * 2 ** (16 - coding.bits) / 65535)


def _lut(nodes: npt.NDArray[np.floating]) -> object:
    import PyOpenColorIO as ocio

    transform = ocio.Lut3DTransform(len(nodes))
    transform.setInterpolation(ocio.INTERP_TETRAHEDRAL)
    transform.setData(np.ascontiguousarray(nodes, dtype=np.float32))
    return transform


@cache
def _workers() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=cores(), thread_name_prefix="lookkit-grade")
