"""Colours whose errors count in a fit, and how much each of them counts.

An error counts by a power of what it is of the tail it should keep to, so that the fit
lowers the tails of all sets and readers together and leaves small errors alone. A power
above two is reached by weights that are renewed from fit to fit.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from lookkit.accuracy.interpolate import READERS, Reader
from lookkit.accuracy.samples import FIT_SEED, CodeSpace, SetName, audit_sets
from lookkit.accuracy.sampling import CORNERS, CellSamples, Floats, corner_weights
from lookkit.accuracy.truth import Exact, Light, at_once
from lookkit.accuracy.visibility import visibility
from lookkit.lattice.equations import PAIRS, products
from lookkit.spaces.working import Array

_TAIL: Final = 0.999
"""The share of colours of which accuracy reports tell the largest error."""

_INVISIBLE: Final = 0.05
"""Delta E that no tail needs to go below."""

_HEAVY: Final = 8.0
"""A tail beyond this many means is of colours that no lattice of the size can follow."""

_LEAST: Final = 0.3
"""Errors below this share of the aim count as that much: means are to fall, too."""

_MOST: Final = 8.0
"""What one colour counts at most, so that no single one rules its cell."""


@dataclass(frozen=True)
class _Concern:
    """How much the errors of a set count, by what power, and what its tails are to become.

    The aims are shares of plain sampling's 99.9 %, tetrahedral and trilinear.
    """

    share: float
    power: float = 5.0
    aims: tuple[float, float] = (0.92, 0.92)


_DRAWS: Final[dict[SetName, int]] = {
    "image-like": 60_000,
    "skin": 6_000,
    "saturated-emitters": 15_000,
    "over-range": 6_000,
}
_CONCERNS: Final[dict[SetName, _Concern]] = {
    "image-like": _Concern(1.0, power=4.0, aims=(0.82, 0.66)),
    "skin": _Concern(0.3),
    "saturated-emitters": _Concern(0.25),
    "over-range": _Concern(0.03),
    # A few places in a cell do not show the worst of it: the power of a tail would hunt them.
    "whole-cube": _Concern(0.5, power=3.5, aims=(0.85, 0.85)),
}
_TOGETHER: Final[dict[Reader, list[int]]] = {
    "trilinear": list(range(len(PAIRS))),
    # From one corner of a tetrahedron to the next, steps are only ever added.
    "tetrahedral": [
        row
        for row, (first, second) in enumerate(PAIRS)
        if all(np.less_equal(CORNERS[first], CORNERS[second]))
    ],
}
"""The pairs of corners that a reader ever takes together."""

_CELLS_PER_DRAW: Final = 2 * 32**3
"""At 65 points twice as many colours change no tail by more than 3 %."""


@dataclass(frozen=True, eq=False)
class Sums:
    """The sums over the colours of every cell that make the equations of a fit.

    They are still to be weighed by the metric of each cell and channel.

    Attributes
    ----------
    pairs
        Of weight x share of one corner x share of the other, shape (36, cells).
    aims
        Of weight x share of a corner x what is missing there, shape (8, 3, cells).
    """

    pairs: Floats
    aims: Floats

    @classmethod
    def none(cls, cells: int) -> Sums:
        """Return sums over no colours."""
        pairs = np.zeros((len(PAIRS), cells), dtype=np.float32)
        return cls(pairs, np.zeros((8, 3, cells), dtype=np.float32))


class Counted(ABC):
    """Colours of one set, and the weight of each under each reader."""

    def __init__(self, name: SetName) -> None:
        self._concern = _CONCERNS[name]
        self._readers: tuple[Reader, ...] = ()
        self._weights: dict[Reader, Floats] = {}
        self._scale: dict[Reader, float] = {}
        self._missing: dict[Reader, Floats] = {}

    def begin(self, readers: Sequence[Reader], plain: Floats, start: Floats) -> None:
        """Take the aims from plain sampling.

        Parameters
        ----------
        readers
            How the file will be read.
        plain
            The corners of every cell by plain sampling, shape (8, 3, cells).
        start
            The corners that the change of a fit is counted from.
        """
        self._readers = tuple(readers)
        self._missing = self.missing(start)
        for reader, missing in self.missing(plain).items():
            error = self.length(missing)
            tail = min(float(np.quantile(error, _TAIL)), _HEAVY * float(error.mean()))
            tail = max(tail, _INVISIBLE)
            self._scale[reader] = tail * self._concern.aims[READERS.index(reader)]
            self._weights[reader] = self._heeded(error, reader)

    def heed(self, corners: Floats) -> None:
        """Let errors that a fit has left count more, half as before and half as now."""
        for reader, missing in self.missing(corners).items():
            weight = self._weights[reader]
            weight += self._heeded(self.length(missing), reader)
            weight *= 0.5

    def _asked(self) -> Iterator[tuple[Reader, Floats, Floats]]:
        """Give each reader, the weights of the colours and what is missing of them."""
        for reader, weight in self._weights.items():
            scale = self._concern.share / (self._scale[reader] ** 2 * weight.size)
            yield reader, weight * np.float32(scale), self._missing[reader]

    def _heeded(self, error: Floats, reader: Reader) -> Floats:
        relative = np.maximum(error / np.float32(self._scale[reader]), np.float32(_LEAST))
        return np.asarray(np.minimum(relative ** (self._concern.power - 2.0), _MOST), np.float32)

    @abstractmethod
    def missing(self, corners: Floats) -> dict[Reader, Floats]:
        """Exact signal less what each reader makes of the corners of all cells."""

    @abstractmethod
    def length(self, missing: Floats) -> Floats:
        """Delta E 2000 of what is missing, to first order."""

    @abstractmethod
    def add(self, sums: Sums) -> None:
        """Add what these colours ask for."""


class Drawn(Counted):
    """Colours wherever they lie in their cells: pictures and lights."""

    def __init__(
        self, name: SetName, place: Array, signal: Array, visible: Floats, metric: Floats
    ) -> None:
        super().__init__(name)
        across = round(metric.shape[1] ** (1.0 / 3.0))
        low = np.minimum((place * across).astype(np.intp), across - 1)
        cell = (low[:, 0] * across + low[:, 1]) * across + low[:, 2]
        order = np.argsort(cell, kind="stable")
        self._cell = cell[order]
        self._cells, self._first = np.unique(self._cell, return_index=True)
        self._signal = np.ascontiguousarray(signal[order].T, dtype=np.float32)
        self._metric = visible[:, order]
        # Within a cell the metric changes far more in size than between the channels.
        self._visible = self._metric.mean(axis=0) / metric.mean(axis=0)[self._cell]
        within = (place * across - low)[order]
        self._share = {
            reader: np.ascontiguousarray(corner_weights(within, reader).T) for reader in READERS
        }

    def missing(self, corners: Floats) -> dict[Reader, Floats]:
        """Shape (3, n)."""
        around = corners[:, :, self._cell]
        return {
            reader: self._signal - np.einsum("an,acn->cn", self._share[reader], around)
            for reader in self._readers
        }

    def length(self, missing: Floats) -> Floats:
        """Shape (n,)."""
        return np.asarray(np.sqrt(np.einsum("cn,cn,cn->n", missing, missing, self._metric)))

    def add(self, sums: Sums) -> None:
        """Add what these colours ask for."""
        for reader, weight, missing in self._asked():
            share = self._share[reader]
            counts = share * (weight * self._visible)
            for row in _TOGETHER[reader]:
                first, second = PAIRS[row]
                sums.pairs[row, self._cells] += self._in_cells(counts[first] * share[second])
            sums.aims[:, :, self._cells] += self._in_cells(counts[:, None] * missing)

    def _in_cells(self, values: Floats) -> Floats:
        return np.add.reduceat(values, self._first, axis=-1)


class Everywhere(Counted):
    """The same places in every cell, which stand for the whole cube."""

    def __init__(self, cells: CellSamples, metric: Floats) -> None:
        super().__init__("whole-cube")
        self._cells, self._metric = cells, metric

    def missing(self, corners: Floats) -> dict[Reader, Floats]:
        """Shape (p, 3, cells)."""
        return {
            reader: self._cells.signal - self._cells.read(corners, reader)
            for reader in self._readers
        }

    def length(self, missing: Floats) -> Floats:
        """Shape (p, cells)."""
        return np.asarray(np.sqrt(np.einsum("pcn,pcn,cn->pn", missing, missing, self._metric)))

    def add(self, sums: Sums) -> None:
        """Add what the places ask for."""
        for reader, weight, missing in self._asked():
            share = self._cells.weights(reader)
            sums.pairs[...] += np.einsum("ap,pn->an", products(share), weight)
            sums.aims[...] += np.einsum("pa,pcn->acn", share, weight[:, None] * missing)


def counted(
    exact: Exact,
    space: CodeSpace,
    light: Light,
    cells: CellSamples,
    metric: Floats,
) -> list[Counted]:
    """Draw the colours whose errors count; the more, the more cells there are."""
    more = max(1.0, metric.shape[1] / _CELLS_PER_DRAW)
    codes = audit_sets(space, FIT_SEED, {name: round(n * more) for name, n in _DRAWS.items()})
    code = np.concatenate(list(codes.values()))
    signal = exact(code)
    visible = visibility(signal, light)
    ends = np.cumsum([len(one) for one in codes.values()]).tolist()

    def drawn(job: tuple[SetName, slice]) -> Counted:
        name, rows = job
        return Drawn(name, code[rows], signal[rows], visible[:, rows], metric)

    parts = [slice(low, high) for low, high in pairwise([0, *ends])]
    return [Everywhere(cells, metric), *at_once(drawn, zip(codes, parts, strict=True))]
