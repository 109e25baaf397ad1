"""Reading a lattice between its points, as programs that load LUTs do.

A lattice holds an output colour at each point of a regular grid over the unit cube.
It is an array of shape (n, n, n, 3) indexed [red, green, blue].
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from lookkit.spaces.working import Array

Reader = Literal["tetrahedral", "trilinear", "gpu"]
"""How a program reads between the points of a lattice."""

READERS: Final[tuple[Reader, ...]] = ("tetrahedral", "trilinear")
"""Those that read between points as exactly as they can: a fit is made for both."""

REPORTED: Final[tuple[Reader, ...]] = (*READERS, "gpu")
"""Those that an accuracy report tells of."""

_STEPS: Final = 256.0
"""Places between two points that a graphics processor's sampler tells apart: its weights have
eight bits (CUDA C Programming Guide, linear filtering: fixed point with 8 bits of fraction)."""

CHUNK: Final = 16384
"""Pixels worked on at once: the temporaries of one chunk stay in the processor's cache."""


def tetrahedral(lattice: Array, code: npt.ArrayLike) -> Array:
    """Read a lattice with tetrahedral interpolation.

    The cell around a colour is cut into six tetrahedra along its main diagonal; the
    result is linear in each. This is the common method of better players and graders.

    Parameters
    ----------
    lattice
        Output colours, shape (n, n, n, 3), indexed [red, green, blue].
    code
        Colours to look up, shape (..., 3). Values outside 0-1 are clamped to 0-1 and
        NaN is read as 0, as LUT readers do.

    Returns
    -------
    Array
        Interpolated colours, shape (..., 3).

    Raises
    ------
    ValueError
        If the lattice is not of shape (n, n, n, 3) with n >= 2.

    References
    ----------
    Sakamoto and Itooka, US patent 4 275 413 (1981, expired); the same scheme is in
    SMPTE ST 2136-1, annex on tetrahedral interpolation.
    """
    return _in_chunks(lattice, code, _tetrahedral)


def trilinear(lattice: Array, code: npt.ArrayLike) -> Array:
    """Read a lattice with trilinear interpolation.

    Parameters, result and errors are those of `tetrahedral`. This is the method of
    most monitors and the default of the CLF standard (SMPTE ST 2136-1).
    """
    return _in_chunks(lattice, code, _trilinear)


def interpolate(lattice: Array, code: npt.ArrayLike, reader: Reader) -> Array:
    """Read a lattice as `reader` does; see `tetrahedral`, `trilinear` and `gpu`."""
    ways = {"tetrahedral": tetrahedral, "trilinear": trilinear, "gpu": gpu}
    return ways[reader](lattice, code)


def gpu(lattice: Array, code: npt.ArrayLike) -> Array:
    """Read a lattice as the texture samplers of graphics processors do.

    They read trilinearly, with weights rounded to 8 bits, so that a slow gradient rises in
    steps. Parameters, result and errors are those of `tetrahedral`.
    """
    cells = lattice_size(lattice) - 1
    place = np.clip(np.nan_to_num(np.asarray(code, dtype=np.float64)), 0.0, 1.0) * cells
    return trilinear(lattice, np.rint(place * _STEPS) / (_STEPS * cells))


def lattice_size(lattice: Array) -> int:
    """Return the number of points along an edge of a lattice.

    Raises
    ------
    ValueError
        If the shape is not (n, n, n, 3) with n >= 2.
    """
    shape = lattice.shape
    if len(shape) != 4 or shape[3] != 3 or len({*shape[:3]}) != 1 or shape[0] < 2:
        raise ValueError(f"expected a lattice of shape (n, n, n, 3), found {shape}")
    return int(shape[0])


def _in_chunks(
    lattice: Array, code: npt.ArrayLike, read: Callable[[Array, int, Array], Array]
) -> Array:
    size = lattice_size(lattice)
    pixels = np.asarray(code, dtype=np.float64)
    flat = pixels.reshape(-1, 3)
    table = np.ascontiguousarray(lattice, dtype=np.float64).reshape(-1, 3)
    out = np.empty_like(flat)
    for start in range(0, len(flat), CHUNK):
        out[start : start + CHUNK] = read(table, size, flat[start : start + CHUNK])
    return out.reshape(pixels.shape)


def _cell(size: int, code: Array) -> tuple[npt.NDArray[np.intp], Array]:
    """Index of the lowest corner of each pixel's cell, and the place within it, (3, n)."""
    planes = np.nan_to_num(np.ascontiguousarray(code.T), nan=0.0, posinf=1.0, neginf=0.0)
    np.clip(planes, 0.0, 1.0, out=planes)
    planes *= size - 1
    low = planes.astype(np.intp)
    np.minimum(low, size - 2, out=low)
    planes -= low
    return (low[0] * size + low[1]) * size + low[2], planes


def tetrahedra(
    size: int, code: Array
) -> tuple[list[npt.NDArray[np.intp]], list[npt.NDArray[np.float64]]]:
    """Return the four corners of the tetrahedron around each colour, and what each counts.

    Parameters
    ----------
    size
        Points along an edge of the lattice.
    code
        As for `tetrahedral`, shape (n, 3).

    Returns
    -------
    tuple
        Four arrays (n,) of indices into the points, blue fastest, from the cell's lowest corner
        to its highest; and their four weights, which sum to one.
    """
    base, (r, g, b) = _cell(size, code)
    step = np.array([size * size, size, 1])
    most = np.where(r >= g, np.where(r >= b, 0, 2), np.where(g >= b, 1, 2))
    least = np.where(b <= g, np.where(b <= r, 2, 0), np.where(g <= r, 1, 0))
    high = np.maximum(np.maximum(r, g), b)
    low = np.minimum(np.minimum(r, g), b)
    middle = np.maximum(np.minimum(r, g), np.minimum(np.maximum(r, g), b))
    last = base + step.sum()
    corners = [base, base + step[most], last - step[least], last]
    return corners, [1.0 - high, high - middle, middle - low, low]


def _tetrahedral(table: Array, size: int, code: Array) -> Array:
    corners, weights = tetrahedra(size, code)
    out = table.take(corners[0], axis=0)
    out *= weights[0][:, None]
    for corner, weight in zip(corners[1:], weights[1:], strict=True):
        part = table.take(corner, axis=0)
        part *= weight[:, None]
        out += part
    return out


def _trilinear(table: Array, size: int, code: Array) -> Array:
    base, (r, g, b) = _cell(size, code)
    out = np.zeros((len(base), 3))
    for i in (0, 1):
        along_r = r if i else 1.0 - r
        for j in (0, 1):
            along_g = along_r * (g if j else 1.0 - g)
            for k in (0, 1):
                weight = along_g * (b if k else 1.0 - b)
                part = table.take(base + ((i * size + j) * size + k), axis=0)
                part *= weight[:, None]
                out += part
    return out
