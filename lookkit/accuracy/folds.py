"""Folds: tetrahedra of a lattice that are turned inside out.

Where a graph maps neighbouring colours in order, a lattice must not swap them: a fold
shows as a false contour and cannot be undone by a grade.
"""

from __future__ import annotations

from itertools import pairwise, permutations
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.sampling import CORNERS, Floats

FLAT: Final = 0.05
"""Normalised volume below which a tetrahedron is flat (clipped) and has no orientation."""

_CODES: Final = 4.0 / 1023.0
"""Four 10-bit codes: about one Delta E 2000 in the mid-tones, where no display is known."""

_JUST_SEEN: Final = 1.0
"""Edges shorter than one Delta E 2000 count as that long: nobody sees them turn."""

_PATHS: Final = tuple(permutations(range(3)))


def orientation(values: Floats, metric: Floats | None = None) -> Floats:
    """Return the normalised signed volume of every tetrahedron, shape (6, cells).

    1 is the volume of three perpendicular edges, 0 is flat, negative is inside out.
    The six tetrahedra of a cell are the six ways from its low to its high corner.

    Parameters
    ----------
    values
        The corners of the cells, as `corner_values` gives them, shape (8, 3, cells).
    metric
        Squared Delta E 2000 per squared unit of signal, in each channel of each cell, shape
        (3, cells), as `visibility` gives it. Without it every channel counts alike and one
        Delta E is taken for four 10-bit codes.
    """
    seen = np.float32(_JUST_SEEN / _CODES) if metric is None else np.sqrt(metric)
    values = values * seen
    out = np.empty((6, values.shape[-1]), dtype=np.float32)
    for row, path in enumerate(_PATHS):
        place = [0, 0, 0]
        corners = [values[0]]
        for axis in path:
            place[axis] = 1
            corners.append(values[CORNERS.index((place[0], place[1], place[2]))])
        edges = [high - low for low, high in pairwise(corners)]
        # A way along red, green, blue turns right; swapping two axes turns left.
        right = path in ((0, 1, 2), (1, 2, 0), (2, 0, 1))
        out[row] = _volume(*edges) if right else -_volume(*edges)
    return out


def turned(now: Floats, upright: Floats, flat: float = FLAT) -> npt.NDArray[np.bool_]:
    """Which cells have a tetrahedron turned against its orientation `upright`, (cells,)."""
    against = (upright * now < 0.0) & (np.abs(upright) > flat) & (np.abs(now) > flat)
    return np.asarray(against.any(axis=0))


def _volume(a: Floats, b: Floats, c: Floats) -> Floats:
    volume = (
        a[0] * (b[1] * c[2] - b[2] * c[1])
        + a[1] * (b[2] * c[0] - b[0] * c[2])
        + a[2] * (b[0] * c[1] - b[1] * c[0])
    )
    return np.asarray(volume / (_length(a) * _length(b) * _length(c)))


def _length(edge: Floats) -> Floats:
    return np.asarray(np.maximum(np.sqrt((edge * edge).sum(axis=0)), np.float32(_JUST_SEEN)))
