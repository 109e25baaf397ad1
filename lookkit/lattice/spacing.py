r"""How a lattice's error depends on where its points lie: a model to second order.

Behind a shaper, whose slope is the density d of points along code, a reader that
interpolates errs at a colour by

    e    = h^2 / 2 sum_ij c_ij G_ij       h the step of the lattice
    c_ii = t_i (1 - t_i),                 t the colour's place in its cell, 0-1
    c_ij = min(t_i, t_j) - t_i t_j        tetrahedral; 0 trilinear
    G    = second derivatives of the graph along the lattice's axes

and a fit takes a share of the cell's mean error out again. When the density changes by a
factor r, G_ij becomes G_ij / (r_i r_j), less the slope of the graph times d(ln r) / r^2
on the diagonal; so the error of every colour follows from one look at the graph, and so
does its gradient. The derivatives are taken over the lattice's own steps: a model for
half or double the density, renewed behind each new shaper.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.interpolate import READERS, Reader
from lookkit.accuracy.samples import SetName
from lookkit.accuracy.shaper import Shaper
from lookkit.accuracy.truth import Exact, Light, in_chunks
from lookkit.spaces.working import Array

_STEP: Final = 0.004
_KNOTS: Final = 33
_GRID: Final = 257
_PAIRS: Final = ((0, 1), (0, 2), (1, 2))
_FITTED: Final = 0.3
"""Share of a cell's mean error that a fit takes out, as measured."""

_MEAN_OWN: Final = 1.0 / 6.0
_MEAN_MIXED: Final = 1.0 / 24.0
"""Means of c_ii and of c_ij over a cell and over both readers."""

_SEED: Final = 5
_TAIL_POWER: Final = 12
_GOAL_POWER: Final = 6
"""Means of these powers follow the tail of a set smoothly."""

_INVISIBLE: Final = 1e-3
_HARM: Final = 8.0
_ANY_HARM: Final = 0.3
_BEND: Final = 0.375
"""Cost of a squared slope of the log density."""

_TURNS: Final = 60
_ENTRIES: Final = 1025

Key = tuple[SetName, Reader]


@dataclass(frozen=True)
class Aim:
    """What a spacing is to achieve.

    Attributes
    ----------
    goal
        How much the log of a set's tail counts, by set and reader.
    limit
        The largest log of a set's tail that costs nothing.
    """

    goal: Mapping[Key, float]
    limit: Mapping[Key, float]


class Spacing:
    """The error of lattices behind a shaper as a function of the density of their points.

    Parameters
    ----------
    exact, light
        The graph and the display.
    sets
        Camera codes by set.
    size
        Points along an edge.
    shaper
        The shaper that the model starts from.
    """

    def __init__(
        self,
        exact: Exact,
        light: Light,
        sets: Mapping[SetName, Array],
        size: int,
        shaper: Shaper,
    ) -> None:
        self._shaper = shaper
        self._rows: dict[SetName, slice] = {}
        start = 0
        for name, code in sets.items():
            self._rows[name] = slice(start, start + len(code))
            start += len(code)
        place = shaper.forward(np.concatenate(list(sets.values())))
        self._look(exact, light, place, 1.0 / (size - 1))
        self._shares = _shares(len(place))
        self._basis = _basis()
        at = place * (_GRID - 1)
        self._low = np.minimum(at.astype(np.intp), _GRID - 2)
        self._high_share = (at - self._low).astype(np.float32)
        even = np.linspace(0.0, 1.0, _GRID)
        self._density = np.log(np.gradient(even, shaper.inverse(even)))

    def tails(self, *, fitted: bool = True) -> dict[Key, float]:
        """Return the log of each set's tail as the spacing is; `fitted` or sampled plainly."""
        own, mixed, *_ = self._second(np.zeros(_KNOTS))
        found = {}
        for reader in READERS:
            error = _length(_mixed(own, mixed, self._shares[reader, fitted]))
            for name, rows in self._rows.items():
                found[name, reader] = _power_mean(error[rows] + _INVISIBLE, _TAIL_POWER)[0]
        return found

    def improved(self, aim: Aim, reach: float) -> Shaper:
        """Return the shaper that serves the aim best.

        Parameters
        ----------
        aim
            What counts.
        reach
            Largest change of the log of the density.
        """
        from scipy.optimize import minimize

        found = minimize(
            lambda knots: self._cost(knots, aim),
            np.zeros(_KNOTS),
            jac=True,
            method="L-BFGS-B",
            bounds=[(-reach, reach)] * _KNOTS,
            options={"maxfun": _TURNS},
        )
        return self._shaper.then(shaper_of(self._log(found.x)))

    def _look(self, exact: Exact, light: Light, place: Array, step: float) -> None:
        """Take first and second derivatives over half a step, in units of Delta E."""
        half = 0.5 * step
        middle = np.clip(place, half, 1.0 - half)
        along = half * np.eye(3)
        moves = [np.zeros(3), *(sign * one for one in along for sign in (1.0, -1.0))]
        for i, j in _PAIRS:
            moves += [along[i] + along[j], -along[i] - along[j]]
            moves += [along[i] - along[j], along[j] - along[i]]
        around = self._shaper.inverse(middle + np.array(moves)[:, None])
        signal = exact(around.reshape(-1, 3)).reshape(around.shape)
        ahead, behind = signal[1:7:2], signal[2:7:2]
        slope = (ahead - behind) / (2.0 * half)
        own = (ahead + behind - 2.0 * signal[0]) / half**2
        corners = signal[7:].reshape(3, 4, *place.shape)
        mixed = (corners[:, 0] + corners[:, 1] - corners[:, 2] - corners[:, 3]) / (2.0 * half**2)
        seen = _seen(signal[0], light) * (0.5 * step**2)
        # The visible parts come first: sums over them are what takes the time.
        self._slope, self._own, self._mixed = (
            np.einsum("knj,njc->cnk", one, seen).astype(np.float32) for one in (slope, own, mixed)
        )

    def _log(self, knots: Array) -> Array:
        """Log of the density's change on the grid, whose mean density is 1."""
        log = self._basis @ knots
        return np.asarray(log - np.log((np.exp(log) * _PART).sum()))

    def _second(self, knots: Array) -> tuple[Array, Array, Array, Array]:
        """Return own and mixed second derivatives, (3, n, 3) each, 1 / r and the log of r."""
        log = self._log(knots)
        bend = (np.diff(log) * (_GRID - 1)).astype(np.float32)[self._low]
        there = log[self._low] * (1.0 - self._high_share) + log[self._low + 1] * self._high_share
        sparse = np.exp(-there).astype(np.float32)
        own = (self._own - self._slope * bend) * (sparse * sparse)
        pairs = np.stack([sparse[:, i] * sparse[:, j] for i, j in _PAIRS], axis=-1)
        return own, self._mixed * pairs, sparse, log

    def _cost(self, knots: Array, aim: Aim) -> tuple[float, Array]:
        """Return the cost of knots and its gradient."""
        own, mixed, sparse, log = self._second(knots)
        slope = self._slope * (sparse * sparse)
        by_log = np.zeros(sparse.shape, dtype=np.float32)
        by_bend = np.zeros_like(by_log)
        cost = 0.0
        for reader in READERS:
            shares = self._shares[reader, True]
            error = _mixed(own, mixed, shares)
            length = _length(error)
            pull = np.zeros_like(length)
            for name, rows in self._rows.items():
                seen = length[rows] + _INVISIBLE
                tail, by_tail = _power_mean(seen, _TAIL_POWER)
                harm = max(0.0, tail - aim.limit[name, reader])
                cost += _HARM * harm * harm + _ANY_HARM * harm
                pull[rows] += (2.0 * _HARM * harm + (_ANY_HARM if harm > 0.0 else 0.0)) * by_tail
                goal = aim.goal.get((name, reader), 0.0)
                if goal:
                    tail, by_tail = _power_mean(seen, _GOAL_POWER)
                    cost += goal * tail
                    pull[rows] += goal * by_tail
            pulls = (error * (pull / (length + 1e-9)))[:, :, None]
            on_own, on_mixed = ((part * pulls).sum(axis=0) for part in (own, mixed))
            by_log -= 2.0 * on_own * shares[:, :3]
            for index, pair in enumerate(_PAIRS):
                by_log[:, pair] -= (on_mixed[:, index] * shares[:, 3 + index])[:, None]
            by_bend -= (slope * pulls).sum(axis=0) * shares[:, :3]
        low, high = self._low.ravel(), self._high_share.ravel()
        level, bend = by_log.ravel(), by_bend.ravel() * (_GRID - 1.0)
        on_grid = np.zeros(_GRID)
        on_grid += np.bincount(low, level * (1.0 - high) - bend, _GRID)
        on_grid += np.bincount(low + 1, level * high + bend, _GRID)
        on_grid -= on_grid.sum() * np.exp(log) * _PART
        step: Array = np.diff(log + self._density)
        cost += _BEND * float(step @ step)
        on_grid[1:] += 2.0 * _BEND * step
        on_grid[:-1] -= 2.0 * _BEND * step
        return cost, self._basis.T @ on_grid


def shaper_of(log_density: Array) -> Shaper:
    """Return the shaper whose log density of points runs straight between equal steps of code."""
    middle = (np.arange(_ENTRIES - 1) + 0.5) / (_ENTRIES - 1)
    even = np.linspace(0.0, 1.0, len(log_density))
    table = np.concatenate([[0.0], np.cumsum(np.exp(np.interp(middle, even, log_density)))])
    return Shaper(table / table[-1])


_PART: Final[Array] = np.concatenate([[0.5], np.ones(_GRID - 2), [0.5]]) / (_GRID - 1.0)


def _basis() -> Array:
    """Return what each knot adds to the log density: a rounded hat, shape (grid, knots)."""
    even, knots = np.linspace(0.0, 1.0, _GRID), np.linspace(0.0, 1.0, _KNOTS)
    reach = (_GRID - 1) // (2 * (_KNOTS - 1))
    round_off = np.hanning(2 * reach + 3)[1:-1]
    round_off /= round_off.sum()
    hats = [np.interp(even, knots, one) for one in np.eye(_KNOTS)]
    padded = [np.pad(hat, reach, mode="edge") for hat in hats]
    return np.stack([np.convolve(hat, round_off, "valid") for hat in padded], axis=1)


def _shares(count: int) -> dict[tuple[Reader, bool], npt.NDArray[np.float32]]:
    """c_ij at random places in a cell, shape (count, 6), by reader, fitted or not."""
    place = np.random.default_rng(_SEED).random((count, 3)).astype(np.float32)
    shares = {}
    for reader in READERS:
        plain = np.zeros((count, 6), dtype=np.float32)
        plain[:, :3] = place * (1.0 - place)
        if reader == "tetrahedral":
            for index, (i, j) in enumerate(_PAIRS):
                least = np.minimum(place[:, i], place[:, j])
                plain[:, 3 + index] = least - place[:, i] * place[:, j]
        shares[reader, False] = plain
        means = np.array([_MEAN_OWN] * 3 + [_MEAN_MIXED] * 3, dtype=np.float32)
        shares[reader, True] = plain - np.float32(_FITTED) * means
    return shares


def _mixed(own: Array, mixed: Array, shares: npt.NDArray[np.float32]) -> Array:
    """Return the visible error, shape (3, n)."""
    return np.asarray((own * shares[:, :3]).sum(axis=2) + (mixed * shares[:, 3:]).sum(axis=2))


def _length(error: Array) -> Array:
    return np.asarray(np.sqrt((error * error).sum(axis=0)))


def _power_mean(error: Array, power: int) -> tuple[float, Array]:
    """Return the log of a power mean, and its derivative by each error."""
    top = float(error.max())
    part = error / top
    total = float((part**power).sum(dtype=np.float64))
    mean = np.log(top) + np.log(total / len(error)) / power
    return float(mean), np.asarray(part ** (power - 1) / (top * total))


def _seen(signal: Array, light: Light) -> Array:
    """Return the matrix that makes a small error of signal visible, shape (n, 3, 3).

    The length of an error times this matrix is its Delta E 2000.
    """
    # Step inwards, so that no signal leaves 0-1.
    step = np.where(signal > 0.5, -_STEP, _STEP)

    def squared(channels: Sequence[int]) -> Array:
        moved = signal.copy()
        moved[:, list(channels)] += step[:, list(channels)]
        return in_chunks(
            lambda one, other: delta_e_2000(light.lab(one), light.lab(other)) ** 2, signal, moved
        )

    alone = [squared([channel]) for channel in range(3)]
    metric = np.empty((len(signal), 3, 3))
    for i in range(3):
        metric[:, i, i] = alone[i] / step[:, i] ** 2
    for i, j in _PAIRS:
        both = squared([i, j]) - alone[i] - alone[j]
        metric[:, i, j] = metric[:, j, i] = both / (2.0 * step[:, i] * step[:, j])
    values, vectors = np.linalg.eigh(metric)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0))[:, None])
