"""Programs run by numpy in float64: the reference."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.kernel.formula import Planes, Program, slots_of

Array = npt.NDArray[np.float64]

_TILE: Final = 8192
"""Pixels that are worked on together: their planes lie in the processor's cache."""


def run(program: Program, rgb: Array, *others: Array) -> Array:
    """Return what a program makes of pixels, float64 of shape (..., 3) in and out.

    `others` are what lies in slots 1, 2, ... at the start, of the same shape.
    """
    inputs = [one.reshape(-1, 3) for one in (rgb, *others)]
    flat = inputs[0]
    out = np.empty_like(flat)
    with np.errstate(all="ignore"):
        for start in range(0, len(flat), _TILE):
            slots: list[Planes] = [_planes(one[start : start + _TILE]) for one in inputs]
            slots += [(0.0, 0.0, 0.0)] * (slots_of(program) - len(slots))
            for formula, p, slot, other in program:
                entering = slots[other] if formula.planes == 6 else ()
                slots[slot] = formula(*entering, *slots[slot], p)
            for channel in range(3):
                out[start : start + _TILE, channel] = slots[0][channel]
    return out.reshape(rgb.shape)


def _planes(pixels: Array) -> Planes:
    red, green, blue = (np.ascontiguousarray(pixels[:, channel]) for channel in range(3))
    return red, green, blue
