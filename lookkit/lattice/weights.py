"""What an error costs: how visible it is, and how often its colour occurs."""

from __future__ import annotations

from typing import Final

import numpy as np

from lookkit.lattice.difference import delta_e_2000
from lookkit.lattice.samples import FIT_SEED, CodeSpace, SetName, audit_sets
from lookkit.lattice.sampling import CellSamples, Floats
from lookkit.lattice.shaper import Shaper
from lookkit.lattice.truth import Light, in_chunks
from lookkit.spaces.working import Array

_STEP: Final = 0.004
"""About four 10-bit codes: small against the curvature of vision, large against rounding."""

_FLOOR: Final = 15.0
"""Delta E per unit of signal that an error costs even where the eye forgives everything."""

_DRAWS: Final[dict[SetName, int]] = {
    "image-like": 80_000,
    "skin": 20_000,
    "saturated-emitters": 40_000,
}
_SHARE: Final[dict[SetName, float]] = {"image-like": 1.0, "skin": 1.0, "saturated-emitters": 0.3}
_EVERYWHERE: Final = 0.05
_EXPONENT: Final = 0.7
_CROWDED: Final = 0.2
"""The densest places that hold this share of a set count alike."""


def visibility(cells: CellSamples, light: Light) -> Floats:
    """Squared Delta E 2000 per squared unit of signal, in each channel of each cell.

    Returns
    -------
    Floats
        Shape (3, cells): the diagonal of the local metric of Delta E 2000 at the mean of
        what the exact graph shows inside the cell, with a floor.
    """

    def cost(signal: Array) -> Array:
        here = light.lab(signal).astype(np.float32)
        # Step inwards, so that no signal leaves 0-1.
        step = np.where(signal > 0.5, -_STEP, _STEP)
        out = np.empty(signal.shape)
        for channel in range(3):
            moved = signal.copy()
            moved[:, channel] += step[:, channel]
            away = delta_e_2000(here, light.lab(moved).astype(np.float32))
            out[:, channel] = (away / _STEP) ** 2 + _FLOOR**2
        return out

    inside = cells.signal.mean(axis=0, dtype=np.float64).T
    return np.ascontiguousarray(in_chunks(cost, inside).T, dtype=np.float32)


def occurrence(space: CodeSpace, size: int, shaper: Shaper | None = None) -> Floats:
    """How much the eight parts of every cell matter, shape (8, cells), mean 1.

    A power of the density of pictures, skin and lights, capped where they crowd, and
    something everywhere.
    """
    across = _finest(2 * (size - 1))
    weight = np.full((across,) * 3, _EVERYWHERE)
    for name, code in audit_sets(space, FIT_SEED, _DRAWS).items():
        counts = _blurred(_counted(code if shaper is None else shaper.forward(code), across))
        weight += _SHARE[name] * np.minimum(counts / _crowd(counts), 1.0) ** _EXPONENT
    out = _in_cells(weight, size)
    return np.asarray(out / out.mean())


def _finest(parts: int) -> int:
    """Return the largest divisor of `parts` up to 64: finer, the draw would run out."""
    return next(parts // k for k in range(1, parts + 1) if parts % k == 0 and parts // k <= 64)


def _counted(place: Array, across: int) -> Array:
    low = np.minimum((place * across).astype(np.intp), across - 1)
    index = (low[:, 0] * across + low[:, 1]) * across + low[:, 2]
    return np.bincount(index, minlength=across**3).astype(np.float64).reshape((across,) * 3)


def _blurred(box: Array) -> Array:
    """Spread each count to its neighbours, a quarter to each side along each axis."""
    for axis in range(3):
        along = np.moveaxis(box, axis, 0)
        padded = np.concatenate([along[:1], along, along[-1:]])
        box = np.moveaxis(0.25 * padded[:-2] + 0.5 * padded[1:-1] + 0.25 * padded[2:], 0, axis)
    return box


def _crowd(counts: Array) -> float:
    """Return the count above which places hold `_CROWDED` of all."""
    ordered = np.sort(counts, axis=None)[::-1]
    held = np.cumsum(ordered)
    return float(ordered[np.searchsorted(held, _CROWDED * held[-1])])


def _in_cells(box: Array, size: int) -> Floats:
    """Box of `across` along an edge to the eight parts of each cell, shape (8, cells)."""
    cells = size - 1
    repeat = 2 * cells // box.shape[0]
    for axis in range(3):
        box = np.repeat(box, repeat, axis=axis)
    parts = box.reshape(cells, 2, cells, 2, cells, 2).transpose(1, 3, 5, 0, 2, 4)
    return np.ascontiguousarray(parts.reshape(8, -1), dtype=np.float32)
