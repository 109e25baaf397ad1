"""The exact graph: every step in float64, one after the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lookkit.nodes.base import Op
from lookkit.spaces.working import Array, as_pixels

HIGHEST = 1e6
"""Infinities become this value: beyond any light a camera records."""
_CHUNK = 16384


@dataclass(frozen=True)
class Cleaned:
    """Finite pixels, and how many were not."""

    pixels: Array
    not_a_number: int
    infinite: int


def clean(rgb: npt.ArrayLike) -> Cleaned:
    """Replace NaN by 0 and infinities by +-1e6, and count the pixels that had them.

    Shape (..., 3) in and out, float64.
    """
    pixels = as_pixels(rgb)
    if np.isfinite(pixels).all():
        return Cleaned(pixels, 0, 0)
    bad = np.isnan(pixels).any(axis=-1)
    infinite = np.isinf(pixels).any(axis=-1)
    finite = np.nan_to_num(pixels, nan=0.0, posinf=HIGHEST, neginf=-HIGHEST)
    return Cleaned(finite, int(bad.sum()), int(infinite.sum()))


def evaluate(chain: Sequence[Op], rgb: npt.ArrayLike) -> Array:
    """Return the exact result of `chain`; float64 of shape (..., 3).

    NaN in the input counts as 0 and infinities as +-1e6, so the result is finite. Worked on in
    parts that the processor's cache holds, so that a large picture takes little memory.
    """
    pixels = clean(rgb).pixels
    if pixels.size <= 3 * _CHUNK:
        return _through(chain, pixels)
    flat = pixels.reshape(-1, 3)
    out = np.empty_like(flat)
    for start in range(0, len(flat), _CHUNK):
        part = slice(start, start + _CHUNK)
        out[part] = _through(chain, flat[part])
    return out.reshape(pixels.shape)


def _through(chain: Sequence[Op], pixels: Array) -> Array:
    for op in chain:
        pixels = op.evaluate(pixels)
    return pixels
