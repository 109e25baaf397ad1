"""Colours whose errors count in a fit, and how much each of them counts.

An error counts by a power of what it is of the tail it should keep to, so that the fit
lowers the tails of all sets and readers together and leaves small errors alone. A power
above two is reached by weights that are renewed from fit to fit.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from lookkit.lattice.equations import PAIRS, products
from lookkit.lattice.interpolate import READERS, Reader
from lookkit.lattice.samples import FIT_SEED, CodeSpace, SetName, audit_sets
from lookkit.lattice.sampling import CellSamples, Floats, corner_weights
from lookkit.lattice.shaper import Shaper
from lookkit.lattice.truth import Exact, Light
from lookkit.lattice.weights import visibility
from lookkit.spaces.working import Array

_TAIL: Final = 0.999
_INVISIBLE: Final = 0.05
"""Delta E that no tail needs to go below."""

_LEAST: Final = 0.3
"""Errors below this share of the aim count as that much: means are to fall, too."""

_MOST: Final = 8.0
_FIRST: Final = np.array([first for first, _ in PAIRS])
_SECOND: Final = np.array([second for _, second in PAIRS])


@dataclass(frozen=True)
class _Concern:
    """How much the errors of a set count, by what power, and what its tails are to become.

    The aims are shares of plain sampling's 99.9 %, tetrahedral and trilinear.
    """

    share: float
    power: float = 5.0
    aims: tuple[float, float] = (0.92, 0.92)


_DRAWS: Final[dict[SetName, int]] = {
    "image-like": 40_000,
    "skin": 6_000,
    "saturated-emitters": 15_000,
    "over-range": 6_000,
}
_CONCERNS: Final[dict[SetName, _Concern]] = {
    "image-like": _Concern(1.0, aims=(0.80, 0.68)),
    "skin": _Concern(0.3),
    "saturated-emitters": _Concern(0.3),
    "over-range": _Concern(0.15),
    # A few places in a cell do not show the worst of it: no power of them does.
    "whole-cube": _Concern(1.0, power=2.5),
}
_CELLS_PER_DRAW: Final = 32**3


class Sums:
    """The sums over the colours of every cell that make the equations of a fit.

    Attributes
    ----------
    pairs
        Of weight x share of one corner x share of the other, shape (36, 3, cells).
    aims
        Of weight x share of a corner x what is missing there, shape (8, 3, cells).
    """

    def __init__(self, cells: int) -> None:
        self.pairs = np.zeros((len(PAIRS), 3, cells), dtype=np.float32)
        self.aims = np.zeros((8, 3, cells), dtype=np.float32)


class Counted(ABC):
    """Colours of one set, and the weight of each under each reader.

    Parameters
    ----------
    name
        The set.
    readers
        How the file will be read.
    plain
        The corners of every cell by plain sampling, shape (8, 3, cells).
    start
        The corners that the change of a fit is counted from.
    """

    def __init__(self, name: SetName) -> None:
        self._concern = _CONCERNS[name]
        self._weights: dict[Reader, Floats] = {}
        self._scale: dict[Reader, float] = {}
        self._missing: dict[Reader, Floats] = {}

    def begin(self, readers: Sequence[Reader], plain: Floats, start: Floats) -> None:
        """Take the aims from plain sampling."""
        for reader in readers:
            error = self.length(self.missing(plain, reader))
            tail = max(float(np.quantile(error, _TAIL)), _INVISIBLE)
            self._scale[reader] = tail * self._concern.aims[READERS.index(reader)]
            self._weights[reader] = self._heeded(error, reader)
            self._missing[reader] = self.missing(start, reader)

    def heed(self, corners: Floats) -> None:
        """Let errors that a fit has left count more, half as before and half as now."""
        for reader, weight in self._weights.items():
            error = self.length(self.missing(corners, reader))
            weight += self._heeded(error, reader)
            weight *= 0.5

    def add(self, sums: Sums) -> None:
        """Add what these colours ask for."""
        for reader, weight in self._weights.items():
            scale = np.float32(self._concern.share / (self._scale[reader] ** 2 * weight.size))
            self.add_weighted(sums, weight * scale, self._missing[reader], reader)

    def _heeded(self, error: Floats, reader: Reader) -> Floats:
        relative = np.maximum(error / np.float32(self._scale[reader]), np.float32(_LEAST))
        return np.minimum(relative ** (self._concern.power - 2.0), np.float32(_MOST))

    @abstractmethod
    def missing(self, corners: Floats, reader: Reader) -> Floats:
        """Exact signal less what a reader makes of the corners of all cells."""

    @abstractmethod
    def length(self, missing: Floats) -> Floats:
        """Delta E 2000 of what is missing, to first order."""

    @abstractmethod
    def add_weighted(self, sums: Sums, weight: Floats, missing: Floats, reader: Reader) -> None:
        """Add the colours with their weights."""


class Drawn(Counted):
    """Colours wherever they lie in their cells: pictures and lights."""

    def __init__(
        self, name: SetName, place: Array, signal: Array, light: Light, across: int
    ) -> None:
        super().__init__(name)
        low = np.minimum((place * across).astype(np.intp), across - 1)
        cell = (low[:, 0] * across + low[:, 1]) * across + low[:, 2]
        order = np.argsort(cell, kind="stable")
        self._cell = cell[order]
        self._cells, self._first = np.unique(self._cell, return_index=True)
        self._signal = np.ascontiguousarray(signal[order].T, dtype=np.float32)
        self._metric = visibility(signal[order], light)
        within = (place * across - low)[order]
        self._share = {
            reader: np.ascontiguousarray(corner_weights(within, reader).T) for reader in READERS
        }

    def missing(self, corners: Floats, reader: Reader) -> Floats:
        """Shape (3, n)."""
        around = corners[:, :, self._cell]
        return np.asarray(self._signal - np.einsum("an,acn->cn", self._share[reader], around))

    def length(self, missing: Floats) -> Floats:
        """Shape (n,)."""
        return np.asarray(np.sqrt(np.einsum("cn,cn,cn->n", missing, missing, self._metric)))

    def add_weighted(self, sums: Sums, weight: Floats, missing: Floats, reader: Reader) -> None:
        """Add the colours with their weights, shape (n,)."""
        share = self._share[reader]
        both = share[_FIRST] * share[_SECOND]
        for channel in range(3):
            counts = weight * self._metric[channel]
            sums.pairs[:, channel, self._cells] += self._in_cells(both * counts)
            sums.aims[:, channel, self._cells] += self._in_cells(
                share * (counts * missing[channel])
            )

    def _in_cells(self, values: Floats) -> Floats:
        return np.add.reduceat(values, self._first, axis=1)


class Everywhere(Counted):
    """The same places in every cell, which stand for the whole cube."""

    def __init__(self, cells: CellSamples, metric: Floats) -> None:
        super().__init__("whole-cube")
        self._cells, self._metric = cells, metric

    def missing(self, corners: Floats, reader: Reader) -> Floats:
        """Shape (p, 3, cells)."""
        return self._cells.signal - self._cells.read(corners, reader)

    def length(self, missing: Floats) -> Floats:
        """Shape (p, cells)."""
        return np.asarray(np.sqrt(np.einsum("pcn,pcn,cn->pn", missing, missing, self._metric)))

    def add_weighted(self, sums: Sums, weight: Floats, missing: Floats, reader: Reader) -> None:
        """Add the places with their weights, shape (p, cells)."""
        share = self._cells.weights(reader)
        sums.pairs += (products(share) @ weight)[:, None] * self._metric
        aims = share.T @ (weight[:, None] * missing).reshape(len(share), -1)
        sums.aims += aims.reshape(sums.aims.shape) * self._metric


def counted(
    exact: Exact,
    space: CodeSpace,
    light: Light,
    shaper: Shaper | None,
    cells: CellSamples,
    metric: Floats,
) -> list[Counted]:
    """Draw the colours whose errors count; the more, the more cells there are."""
    across = cells.size - 1
    more = max(1.0, across**3 / _CELLS_PER_DRAW)
    codes = audit_sets(space, FIT_SEED, {name: round(n * more) for name, n in _DRAWS.items()})
    found: list[Counted] = [Everywhere(cells, metric)]
    for name, code in codes.items():
        place = code if shaper is None else shaper.forward(code)
        found.append(Drawn(name, place, exact(code), light, across))
    return found
