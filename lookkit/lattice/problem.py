"""One fit of a lattice: what it counts, its equations and their solutions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.audit import Audited
from lookkit.accuracy.interpolate import Reader
from lookkit.accuracy.samples import CodeSpace, SetName
from lookkit.accuracy.sampling import CORNERS, Floats, corner_values, sample, sample_cells
from lookkit.accuracy.truth import Exact, Light, at_once
from lookkit.accuracy.visibility import visibility
from lookkit.lattice.axis import fit_axis
from lookkit.lattice.counted import Sums, counted
from lookkit.lattice.equations import EDGES, Equations
from lookkit.lattice.hold import Summits, Watch, cells_within, corners_of, near_axis
from lookkit.lattice.ramp import Ramp
from lookkit.spaces.working import Array

_PLACES: Final[Array] = np.array([(1, 1, 1), (1, 3, 3), (3, 1, 3), (3, 3, 1), (2, 2, 2)]) / 4.0
"""The middles of four of the eight parts of a cell, and its own: there ridges are highest."""

_ROUNDS: Final = 3
"""Fits, each with weights by the errors that the one before has left."""

_STIFFNESS: Final = 0.3
"""What it costs to change the two ends of an edge apart by one Delta E or by its length,
the longer of the two; an average cell's errors are 1."""

_STIFFER: Final = 3.0
"""How much stiffer cells get that fold while the weights are still renewed."""

_UNFOLDING: Final = (*[3.0] * 6, *[10.0] * 24)
"""How much stiffer cells that still fold get, turn by turn; what folds after all is drawn
towards plain sampling."""

_YIELDING: Final = (
    *[(2.0, True)] * 6, *[(2.0, False)] * 4, *[(4.0, False)] * 6, *[(16.0, False)] * 20,
)  # fmt: skip
"""How much firmer points around harmful cells are held to plain sampling, turn by turn, and
whether points beside the neutral axis are spared: they take the tint out of it."""

_UNMOVED: Final = 2e-5
"""A fiftieth of a ten-bit code: points that a new solution moves less stay as they are."""

_HAIR: Final = 1.0 / 1023.0
"""How far beyond the exact values around it a point may go for a ramp without a fall."""


class Problem:
    """Everything that one fit needs, and its solution."""

    def __init__(
        self,
        exact: Exact,
        space: CodeSpace,
        light: Light,
        size: int,
        readers: tuple[Reader, ...],
    ) -> None:
        self.size, self.readers = size, readers
        self.plain = sample(exact, size)
        self.cells = sample_cells(exact, size, _PLACES)
        inside = self.cells.signal.mean(axis=0, dtype=np.float64).T
        self.metric = visibility(inside, light)
        diagonal = np.arange(size)
        self.start = self.plain.copy()
        self.start[diagonal, diagonal, diagonal] = fit_axis(
            exact, light, self.plain[diagonal, diagonal, diagonal]
        )
        self.lowest, self.highest = self.plain.copy(), self.plain.copy()
        self.low, self.high = self._bounds()
        self.ramp = Ramp(exact, light, self.plain, self.metric)
        self.counted = counted(exact, space, light, self.cells, self.metric)
        corners = corner_values(self.plain)
        begun = corner_values(self.start)
        at_once(lambda one: one.begin(readers, corners, begun), self.counted)
        self.stiffness = self._stiffness(corners)
        self.equations: list[Equations] = []
        self.change = np.zeros_like(self.low)

    def fitted(self, watch: Watch) -> Array:
        """Return the fitted lattice, whose cells hardly ever fold."""
        lattice = self.start
        for turn in range(_ROUNDS):
            if turn:
                self._heed(lattice)
            self.equations = []  # Two sets of them would take 100 MB at 65 points.
            self.equations = self._equations(lattice)
            lattice = self._solved()
            folds = watch.folded(lattice)
            if turn < _ROUNDS - 1:
                self.stiffness[:, :, folds] *= _STIFFER
        for stiffer in _UNFOLDING:
            if not folds.any():
                break
            self._stiffen(folds, stiffer)
            lattice = self._solved()
            folds = watch.folded(lattice)
        return lattice

    def yielded(self, lattice: Array, watch: Watch, summits: Summits) -> Array:
        """Return a lattice drawn towards plain sampling where it does harm.

        Points around cells that do are held, with what is around them following, until none
        does any more, or as long as that helps.
        """
        beside = near_axis(self.size, 1)
        for firmer, spared in _YIELDING:
            harmful, folds = watch.worse(lattice)[0], watch.folded(lattice)
            if not (harmful | folds).any():
                away = np.abs(lattice - self.plain).max(axis=-1)
                as_sampled = np.asarray(away <= _UNMOVED)
                harmful = summits.above(lattice, cells_within(as_sampled))
                if not harmful.any():
                    break
            points = corners_of(harmful, self.size)
            if spared:
                points &= ~beside
            if not (points.any() or folds.any()):
                continue
            for one in self.equations:
                one.hold(points.ravel(), firmer)
            self._stiffen(folds, firmer)
            moved = self._solved()
            lattice = np.where(np.abs(moved - lattice) > _UNMOVED, moved, lattice)
        return lattice

    def settled(self, lattice: Array) -> Array:
        """Return the lattice with no tint left on the ramp that a trilinear reader sees."""
        if "trilinear" not in self.readers:
            return lattice
        low = np.maximum(self.lowest - _HAIR, self.plain.min())
        high = np.minimum(self.highest + _HAIR, self.plain.max())
        return self.ramp.settled(lattice, low, high)

    def watch(self, sets: Mapping[SetName, Audited]) -> Watch:
        """Return what tells where a lattice is worse than plain sampling."""
        return Watch(self.plain, self.cells, self.metric, sets, self.readers)

    def _heed(self, lattice: Array) -> None:
        corners = corner_values(lattice)
        at_once(lambda one: one.heed(corners), self.counted)

    def _equations(self, lattice: Array) -> list[Equations]:
        """Return what all asks for, channel by channel."""
        total = Sums.none(self.cells.signal.shape[2])
        for one in self.counted:
            one.add(total)
        scale = 1.0 / (total.pairs[0] * self.metric.mean(axis=0)).mean()
        weighed = self.metric * np.float32(scale)
        ramp = self.ramp.sums(lattice, self.start) if "trilinear" in self.readers else None

        def made(channel: int) -> Equations:
            pairs = total.pairs * weighed[channel]
            aims = total.aims[:, channel] * weighed[channel]
            if ramp is not None:
                metric = self.metric[channel, self.ramp.cells] / self.metric.mean()
                pairs[:, self.ramp.cells] += ramp[0] * metric
                aims[:, self.ramp.cells] += ramp[1][:, channel] * metric
            equations = Equations(self.size)
            equations.add(pairs, aims)
            equations.stiffen(self.stiffness[:, channel])
            return equations

        return at_once(made, range(3))

    def _solved(self) -> Array:
        """Return the lattice that solves the equations, from the last one on."""

        def solved(channel: int) -> Floats:
            return self.equations[channel].solve(
                self.low[channel], self.high[channel], self.change[channel]
            )

        self.change = np.stack(at_once(solved, range(3)))
        return self._changed(self.change)

    def _stiffen(self, cells: npt.NDArray[np.bool_], stiffer: float) -> None:
        more = np.zeros_like(self.stiffness)
        more[:, :, cells] = (stiffer - 1.0) * self.stiffness[:, :, cells]
        self.stiffness += more
        for channel, one in enumerate(self.equations):
            one.stiffen(more[:, channel])

    def _stiffness(self, corners: Floats) -> Floats:
        """Cost of changing the ends of each edge apart, shape (12, 3, cells)."""
        cost = np.empty((len(EDGES), *self.metric.shape), dtype=np.float32)
        for row, (a, b) in enumerate(EDGES):
            edge = corners[b] - corners[a]
            seen = np.einsum("cn,cn,cn->n", edge, edge, self.metric)
            cost[row] = _STIFFNESS * self.metric / np.maximum(seen, np.float32(1.0))
        return np.asarray(cost / self.metric.mean())

    def _changed(self, change: Floats) -> Array:
        moved = self.start + np.moveaxis(change.reshape(3, *self.start.shape[:3]), 0, -1)
        # Bounds kept in float32 may be missed by its rounding.
        return np.clip(moved, self.plain.min(), self.plain.max())

    def _bounds(self) -> tuple[Floats, Floats]:
        """How far each value may move: within the exact values around it.

        The axis stays, and so do the faces of the cube: clipped codes come out as sampled.
        """
        low, high = self.lowest, self.highest
        cells = self.size - 1
        least = _box(self.cells.signal.min(axis=0), cells)
        most = _box(self.cells.signal.max(axis=0), cells)
        for i, j, k in CORNERS:
            around = np.s_[i : i + cells, j : j + cells, k : k + cells]
            np.minimum(low[around], least, out=low[around])
            np.maximum(high[around], most, out=high[around])
        low, high = low - self.start, high - self.start
        fixed = np.zeros(self.start.shape[:3], dtype=bool)
        diagonal = np.arange(self.size)
        fixed[diagonal, diagonal, diagonal] = True
        for axis in range(3):
            np.moveaxis(fixed, axis, 0)[[0, -1]] = True
        low[fixed] = high[fixed] = 0.0
        return _planes(low), _planes(high)


def _box(values: Floats, cells: int) -> Array:
    """(3, cells) to (cells, cells, cells, 3)."""
    box = values.astype(np.float64).reshape(3, cells, cells, cells)
    return np.moveaxis(box, 0, -1)


def _planes(values: Array) -> Floats:
    """(n, n, n, 3) to (3, n^3)."""
    return np.ascontiguousarray(np.moveaxis(values, -1, 0).reshape(3, -1), dtype=np.float32)
