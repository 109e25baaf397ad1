"""Do no harm: where a fitted lattice would be worse than a sampled one, hold it back.

A fit lowers errors on the whole and may raise some. Where that makes the 99.9 % or the
maximum of an audited set worse, the points around the colours to blame go back towards
their sampled values until it does not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
"""The share of colours of which accuracy reports tell the largest error."""

_MARGIN: Final = 0.98
_TOP_MARGIN: Final = 0.95
"""Other colours than the watched ones are to keep the promise too; a maximum varies more."""

_SAME: Final = 1.001
_HARDLY: Final = 1.04
"""What errors may rise to, colour by colour, before they count as worse."""

_INVISIBLE: Final = 0.002
"""Delta E that no figure shows."""

_GAINING: Final[tuple[SetName, ...]] = ("image-like", "skin")
"""Where the mean is to fall: what a film is made of."""

_FLAT: Final = 0.9 * FLAT
"""A little less than reports allow, for files round what they hold."""

_SUMMIT_CELLS: Final = 256
_WITHIN: Final[Array] = np.array(list(product((0.2, 0.5, 0.8), repeat=3)))
_CLIMBERS: Final = 128
_CLIMBS: Final = 8
_TRIES: Final = 12
"""How a maximum is looked for: in so many of the worst cells, at 27 places each; from the best in
so many cells so many climbs are made, each of so many tries. Tests hold its promise by the longer
search of reports."""

_TURNS: Final = 24
"""Turns of `held_back`, each of which holds at least one cell more."""

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


@dataclass(frozen=True, eq=False)
class _Watched:
    name: SetName
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
        out, mean = np.zeros(self.across**3, dtype=bool), 0.0
        for reader, tail in self._inside.items():
            out |= tail.to_blame(self._inside_errors[reader], margin).any(axis=0)
        for watched, error in zip(self._watched, self._errors, strict=True):
            out[watched.cell[watched.tail.to_blame(error, margin)]] = True
            if watched.name in _GAINING:
                mean = max(mean, float(error.mean()) / (watched.tail.mean + _INVISIBLE))
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

    def worst_cells(self, lattice: Array, count: int) -> list[int]:
        """Return the cells that plain sampling or `lattice` gets most wrong, each reader."""
        cells = set[int]()
        for reader in self.readers:
            for one in (self.plain, lattice):
                top = self._error(corner_values(one), reader).max(axis=0)
                cells.update(np.argsort(-top, kind="stable")[:count].tolist())
        return sorted(cells)

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


def held_back(fitted: Array, watch: Watch, summits: Summits) -> Array:
    """Return a lattice with plain sampling around every cell that does harm.

    It is plain sampling everywhere where that does not end, or where pictures lose on the mean.
    """
    held = np.zeros((watch.across + 1,) * 3, dtype=bool)
    lattice = fitted
    for _ in range(_TURNS):
        worse, mean = watch.worse(lattice)
        bad = worse | watch.folded(lattice)
        if not bad.any():
            bad = summits.above(lattice, cells_within(held))
        if mean > 1.0:
            break
        if not bad.any():
            return lattice
        held |= corners_of(bad, len(held))
        lattice = np.where(held[..., None], watch.plain, fitted)
    return watch.plain


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


def _cells_at(points: Mask) -> Mask:
    """Cells with a corner in a mask of points, shape (n - 1, n - 1, n - 1)."""
    cells = points.shape[0] - 1
    box = np.zeros((cells,) * 3, dtype=bool)
    for i, j, k in CORNERS:
        box |= points[i : i + cells, j : j + cells, k : k + cells]
    return box


def near_axis(size: int, steps: int) -> Mask:
    """Points that `steps` or fewer separate from the diagonal.

    Trilinear readers see the grey ramp through those a step away, too.
    """
    place = np.arange(size)
    high = np.maximum(np.maximum.outer(place, place)[..., None], place)
    low = np.minimum(np.minimum.outer(place, place)[..., None], place)
    return np.asarray(high - low <= steps)


def cells_within(points: Mask) -> Mask:
    """Cells all of whose corners are in a mask of points, shape (cells,)."""
    cells = points.shape[0] - 1
    box = np.ones((cells,) * 3, dtype=bool)
    for i, j, k in CORNERS:
        box &= points[i : i + cells, j : j + cells, k : k + cells]
    return box.ravel()
