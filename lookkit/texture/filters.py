r"""Softness and the rise of density beside edges: filters down and across, their own by layer.

Softness is what is left of a pattern of f cycles per millimetre, in light: 0.5^((f / half)^2).
Taps are those of a picture that holds no detail beyond its pixels, without what is below zero, so
that light stays light, and their sum is one. The edge rises in density: n + edge (n - mean of n
nearby), a Gaussian of `reach` micrometres, so that light cannot fall below zero. Where the Gaussian
is broad, the mean is taken of boxes of pixels and read between them.

Sources: the modulation transfer function as handbooks of photographic materials define it; the
Gaussian is common practice. Edges of the picture are mirrored.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, log, pi, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from lookkit.texture.boxes import Boxes
from lookkit.texture.compiled import Planes, checked, library, place, placed, wide_of

Taps = npt.NDArray[np.float32]
"""Shape (3, reach + 1), the middle first."""
_SMALLEST = 0.02
"""Pixels: a Gaussian that is narrower does nothing that a picture could show."""
_BROAD = 1.25
"""Boxes: the least deviation of a mean that is taken of them."""


def soft_taps(half: Sequence[float], pixel: float) -> Taps:
    """Return the taps of each layer.

    Parameters
    ----------
    half
        Cycles per millimetre of which half is left.
    pixel
        Its side in micrometres, along the filter.
    """
    sides = [sqrt(log(2.0) / 2.0) / (pi * one) * 1000.0 / pixel for one in half]
    return _together([_limited(side) for side in sides])


def _limited(side: float, sides: float = 3.3) -> npt.NDArray[np.float64]:
    """Return a Gaussian of standard deviation `side` pixels, as a picture's pixels can hold it.

    It ends at `sides` deviations.
    """
    if side < _SMALLEST:
        return np.ones(1)
    far = max(1, ceil(sides * side))
    frequency = (np.arange(512) + 0.5) / 1024.0
    left = np.exp(-2.0 * (pi * side * frequency) ** 2)
    waves = np.cos(2.0 * pi * np.outer(np.arange(far + 1), frequency))
    taps = np.maximum(waves @ left, 0.0)
    return np.asarray(taps / (taps[0] + 2.0 * taps[1:].sum()))


def _together(taps: Sequence[npt.NDArray[np.float64]]) -> Taps:
    made = np.zeros((3, max(map(len, taps))))
    for row, one in zip(made, taps, strict=True):
        row[: len(one)] = one
    return np.ascontiguousarray(made, np.float32)


def mirrored(start: int, end: int, length: int) -> npt.NDArray[np.intp]:
    """Return which of `length` rows stand at `start` to `end`, mirrored beyond both ends."""
    at = np.arange(start, end) % (2 * length)
    return np.asarray(np.where(at < length, at, 2 * length - 1 - at))


def blur(rows: Planes, width: int, down: Taps, across: Taps, out: Planes | None = None) -> Planes:
    """Return rows filtered down and across.

    Parameters
    ----------
    rows
        With as many rows more, above and below, as `down` reaches.
    width
        Of the picture, at whose sides it is mirrored.
    out
        Where to put them.
    """
    reach = down.shape[1] - 1
    if out is None:
        out = np.empty((3, rows.shape[1] - 2 * reach, rows.shape[2]), np.float32)
    made = library()
    if made is None:
        out[:, :, :width] = blurred(rows[:, :, :width], down, across)
        out[:, :, width:] = out[:, :, width - 1 : width]
        return out
    checked(made.lookkit_texture_blur(
        *placed(rows), *placed(out), out.shape[2], out.shape[1], width,
        place(down), reach, place(across), across.shape[1] - 1))  # fmt: skip
    return out


def blurred(rows: Planes, down: Taps, across: Taps) -> Planes:
    """Do `blur` by numpy, of rows of the picture's width."""
    reach, beside = down.shape[1] - 1, across.shape[1] - 1
    height, width = rows.shape[1] - 2 * reach, rows.shape[2]
    mean = _line(rows, down, reach, height, 1)
    wide = mean[:, :, mirrored(-beside, width + beside, width)]
    return np.asarray(_line(wide, across, beside, width, 2))


def _line(values: Any, taps: Taps, reach: int, length: int, axis: int) -> Any:
    def part(start: int) -> Any:
        return values[:, start : start + length] if axis == 1 else values[..., start:][..., :length]

    total = taps[:, 0, None, None] * part(reach)
    for step in range(1, reach + 1):
        total += taps[:, step, None, None] * (part(reach - step) + part(reach + step))
    return total


@dataclass(frozen=True)
class Edge:
    """The rise beside edges: by how much, over which boxes the mean is taken, and with what."""

    share: float
    boxes: Boxes
    down: Taps
    across: Taps

    @staticmethod
    def of(share: float, reach: float, high: float, broad: float) -> Edge:
        """Return that of pixels of `high` x `broad` micrometres."""
        down, across = _mean(reach / high), _mean(reach / broad)
        return Edge(share, Boxes(down[0], across[0]), down[1], across[1])

    @property
    def around(self) -> int:
        """How many rows it needs above and below; a multiple of its boxes' height."""
        return int(self.down.shape[1]) * self.boxes.high

    def raised(self, rows: Planes, start: int, out: Planes, width: int) -> Planes:
        """Return densities that are raised beside edges, in `out`.

        `rows` begin `around` rows before row `start` of the picture, which is at the top of a box.
        """
        low = -(-width // self.boxes.broad)
        count = rows.shape[1] // self.boxes.high
        mean = self.boxes.means(rows, width, np.empty((3, count, wide_of(low)), np.float32))
        mean = blur(mean, low, self.down, self.across)
        middle = rows[:, self.around : self.around + out.shape[1]]
        first = start // self.boxes.high - 1
        shares = np.full(3, -self.share, np.float32)
        return self.boxes.mix(middle, start, mean, shares, out, points=low, first=first)


def _mean(side: float) -> tuple[int, Taps]:
    """Return the pixels of a box and the taps of a Gaussian of `side` pixels over such boxes.

    A box's mean and the reading between boxes are filters themselves, of variance 1/12 and 1/6.
    """
    by = max([1, *[one for one in (2, 4, 8) if side >= _BROAD * one]])
    left = side / by if by == 1 else sqrt((side / by) ** 2 - 0.25)
    return by, _together([_limited(left, 2.5)] * 3)
