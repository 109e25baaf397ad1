"""The true maximum of a lattice's error, found where no audited set looks.

A set of random colours finds an error by chance. Here every cell is asked at its middle
and at the middles of its faces and edges, where interpolation errs most; the worst cells
are asked again inside, and the worst colours are followed uphill. It is a lower bound of
the true maximum, and a tight one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.difference import Real, delta_e_2000
from lookkit.accuracy.interpolate import Reader, interpolate
from lookkit.accuracy.sampling import grid
from lookkit.accuracy.truth import Exact, Light, in_chunks
from lookkit.spaces.working import Array

_SEED: Final = 20
_CELLS: Final = 256
_INSIDE: Final = 4
"""Places along each edge of a worst cell."""

_STARTS: Final = 128
_OFFSPRING: Final = 24
_ROUNDS: Final = 12
_SHRINK: Final = 0.6


@dataclass(frozen=True, eq=False)
class Probe:
    """The exact graph at the points of a lattice and half-way between them.

    It does not depend on the lattice's values: one probe serves both readers.

    Attributes
    ----------
    size
        Points along an edge of the lattice.
    signal
        Exact signal, shape (2 size - 1, 2 size - 1, 2 size - 1, 3).
    lab
        Its L*a*b*, float32, shape (n, 3) in the same order.
    """

    size: int
    signal: Array
    lab: Real

    @property
    def at_points(self) -> Array:
        """The exact signal at the lattice's points, shape (size, size, size, 3)."""
        return self.signal[::2, ::2, ::2]

    @property
    def in_cells(self) -> Array:
        """The exact signal in the middle of the cells, shape (size - 1,) * 3 + (3,)."""
        return self.signal[1::2, 1::2, 1::2]


def probe(exact: Exact, light: Light, size: int) -> Probe:
    """Ask a graph at the points of a lattice of `size` and half-way between them."""
    signal = exact(grid(2 * size - 1))
    lab = in_chunks(lambda part: light.lab(part).astype(np.float32), signal.reshape(-1, 3))
    return Probe(size, signal, lab)


def worst_places(
    lattice: Array,
    reader: Reader,
    exact: Exact,
    light: Light,
    probed: Probe,
) -> tuple[Array, Array]:
    """Find the colours that a lattice gets most wrong.

    Returns
    -------
    tuple
        Places on the lattice's axes, shape (n, 3), and their Delta E 2000, shape (n,),
        worst first.
    """

    def seen(place: Array) -> Array:
        read = interpolate(lattice, place, reader)
        return np.asarray(light.lab(read).astype(np.float32))

    def error(place: Array) -> Array:
        return in_chunks(
            lambda at, true: delta_e_2000(light.lab(true).astype(np.float32), seen(at)),
            place,
            exact(place),
        )

    cells = lattice.shape[0] - 1
    halves = grid(2 * cells + 1).reshape(-1, 3)
    first = in_chunks(lambda at, true: delta_e_2000(true, seen(at)), halves, probed.lab)
    low = _worst_cells(first.reshape((2 * cells + 1,) * 3))
    within = (grid(_INSIDE).reshape(-1, 3) * (_INSIDE - 1) + 0.5) / _INSIDE
    inside = ((low[:, None] + within) / cells).reshape(-1, 3)
    places = np.concatenate([halves, inside])
    errors = np.concatenate([first, error(inside)])

    top = np.argsort(-errors)[:_STARTS]
    best, most = climb(error, places[top], errors[top], 0.5 / cells, _ROUNDS, _OFFSPRING)
    rest = _worst_of_each_cell(first.reshape((2 * cells + 1,) * 3))
    places = np.concatenate([best, halves[rest]])
    errors = np.concatenate([most, first[rest]])
    order = np.argsort(-errors, kind="stable")
    return places[order], errors[order]


def climb(
    error: Callable[[Array], Array],
    places: Array,
    errors: Array,
    reach: float,
    rounds: int,
    offspring: int,
) -> tuple[Array, Array]:
    """Follow an error uphill from many places at once.

    Parameters
    ----------
    error
        Places (n, 3) in 0-1 to errors (n,).
    places, errors
        Where to start, shape (n, 3) and (n,).
    reach
        Half the edge of the box of the first random steps; it shrinks.
    rounds, offspring
        Steps taken, and random tries at each from every place.

    Returns
    -------
    tuple
        The places reached and their errors, never below those at the start. Repeatable.
    """
    rng = np.random.default_rng(_SEED)
    rows = np.arange(len(places))
    for _ in range(rounds):
        step = rng.uniform(-reach, reach, (len(places), offspring, 3))
        around = np.clip(places[:, None] + step, 0.0, 1.0)
        found = error(around.reshape(-1, 3)).reshape(len(places), offspring)
        pick = found.argmax(axis=1)
        better = found[rows, pick] > errors
        places = np.where(better[:, None], around[rows, pick], places)
        errors = np.maximum(errors, found[rows, pick])
        reach *= _SHRINK
    return places, errors


def _worst_of_each_cell(halves: Array) -> npt.NDArray[np.intp]:
    """Flat index of the largest error among the first eight places of every cell."""
    count = halves.shape[0]
    cells = count // 2
    index = np.arange(halves.size).reshape(halves.shape)[:-1, :-1, :-1]
    box = halves[:-1, :-1, :-1].reshape(cells, 2, cells, 2, cells, 2)
    parts = box.transpose(0, 2, 4, 1, 3, 5).reshape(-1, 8)
    flat = index.reshape(cells, 2, cells, 2, cells, 2).transpose(0, 2, 4, 1, 3, 5).reshape(-1, 8)
    return np.asarray(flat[np.arange(len(flat)), parts.argmax(axis=1)])


def _worst_cells(halves: Array) -> Array:
    """Low corners of the cells with the largest error among their 27 places, (n, 3)."""
    for axis in range(3):
        along = np.moveaxis(halves, axis, 0)
        both = np.maximum(np.maximum(along[:-2:2], along[1::2]), along[2::2])
        halves = np.moveaxis(both, 0, axis)
    top = np.argsort(-halves, axis=None)[:_CELLS]
    return np.stack(np.unravel_index(top, halves.shape), axis=-1).astype(np.float64)
