"""Do no harm: where a fitted lattice would be worse than a sampled one, hold it back.

A fit lowers errors on the whole and may raise some. Where that makes the 99.9 % or the
maximum of an audited set worse, the points around the colours to blame go back towards
their sampled values until it does not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.lattice.audit import Audited
from lookkit.lattice.folds import FLAT, orientation, turned
from lookkit.lattice.interpolate import Reader
from lookkit.lattice.samples import SetName
from lookkit.lattice.sampling import CORNERS, CellSamples, Floats
from lookkit.lattice.shaper import Shaper
from lookkit.spaces.working import Array

_TAIL: Final = 0.999
_MARGIN: Final = 0.97
_TOP_MARGIN: Final = 0.9
"""Other colours than the watched ones are to keep the promise too; a maximum varies more."""

_INVISIBLE: Final = 0.002
"""Delta E that no figure shows."""

_STEPS: Final = (*[0.75] * 5, *[0.4] * 3, *[0.0] * 20)
"""What is left of the changes around an offending cell, turn by turn: gently first."""

Mask = npt.NDArray[np.bool_]


class _Tail:
    """Colours of one set under one reader, and what plain sampling does to its tail."""

    def __init__(self, plain: Array | Floats) -> None:
        self._least = plain * 1.001
        self._top = _TOP_MARGIN * float(plain.max()) + _INVISIBLE
        self._tail = _MARGIN * float(np.quantile(plain, _TAIL)) + _INVISIBLE
        self._may = (1.0 - _TAIL) * plain.size

    def to_blame(self, error: Array | Floats) -> Mask:
        """Which colours make the 99.9 % or the maximum worse than plain sampling's."""
        over = error > self._tail
        limit = self._tail if over.sum() > self._may else self._top
        return np.asarray(error > np.maximum(limit, self._least))

    def near(self, error: Array) -> Mask:
        """Which colours may ever be to blame."""
        return error > 0.5 * self._tail

    def only(self, rows: Mask) -> None:
        """Forget the other colours."""
        self._least = self._least[rows]


@dataclass(eq=False)
class _Watched:
    audited: Audited
    cell: npt.NDArray[np.intp]
    reader: Reader
    tail: _Tail


class Watch:
    """Finds the cells where a lattice offends."""

    def __init__(
        self,
        plain: Array,
        cells: CellSamples,
        metric: Floats,
        sets: Mapping[SetName, Audited],
        readers: Sequence[Reader],
        shaper: Shaper | None,
    ) -> None:
        self._plain, self._cells, self._metric, self._shaper = plain, cells, metric, shaper
        self._upright = orientation(plain)
        self._inside = {reader: _Tail(self._error(plain, reader)) for reader in readers}
        self._watched = [
            self._watch(audited, reader) for audited in sets.values() for reader in readers
        ]

    def folded(self, lattice: Array) -> Mask:
        """Cells where a tetrahedron is turned that plain sampling leaves upright, (cells,)."""
        return turned(lattice, self._upright, 0.6 * FLAT)

    def worse(self, lattice: Array, narrow: bool = False) -> Mask:
        """Cells that make a set's tail worse than plain sampling's, shape (cells,).

        With `narrow`, later calls look only at the audited colours that came near a
        tail now: enough for lattices between this one and plain sampling.
        """
        bad = np.zeros((self._plain.shape[0] - 1) ** 3, dtype=bool)
        for reader, tail in self._inside.items():
            bad |= tail.to_blame(self._error(lattice, reader)).any(axis=0)
        for watched in self._watched:
            error = self._seen(watched.audited, lattice, watched.reader)
            bad[watched.cell[watched.tail.to_blame(error)]] = True
            if narrow:
                near = watched.tail.near(error)
                watched.tail.only(near)
                watched.cell = watched.cell[near]
                watched.audited = watched.audited.only(near)
        return bad

    def _error(self, lattice: Array, reader: Reader) -> Floats:
        """Errors inside the cells, which stand for the whole cube, shape (p, cells)."""
        error = self._cells.signal - self._cells.read(lattice, reader)
        return np.asarray(np.sqrt(np.einsum("pcn,cn->pn", error * error, self._metric)))

    def _watch(self, audited: Audited, reader: Reader) -> _Watched:
        code = audited.code if self._shaper is None else self._shaper.forward(audited.code)
        across = self._plain.shape[0] - 1
        low = np.minimum((code * across).astype(np.intp), across - 1)
        cell = (low[:, 0] * across + low[:, 1]) * across + low[:, 2]
        return _Watched(audited, cell, reader, _Tail(self._seen(audited, self._plain, reader)))

    def _seen(self, audited: Audited, lattice: Array, reader: Reader) -> Array:
        return audited.delta_e_2000(audited.read(lattice, reader, self._shaper))


def held_back(fitted: Array, plain: Array, watch: Watch) -> tuple[Array, float]:
    """Return a fitted lattice that makes no set's tail worse than plain sampling.

    Returns
    -------
    tuple
        The lattice, and the share of its points that were held back: 0 where nothing
        offended, 1 where nothing but plain sampling was left.
    """
    size = plain.shape[0]
    share = np.ones((size,) * 3)
    change = fitted - plain
    for left in _STEPS:
        lattice = plain + share[..., None] * change
        bad = watch.worse(lattice, narrow=True) | watch.folded(lattice)
        if not bad.any():
            return lattice, float((share < 1.0).mean())
        around = _corners_of(bad, size)
        if left:
            # The neutral axis gives way last.
            diagonal = np.arange(size)
            around[diagonal, diagonal, diagonal] = False
        elif share[around].max() == 0.0:
            # What still offends sits between held points and free ones.
            around = _grown(around)
        share[around] *= left
    return plain, 1.0


def _corners_of(cells: Mask, size: int) -> Mask:
    box = cells.reshape((size - 1,) * 3)
    points = np.zeros((size,) * 3, dtype=bool)
    for i, j, k in CORNERS:
        points[i : i + size - 1, j : j + size - 1, k : k + size - 1] |= box
    return points


def _grown(points: Mask) -> Mask:
    """Spread a mask to the neighbours along the axes."""
    out = points.copy()
    for axis in range(3):
        there, here = np.moveaxis(out, axis, 0), np.moveaxis(points, axis, 0)
        there[1:] |= here[:-1]
        there[:-1] |= here[1:]
    return out
