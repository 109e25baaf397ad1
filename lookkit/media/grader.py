"""Grading pictures: planes of Y'CbCr or R'G'B' integers, and float stills, of files with codes.

Every pixel can go through the look itself. For clips and big pictures the bounded way is
faster: a lattice that is proved, cell by cell, to be within a code of the target; pixels in
other cells still go through the look. It is used where it pays, which depends on the job
alone, so that every machine gives the same picture.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from lookkit.bounded import Lattice, Planes, available, grade_packed, grade_planes
from lookkit.media.coding import Coding
from lookkit.ocio import cores
from lookkit.spaces import ranges
from lookkit.spaces.working import Array
from lookkit.texture.planes import from_codes, to_codes

if TYPE_CHECKING:
    from lookkit.look import Look
    from lookkit.texture.engine import Textured

Pixels = npt.NDArray[np.float32]

Grade = Callable[[Pixels], Pixels]
"""From R'G'B' codes of one coding to those of another, shape (n, 3), 0-1 for all integers."""

BOUNDED_PIXELS: Final = 8_000_000
"""Jobs of at least so many pixels go the bounded way: proving its cells costs 2 to 4 million."""
BOUNDED_BITS: Final = 12
"""Targets of more bits do not: too few cells are within their codes."""

_STRIP: Final = 1 << 16


class Grader:
    """Grades pictures of one coding to another.

    Parameters
    ----------
    grade
        Takes R'G'B' codes of `source` and gives those of `target`, held to its integers.
        Y'CbCr reaches beyond the integers of R'G'B': codes may be below 0 and above 1.
        Called from several threads at once, with at most some 10^5 pixels.
    source, target
        How the integers carry R'G'B'.
    bounded
        Whether pixels go the bounded way, where there is one for this machine and target.
    """

    def __init__(
        self, grade: Grade, source: Coding, target: Coding, *, bounded: bool = False
    ) -> None:
        self.grade = grade
        self.source = source
        self.target = target
        self._to_rgb = _single(source.to_rgb())
        self._from_rgb = _single(target.from_rgb())
        self.lattice: Lattice | None = None
        """What the bounded way reads, where it is used."""
        if bounded and available() and target.bits <= BOUNDED_BITS:
            (rows, offset), (back, zero) = source.to_rgb(), target.from_rgb()
            self.lattice = Lattice(
                grade, (rows / 65535, offset), (back * 65535, zero * 65535), target.top
            )

    def planes(self, source: Planes, target: Planes, width: int, frame: int = 0) -> None:
        """Grade a picture into `target`; all frames are alike to it.

        Both are three planes (Y', Cb, Cr or R', G', B') of C-contiguous 16-bit integers,
        shape (rows, at least `width`), codes in the upper bits as `Coding` has them; the
        target keeps the bits below its own depth, for whoever rounds last.
        """
        if self.lattice is not None:
            grade_planes(self.lattice, source, target, width, _workers())
            return
        rows = max(1, _STRIP // width)

        def work(start: int) -> None:
            part = slice(start, start + rows)
            taken = (plane[part, :width].reshape(-1) for plane in source)
            for plane, values in zip(target, self._exact((*taken,)), strict=True):
                plane[part, :width] = values.reshape(-1, width)

        list(_workers().map(work, range(0, len(source[0]), rows)))

    def _exact(self, planes: tuple[npt.NDArray[np.uint16], ...]) -> Planes:
        """Send pixels, three arrays of shape (n,), through the function itself."""
        values = [plane.astype(np.float32) for plane in planes]
        for plane in values:
            plane *= np.float32(1 / 65535)
        graded = self.grade(np.stack(_mixed(self._to_rgb, values), axis=-1))
        coded = _mixed(self._from_rgb, [graded[:, channel] for channel in range(3)])
        first, second, third = (_rounded(channel) for channel in coded)
        return first, second, third


class TextureGrader:
    """Grades pictures of one coding to another, with the texture of film.

    Parameters
    ----------
    textured
        The camera's way to the output.
    source, target
        As of `Grader`.
    taken, given
        Scale and offset from the source's codes to those that the camera's way takes, and from
        those that it gives to the target's.
    shot
        What the grain is drawn for, beside the frame.
    aspect
        A pixel's width over its height.
    """

    def __init__(
        self,
        textured: Textured,
        source: Coding,
        target: Coding,
        taken: tuple[float, float],
        given: tuple[float, float],
        shot: str,
        aspect: float = 1.0,
    ) -> None:
        self._textured, self._shot, self._aspect = textured, shot, aspect
        rows, offset = source.to_rgb()
        scale, zero = taken
        self._taken = rows * (scale / 65535), offset * scale + zero
        self._given, self._from_rgb = given, target.from_rgb()

    def planes(self, source: Planes, target: Planes, width: int, frame: int = 0) -> None:
        """Grade a picture into `target`, as `Grader.planes` does; `frame` is its number."""

        def rows(first: int, last: int, out: Pixels) -> None:
            from_codes(_part(source, first, last), width, self._taken, out)

        def put(first: int, signal: Pixels) -> None:
            part = _part(target, first, first + signal.shape[1])
            to_codes(signal, width, self._given, self._from_rgb, part)

        self._textured.picture(
            rows, put, len(source[0]), width,
            shot=self._shot, frame=frame, aspect=self._aspect,
        )  # fmt: skip


def _part(planes: Planes, first: int, last: int) -> Planes:
    a, b, c = (plane[first:last] for plane in planes)
    return a, b, c


class StillGrader:
    """Grades stills, float R'G'B' codes, to pictures of integers.

    Parameters
    ----------
    grade
        From the codes of a camera to those of an output; called as `Grader`'s.
    bits
        The depth of the integers that the results will be rounded to; None for floats.
    """

    def __init__(self, grade: Grade, bits: int | None) -> None:
        self.grade = grade
        self._lattice: Lattice | None = None
        if bits is not None and bits <= BOUNDED_BITS and available():
            same = np.eye(3), np.zeros(3)
            # What integers cannot hold counts as their ends, and is not missed.
            self._lattice = Lattice(
                lambda rgb: np.clip(grade(rgb), 0.0, 1.0), same, same, 2**bits - 1
            )

    def picture(self, pixels: Pixels) -> Pixels:
        """Return a graded picture, shape (height, width, 3)."""
        if self._lattice is None:
            return self.grade(pixels)
        return grade_packed(self._lattice, pixels, _workers())


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
    taken = taken_range(look, source, camera)
    given = given_range(look, target, output)

    def grade(rgb: Pixels) -> Pixels:
        graded = look.apply(_scaled(rgb, *taken), camera=camera, output=output, scene=scene)
        return np.clip(_scaled(graded, *given), 0.0, 1.0)

    return grade


def given_range(look: Look, target: Coding, output: str) -> tuple[float, float]:
    """Return scale and offset from the codes that an output gives to those of a file."""
    display = look.graph.output(output)
    return ranges.scale_offset(display.range, target.range, display.bits, target.bits)


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


@cache
def _workers() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=cores(), thread_name_prefix="lookkit-grade")
