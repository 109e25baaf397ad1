"""A curve before the lattice, which spends the lattice's points where the graph bends.

CLF allows it; a plain .cube file does not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lookkit.spaces.working import Array


@dataclass(frozen=True, eq=False)
class Shaper:
    """A monotone curve from 0-1 to 0-1, common to the three channels.

    One curve for all three keeps neutrals on the lattice's diagonal.

    Attributes
    ----------
    table
        Values at equal steps of code from 0 to 1, shape (m,), rising from 0 to 1.
        Between them the curve is straight, as in the one-dimensional table of a CLF.

    Raises
    ------
    ValueError
        If the table does not rise strictly from 0 to 1.
    """

    table: Array

    def __post_init__(self) -> None:
        table = self.table
        if table.ndim != 1 or len(table) < 2:
            raise ValueError(f"expected a table of shape (m,), found {table.shape}")
        if not (np.diff(table) > 0.0).all() or table[0] != 0.0 or table[-1] != 1.0:
            raise ValueError("expected a table that rises strictly from 0 to 1")

    def forward(self, code: npt.ArrayLike) -> Array:
        """Return where a code lies on the lattice's axes; clamped to 0-1, NaN to 0."""
        clean = np.nan_to_num(np.asarray(code, dtype=np.float64), posinf=1.0, neginf=0.0)
        return np.interp(clean, self._codes, self.table)

    def inverse(self, place: npt.ArrayLike) -> Array:
        """Return the code that lies at a place on the lattice's axes."""
        return np.interp(np.asarray(place, dtype=np.float64), self.table, self._codes)

    def then(self, other: Shaper) -> Shaper:
        """Return the shaper that first does this and then `other`, with the longer table."""
        code = np.linspace(0.0, 1.0, max(len(self.table), len(other.table)))
        return Shaper(other.forward(self.forward(code)))

    @property
    def _codes(self) -> Array:
        return np.linspace(0.0, 1.0, len(self.table))
