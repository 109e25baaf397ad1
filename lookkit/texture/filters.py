r"""Softness and the rise of density beside edges: filters across and down, their own by layer.

Softness is what is left of a pattern of f cycles per millimetre, in light: 0.5^((f / half)^2).
Taps are those of a picture that holds no detail beyond its pixels, without what is below zero, so
that light stays light, and their sum is one. The edge rises in density: n + edge (n - mean of n
nearby), a Gaussian of `reach` micrometres, so that light cannot fall below zero.

Sources: the modulation transfer function as handbooks of photographic materials define it; the
Gaussian is common practice. Edges of the picture are mirrored.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, log, pi, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from lookkit.texture.compiled import checked, library, place

Pixels = npt.NDArray[np.float32]
_SMALLEST = 0.02
"""Pixels: a Gaussian that is narrower does nothing that a picture could show."""


def soft_taps(half: Sequence[float], pixel: float) -> Pixels:
    """Return the taps of each layer, shape (3, reach + 1), the middle first.

    Parameters
    ----------
    half
        Cycles per millimetre of which half is left.
    pixel
        Its side in micrometres.
    """
    sides = [sqrt(log(2.0) / 2.0) / (pi * one) * 1000.0 / pixel for one in half]
    return _together([_limited(side) for side in sides])


def edge_taps(reach: float, pixel: float) -> Pixels:
    """Return the taps of the mean around an edge, alike for all layers."""
    return _together([_limited(reach / pixel, 2.5)] * 3)


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


def _together(taps: Sequence[npt.NDArray[np.float64]]) -> Pixels:
    made = np.zeros((3, max(map(len, taps))))
    for row, one in zip(made, taps, strict=True):
        row[: len(one)] = one
    return np.ascontiguousarray(made, np.float32)


def mirrored(start: int, end: int, length: int) -> npt.NDArray[np.intp]:
    """Return which of `length` rows stand at `start` to `end`, mirrored beyond both ends."""
    at = np.arange(start, end) % (2 * length)
    return np.asarray(np.where(at < length, at, 2 * length - 1 - at))


def blur(rows: Pixels, taps: Pixels, edge: float = 0.0, out: Pixels | None = None) -> Pixels:
    """Return rows filtered across and down, or with what stands out of that raised.

    Parameters
    ----------
    rows
        Shape (height + 2 reach, width, 3): with `reach` rows more above and below.
    taps
        Shape (3, reach + 1), the middle first.
    edge
        Above 0, rows + edge (rows - filtered) are returned.
    out
        Where to put them, C-contiguous.

    Returns
    -------
    array of shape (height, width, 3)
    """
    reach = taps.shape[1] - 1
    height, width = rows.shape[0] - 2 * reach, rows.shape[1]
    rows = np.ascontiguousarray(rows, np.float32)
    made = library()
    if out is None:
        out = np.empty((height, width, 3), np.float32)
    if made is None:
        out[...] = blurred(rows, taps, edge)
        return out
    checked(made.lookkit_texture_blur(
        place(rows), place(out), height, width, place(taps), reach, edge))  # fmt: skip
    return out


def blurred(rows: Pixels, taps: Pixels, edge: float = 0.0) -> Pixels:
    """Do `blur` by numpy."""
    reach = taps.shape[1] - 1
    height, width = rows.shape[0] - 2 * reach, rows.shape[1]
    wide = rows[:, mirrored(-reach, width + reach, width)]
    across = _line(wide, taps, reach, width, 1)
    mean = _line(across, taps, reach, height, 0)
    middle = rows[reach : reach + height]
    return np.asarray(middle + np.float32(edge) * (middle - mean) if edge > 0.0 else mean)


def _line(values: Any, taps: Pixels, reach: int, length: int, axis: int) -> Any:
    def part(start: int) -> Any:
        return values[start : start + length] if axis == 0 else values[:, start : start + length]

    total = taps[:, 0] * part(reach)
    for step in range(1, reach + 1):
        total += taps[:, step] * (part(reach - step) + part(reach + step))
    return total
