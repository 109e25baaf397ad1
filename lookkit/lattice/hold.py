"""Do no harm: where a fitted lattice would be worse than a sampled one, hold it back.

A fit lowers errors on the whole and may raise some. Where that makes the 99.9 % or the
maximum of an audited set worse, the points around the colours to blame go back towards
their sampled values until it does not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from itertools import product
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.audit import Audited
from lookkit.accuracy.folds import FLAT, orientation, turned
from lookkit.accuracy.interpolate import Reader
from lookkit.accuracy.samples import SetName
from lookkit.accuracy.sampling import CORNERS, CellSamples, Floats, corner_values
from lookkit.accuracy.search import climb
from lookkit.accuracy.truth import Exact, Light, at_once
from lookkit.spaces.working import Array

_TAIL: Final = 0.999
_MARGIN: Final = 0.98
_TOP_MARGIN: Final = 0.95
"""Other colours than the watched ones are to keep the promise too; a maximum varies more."""

_SAME: Final = 1.001
_HARDLY: Final = 1.04
"""What errors may rise to, colour by colour, before they count as worse."""

_INVISIBLE: Final = 0.002
"""Delta E that no figure shows."""

_GAINING: Final[tuple[SetName, ...]] = ("image-like", "skin")

_SLOPE: Final = 0.5
"""Largest difference of what neighbouring points keep of their changes."""

_FLAT: Final = 0.9 * FLAT

_SUMMIT_CELLS: Final = 256
_SUMMIT_ROUNDS: Final = 24
_CLIMBERS: Final = 128
_CLIMBS: Final = 8
_TRIES: Final = 12
_WITHIN: Final[Array] = np.array(list(product((0.2, 0.5, 0.8), repeat=3)))

_STEPS: Final = (
    *[(0.75, 1)] * 4, *[(0.4, 1)] * 2, *[(0.75, 0)] * 5, *[(0.4, 0)] * 3, *[(0.0, -1)] * 20,
)  # fmt: skip
"""What is left of the changes around an offending cell, turn by turn, gently first; and how far
from the neutral axis in steps points are spared, -1 for none: the axis is changed last."""

_UNFOLDING: Final = (*[0.75] * 12, *[0.3] * 4, *[0.0] * 8)

Mask = npt.NDArray[np.bool_]


class _Tail:
    """Colours of one set under one reader, and what plain sampling does to its tail."""

    def __init__(self, plain: Array | Floats) -> None:
        self._plain = plain
        self.mean = float(plain.mean())
        self._top, self._tail = float(plain.max()), float(np.quantile(plain, _TAIL))
        self._may = (1.0 - _TAIL) * plain.size

    def to_blame(self, error: Array | Floats, margin: float = _MARGIN) -> Mask:
        """Which colours make the 99.9 % or the maximum worse than plain sampling's.

        Also those that raise the 99.9 % above `margin` times plain sampling's or come close
        to its maximum, unless they hardly lose by it.
        """
        bad = self._beyond(error, 1.0, 1.0, _SAME)
        return np.asarray(bad | self._beyond(error, margin, _TOP_MARGIN, _HARDLY))

    def _beyond(self, error: Array | Floats, tail: float, top: float, least: float) -> Mask:
        below = tail * self._tail + _INVISIBLE
        limit = below if (error > below).sum() > self._may else top * self._top + _INVISIBLE
        return np.asarray(error > np.maximum(limit, self._plain * least))

    def near(self, error: Array | Floats) -> Mask:
        """Which colours come close enough to a limit to be looked at again."""
        return np.asarray(error > 0.6 * self._tail)

    def only(self, rows: Any) -> _Tail:
        """Keep the limits of some of the colours."""
        kept = copy(self)
        kept._plain = self._plain[rows]
        return kept


@dataclass(frozen=True, eq=False)
class _Watched:
    name: SetName
    audited: Audited
    cell: npt.NDArray[np.intp]
    reader: Reader
    tail: _Tail

    def only(self, rows: Mask) -> _Watched:
        """Keep some of the colours."""
        return _Watched(
            self.name,
            self.audited.only(rows),
            self.cell[rows],
            self.reader,
            self.tail.only(rows),
        )


class Watch:
    """Finds the cells where a lattice offends."""

    def __init__(
        self,
        plain: Array,
        cells: CellSamples,
        metric: Floats,
        sets: Mapping[SetName, Audited],
        readers: Sequence[Reader],
    ) -> None:
        self.plain, self.readers = plain, tuple(readers)
        self.across = plain.shape[0] - 1
        self._cells, self._metric = cells, metric
        corners = corner_values(plain)
        self._upright = self._oriented(corners)
        self._shaped, self._shape = plain, self._upright.copy()
        self._inside_errors = {reader: self._error(corners, reader) for reader in readers}
        self._inside = {
            reader: _Tail(error.copy()) for reader, error in self._inside_errors.items()
        }
        self._sets = sets
        for audited in sets.values():
            _ = audited.lab  # Several threads ask for it at the same time.
        both = at_once(self._watch, product(sets, readers))
        self._watched = [watched for watched, _ in both]
        self._errors = [error for _, error in both]
        self._looked = plain
        # What the last `worse` saw near a limit, kept up to date by `offending`.
        self._now = plain
        self._looked_at = np.empty(0, dtype=np.intp)
        self._turned = np.empty(0, dtype=bool)
        self._close: list[tuple[_Watched, Array]] = []
        self._inside_close: dict[Reader, tuple[_Tail, Floats]] = {}

    def offending(self, lattice: Array) -> Mask:
        """Cells that fold or make a set's tail worse than plain sampling's, (cells,).

        It looks only at what came near a limit when `worse` looked at everything, and again
        only where a point has changed since: enough for lattices between that one and plain
        sampling. Before the first `worse` it sees nothing.
        """
        at = self._looked_at
        touched = _cells_at((lattice != self._now).any(axis=-1)).ravel()
        self._now = lattice
        again = touched[at]
        cells = at[again]
        corners = corner_values(lattice, cells)
        self._turned[again] = turned(self._oriented(corners, cells), self._upright[:, cells], _FLAT)
        out = self._none()
        out[at] = self._turned
        for reader, (tail, inside) in self._inside_close.items():
            inside[:, again] = self._error(corners, reader, cells)
            out[at] |= tail.to_blame(inside).any(axis=0)
        for watched, error in self._close:
            rows = touched[watched.cell]
            if rows.any():
                error[rows] = self._seen(watched.audited.only(rows), lattice, watched.reader)
            out[watched.cell[watched.tail.to_blame(error)]] = True
        return out

    def worse(self, lattice: Array, margin: float = _MARGIN) -> tuple[Mask, float]:
        """Look at everything that has changed since the last time.

        Parameters
        ----------
        lattice
            The lattice.
        margin
            Share of plain sampling's tail to stay below, so that other colours than the
            watched ones are safe.

        Returns
        -------
        tuple
            Cells that make a set's tail worse than plain sampling's, shape (cells,), and
            the largest mean of pictures or skin under a reader, plain sampling's being 1.
        """
        self._look(lattice)
        folds = self.folded(lattice)
        out, near, mean = self._none(), self._none(), 0.0
        for reader, tail in self._inside.items():
            inside = self._inside_errors[reader]
            out |= tail.to_blame(inside, margin).any(axis=0)
            near |= tail.near(inside).any(axis=0)
        self._close = []
        for watched, error in zip(self._watched, self._errors, strict=True):
            out[watched.cell[watched.tail.to_blame(error, margin)]] = True
            rows = watched.tail.near(error)
            self._close.append((watched.only(rows), error[rows]))
            if watched.name in _GAINING:
                mean = max(mean, float(error.mean()) / (watched.tail.mean + _INVISIBLE))
        self._now = lattice
        self._looked_at = np.flatnonzero(near | spread(out | folds))
        self._turned = folds[self._looked_at]
        looked_at = np.s_[:, self._looked_at]
        self._inside_close = {
            reader: (tail.only(looked_at), self._inside_errors[reader][looked_at])
            for reader, tail in self._inside.items()
        }
        return out, mean

    def _look(self, lattice: Array) -> None:
        """Bring the errors of all colours up to date, where the lattice has changed."""
        touched = _cells_at((lattice != self._looked).any(axis=-1)).ravel()
        cells = np.flatnonzero(touched)
        corners = corner_values(lattice, cells)
        for reader, inside in self._inside_errors.items():
            inside[:, cells] = self._error(corners, reader, cells)

        def look(job: tuple[_Watched, Array]) -> None:
            watched, error = job
            rows = touched[watched.cell]
            error[rows] = self._seen(watched.audited.only(rows), lattice, watched.reader)

        at_once(look, zip(self._watched, self._errors, strict=True))
        self._looked = lattice

    def folded(self, lattice: Array) -> Mask:
        """Cells that fold where plain sampling does not, shape (cells,)."""
        cells = np.flatnonzero(_cells_at((lattice != self._shaped).any(axis=-1)))
        self._shape[:, cells] = self._oriented(corner_values(lattice, cells), cells)
        self._shaped = lattice
        return turned(self._shape, self._upright, _FLAT)

    def unfolded(self, lattice: Array) -> Array:
        """Return the lattice with the cells that fold drawn towards plain sampling."""
        bad = self.folded(lattice)
        share = np.ones(lattice.shape[:3])
        at = np.flatnonzero(spread(bad))
        axis = near_axis(len(share), 1)
        moved = lattice
        for left in _UNFOLDING:
            if not bad.any():
                break
            around = corners_of(bad, len(share))
            if left:
                around &= ~axis
            share[around] *= left
            moved = self.plain + share[..., None] * (lattice - self.plain)
            corners = corner_values(moved, at)
            bad = self._none()
            bad[at] = turned(self._oriented(corners, at), self._upright[:, at], _FLAT)
        return moved

    def worst_cells(self, lattice: Array, count: int) -> list[int]:
        """Return the cells that plain sampling or `lattice` gets most wrong, each reader."""
        cells = set[int]()
        for reader in self.readers:
            for one in (self.plain, lattice):
                top = self._error(corner_values(one), reader).max(axis=0)
                cells.update(np.argsort(-top, kind="stable")[:count].tolist())
        return sorted(cells)

    def _none(self) -> Mask:
        """No cell."""
        return np.zeros(self.across**3, dtype=bool)

    def _oriented(self, corners: Floats, at: Any = None) -> Floats:
        """Orientation of the cells `at`, all by default."""
        return orientation(corners, self._metric if at is None else self._metric[:, at])

    def _error(self, corners: Floats, reader: Reader, at: Any = None) -> Floats:
        """Errors inside the cells, which stand for the whole cube, shape (p, cells).

        `at` says which cells the corners are of; all by default.
        """
        signal, metric = self._cells.signal, self._metric
        if at is not None and len(at) < signal.shape[2]:
            signal, metric = signal[:, :, at], metric[:, at]
        error = signal - self._cells.read(corners, reader)
        return np.asarray(np.sqrt(np.einsum("pcn,cn->pn", error * error, metric)))

    def _watch(self, job: tuple[SetName, Reader]) -> tuple[_Watched, Array]:
        """Return what is watched of a set under a reader, and its errors by plain sampling."""
        name, reader = job
        audited = self._sets[name]
        error = self._seen(audited, self.plain, reader)
        tail = _Tail(error.copy())
        return _Watched(name, audited, cell_of(audited.code, self.across), reader, tail), error

    def _seen(self, audited: Audited, lattice: Array, reader: Reader) -> Array:
        return audited.delta_e_2000(audited.read(lattice, reader))


class Summits:
    """The true maximum of plain sampling, which a fit may not exceed anywhere.

    It lies inside one of the cells that plain sampling or the fit gets most wrong.
    """

    def __init__(self, watch: Watch, fitted: Array, exact: Exact, light: Light) -> None:
        self._watch, self._exact, self._light = watch, exact, light
        cells = watch.worst_cells(fitted, _SUMMIT_CELLS)
        low = np.stack(np.unravel_index(cells, (watch.across,) * 3), axis=-1)
        self._places = (low[:, None] + _WITHIN) / watch.across
        self._audited = self._asked(self._places.reshape(-1, 3))
        climbed = at_once(lambda reader: self._climbed(watch.plain, reader), watch.readers)
        self._top = {
            reader: float(errors.max())
            for reader, (_, errors) in zip(watch.readers, climbed, strict=True)
        }

    def above(self, lattice: Array, plain: Mask) -> Mask:
        """Cells where `lattice` errs more than plain sampling does anywhere, (cells,).

        Parameters
        ----------
        lattice
            The lattice.
        plain
            Cells where it is plain sampling: an error found there raises the maximum
            that plain sampling is known to reach.
        """
        bad = np.zeros(len(plain), dtype=bool)
        climbed = at_once(lambda reader: self._climbed(lattice, reader), self._top)
        for reader, (places, errors) in zip(self._top, climbed, strict=True):
            cells = cell_of(places, self._watch.across)
            known = errors[plain[cells]].max(initial=0.0)
            self._top[reader] = top = max(self._top[reader], float(known))
            if errors.max() > top * 1.001 + _INVISIBLE:
                bad[cells[errors > top * 0.98]] = True
        return bad & ~plain

    def _climbed(self, lattice: Array, reader: Reader) -> tuple[Array, Array]:
        """Return the worst places of the worst cells and their Delta E 2000."""

        def error(audited: Audited) -> Array:
            return audited.delta_e_2000(audited.read(lattice, reader))

        errors = error(self._audited).reshape(self._places.shape[:2])
        best = np.argsort(-errors.max(axis=1), kind="stable")[:_CLIMBERS]
        pick = errors[best].argmax(axis=1)
        return climb(
            lambda place: error(self._asked(place)),
            self._places[best, pick],
            errors[best, pick],
            0.3 / self._watch.across,
            _CLIMBS,
            _TRIES,
        )

    def _asked(self, place: Array) -> Audited:
        return Audited(place, self._exact(place), self._light)


def held_back(fitted: Array, watch: Watch, summits: Summits) -> tuple[Array, float]:
    """Return a fitted lattice that makes no set's tail worse than plain sampling.

    Parameters
    ----------
    fitted
        The lattice, between plain sampling and the last one that `Watch.worse` saw.
    watch, summits
        What tells where a lattice is worse than plain sampling.

    Returns
    -------
    tuple
        The lattice, and the share of its points that were held back: 0 where nothing
        offended, 1 where nothing but plain sampling was left.
    """
    plain, size = watch.plain, watch.across + 1
    share = np.ones((size,) * 3)

    def give_way(cells: Mask, left: float, spared: int) -> None:
        around = corners_of(cells, size)
        if left:
            around &= ~near_axis(size, spared)
        elif share[around].max() == 0.0:
            # What still offends sits between held points and free ones.
            around = _grown(around)
        share[around] *= left
        if not left:
            _ease(share)

    lattice, bad = fitted, watch.worse(fitted)[0] | watch.folded(fitted)
    for _ in range(_SUMMIT_ROUNDS):
        for left, spared in _STEPS:
            if not bad.any():
                break
            give_way(bad, left, spared)
            lattice = plain + share[..., None] * (fitted - plain)
            bad = watch.offending(lattice)
            if not bad.any():
                bad = watch.worse(lattice)[0] | watch.folded(lattice)
        else:
            return plain, 1.0
        above = summits.above(lattice, cells_within(share == 0.0))
        if not above.any():
            return lattice, float((share < 1.0).mean())
        give_way(above, 0.0, -1)
        lattice = plain + share[..., None] * (fitted - plain)
        bad = watch.offending(lattice)
    return plain, 1.0


def cell_of(place: Array, across: int) -> npt.NDArray[np.intp]:
    """Return the index of the cell that holds each place, shape (n,), blue fastest."""
    low = np.minimum((place * across).astype(np.intp), across - 1)
    return np.asarray((low[:, 0] * across + low[:, 1]) * across + low[:, 2])


def corners_of(cells: Mask, size: int) -> Mask:
    """Points that are corners of a mask of cells, shape (size, size, size)."""
    box = cells.reshape((size - 1,) * 3)
    points = np.zeros((size,) * 3, dtype=bool)
    for i, j, k in CORNERS:
        points[i : i + size - 1, j : j + size - 1, k : k + size - 1] |= box
    return points


def spread(cells: Mask) -> Mask:
    """Add the cells that are two or fewer away, shape (cells,)."""
    across = round(len(cells) ** (1.0 / 3.0))
    box = cells.reshape((across,) * 3)
    for _ in range(2):
        box = _cells_at(corners_of(box.ravel(), across + 1))
    return box.ravel()


def _cells_at(points: Mask) -> Mask:
    """Cells with a corner in a mask of points, shape (n - 1, n - 1, n - 1)."""
    cells = points.shape[0] - 1
    box = np.zeros((cells,) * 3, dtype=bool)
    for i, j, k in CORNERS:
        box |= points[i : i + cells, j : j + cells, k : k + cells]
    return box


def _ease(share: Array) -> None:
    """Let no point keep much more of its change than its neighbours, in place.

    A hard border between held points and free ones would fold.
    """
    for _ in range(2):
        for axis in range(3):
            along = np.moveaxis(share, axis, 0)
            np.minimum(along[1:], along[:-1] + _SLOPE, out=along[1:])
            np.minimum(along[:-1], along[1:] + _SLOPE, out=along[:-1])


def near_axis(size: int, steps: int) -> Mask:
    """Points that `steps` or fewer separate from the diagonal.

    Trilinear readers see the grey ramp through those a step away, too.
    """
    place = np.arange(size)
    high = np.maximum(np.maximum.outer(place, place)[..., None], place)
    low = np.minimum(np.minimum.outer(place, place)[..., None], place)
    return np.asarray(high - low <= steps)


def _grown(points: Mask) -> Mask:
    """Spread a mask to the neighbours along the axes."""
    out = points.copy()
    for axis in range(3):
        there, here = np.moveaxis(out, axis, 0), np.moveaxis(points, axis, 0)
        there[1:] |= here[:-1]
        there[:-1] |= here[1:]
    return out


def cells_within(points: Mask) -> Mask:
    """Cells all of whose corners are in a mask of points, shape (cells,)."""
    cells = points.shape[0] - 1
    box = np.ones((cells,) * 3, dtype=bool)
    for i, j, k in CORNERS:
        box &= points[i : i + cells, j : j + cells, k : k + cells]
    return box.ravel()
