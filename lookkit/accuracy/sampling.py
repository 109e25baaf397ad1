"""Reading the exact graph at the points of a lattice and inside its cells."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.interpolate import Reader, interpolate
from lookkit.accuracy.truth import Exact
from lookkit.spaces.working import Array

Floats = npt.NDArray[np.float32]
"""float32: the working precision inside a fit, whose figures need five digits."""

CORNERS: Final = tuple(product((0, 1), repeat=3))
"""The corners of a cell as (red, green, blue) steps."""


def grid(size: int) -> Array:
    """Return the places of a lattice's points, shape (n, n, n, 3), indexed [r, g, b]."""
    axis = np.linspace(0.0, 1.0, size)
    return np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)


def sample(exact: Exact, size: int) -> Array:
    """Sample a graph at the points of a lattice, the ordinary way of baking.

    Parameters
    ----------
    exact
        The graph; see `steady` for graphs with upsets.
    size
        Points along an edge.

    Returns
    -------
    Array
        Signal at each point, shape (size, size, size, 3), indexed [red, green, blue].
    """
    return exact(grid(size))


@dataclass(frozen=True, eq=False)
class CellSamples:
    """The exact graph at the same few places inside every cell.

    Because the places repeat from cell to cell, interpolating a whole lattice there is
    one small matrix product.

    Attributes
    ----------
    size
        Points along an edge of the lattice.
    places
        Places within a cell, each 0-1, shape (p, 3).
    signal
        The exact signal, shape (p, 3, cells); cells run with blue fastest.
    """

    size: int
    places: Array
    signal: Floats

    def weights(self, reader: Reader) -> Floats:
        """How much of each corner a reader takes at each place, shape (p, 8)."""
        return corner_weights(self.places, reader)

    def read(self, corners: Floats, reader: Reader) -> Floats:
        """Read a lattice at every sample, shape (p, 3, cells).

        Parameters
        ----------
        corners
            As `corner_values` gives them for the same cells, shape (8, 3, cells).
        reader
            How to read.
        """
        # No matrix product: the threads of BLAS would stand in the way of ours.
        return np.asarray(np.einsum("pa,acn->pcn", self.weights(reader), corners))


def sample_cells(exact: Exact, size: int, places: Array) -> CellSamples:
    """Sample a graph at `places` (p, 3) inside every cell of a lattice of `size`."""
    cells = size - 1
    low = np.stack(np.meshgrid(*[np.arange(cells)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    signal = np.empty((len(places), 3, len(low)), dtype=np.float32)
    for index, place in enumerate(places):
        signal[index] = exact((low + place) / cells).T
    return CellSamples(size, places, signal)


def corner_weights(places: Array, reader: Reader) -> Floats:
    """How much of each corner a reader takes at places within a cell, shape (p, 8)."""
    # Three corners at once, one in each channel of a cell that is 1 there and 0 elsewhere.
    cell = np.zeros((3, 2, 2, 2, 3))
    for index, corner in enumerate(CORNERS):
        cell[index // 3, *corner, index % 3] = 1.0
    read = [interpolate(one, places, reader) for one in cell]
    return np.concatenate(read, axis=1)[:, :8].astype(np.float32)


def corner_values(lattice: Array, cells: npt.NDArray[np.intp] | None = None) -> Floats:
    """Return the eight corners of every cell, or of some, shape (8, 3, cells)."""
    across = lattice.shape[0] - 1
    planes = np.moveaxis(lattice, -1, 0)
    if cells is not None and len(cells) < across**3:
        low = np.unravel_index(cells, (across,) * 3)
        out = np.empty((8, 3, len(cells)), dtype=np.float32)
        for index, corner in enumerate(CORNERS):
            r, g, b = (at + step for at, step in zip(low, corner, strict=True))
            out[index] = planes[:, r, g, b]
        return out
    out = np.empty((8, 3, across, across, across), dtype=np.float32)
    for index, (i, j, k) in enumerate(CORNERS):
        out[index] = planes[:, i : i + across, j : j + across, k : k + across]
    return out.reshape(8, 3, -1)
