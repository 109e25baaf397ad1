"""The true maximum of a lattice's error, found where no audited set looks.

A set of random colours finds an error by chance. Here every cell is asked at its middle
and at the middles of its faces and edges, where interpolation errs most. What the errors
there look like is estimated; the largest are measured, the worst cells are asked again inside,
and the worst colours are followed uphill. It is a lower bound of the true maximum, and a
tight one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from lookkit.accuracy.difference import Real, delta_e_2000
from lookkit.accuracy.interpolate import Reader, interpolate
from lookkit.accuracy.sampling import CORNERS, Floats, grid
from lookkit.accuracy.truth import Exact, Light, in_chunks
from lookkit.accuracy.visibility import visibility
from lookkit.spaces.working import Array

_SEED: Final = 20
_MEASURED: Final = 20_000
"""Places whose errors are measured. The maximum stays the same from 5,000 places on."""

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
    light
        The display.
    """

    size: int
    signal: Array
    light: Light

    @property
    def at_points(self) -> Array:
        """The exact signal at the lattice's points, shape (size, size, size, 3)."""
        return self.signal[::2, ::2, ::2]

    @cached_property
    def metric(self) -> Floats:
        """How visible an error in each cell is, shape (3, cells), as `visibility` gives it."""
        return visibility(self.signal[1::2, 1::2, 1::2].reshape(-1, 3), self.light)

    def estimate(self, lattice: Array, reader: Reader) -> Floats:
        """Squared errors of a lattice at all places, shape (2 size - 1,) * 3, to first order."""
        cells = self.size - 1
        box = self.metric.reshape(3, cells, cells, cells)
        error = np.zeros(self.signal.shape[:3], dtype=np.float32)
        for corner in CORNERS:
            at = tuple(slice(step, None, 2) for step in corner)
            away = self.signal[at] - halfway(lattice, corner, reader)
            # A place at the far end of an axis has no cell of its own there.
            metric = np.pad(box, [(0, 0), *[(0, 1 - step) for step in corner]], mode="edge")
            error[at] = np.einsum("ijkc,ijkc,cijk->ijk", away, away, metric)
        return error


def halfway(lattice: Array, corner: Sequence[int], reader: Reader) -> Array:
    """Read a lattice half-way from every point to the opposite corner of a box.

    `corner` says along which axes the box has an edge. A tetrahedral reader takes the mean of
    the two ends of the diagonal, a trilinear one that of all corners.
    """
    ends: list[Sequence[int]] = [one for one in CORNERS if all(np.less_equal(one, corner))]
    if reader == "tetrahedral":
        ends = [CORNERS[0], corner]
    size = lattice.shape[0]
    boxes = (
        lattice[
            tuple(slice(step, size - along + step) for step, along in zip(one, corner, strict=True))
        ]
        for one in ends
    )
    return np.asarray(sum(boxes) / len(ends))


def probe(exact: Exact, light: Light, size: int) -> Probe:
    """Ask a graph at the points of a lattice of `size` and half-way between them."""
    return Probe(size, exact(grid(2 * size - 1)), light)


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
    estimated = probed.estimate(lattice, reader)
    kth = min(_MEASURED, estimated.size - 1)
    chosen = np.sort(np.argpartition(-estimated, kth, axis=None)[:_MEASURED])
    halves = np.stack(np.unravel_index(chosen, estimated.shape), axis=-1) / (2.0 * cells)
    first = error(halves)
    measured = np.zeros(estimated.shape, dtype=np.float32)
    measured.ravel()[chosen] = first
    low = _worst_cells(measured)
    within = (grid(_INSIDE).reshape(-1, 3) * (_INSIDE - 1) + 0.5) / _INSIDE
    inside = ((low[:, None] + within) / cells).reshape(-1, 3)
    places = np.concatenate([halves, inside])
    errors = np.concatenate([first, error(inside)])

    top = np.argsort(-errors, kind="stable")[:_STARTS]
    best, most = climb(error, places[top], errors[top], 0.5 / cells, _ROUNDS, _OFFSPRING)
    places = np.concatenate([best, halves])
    errors = np.concatenate([most, first])
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


def _worst_cells(halves: Real) -> Array:
    """Low corners of the cells with the largest error among their 27 places, (n, 3)."""
    for axis in range(3):
        along = np.moveaxis(halves, axis, 0)
        both = np.maximum(np.maximum(along[:-2:2], along[1::2]), along[2::2])
        halves = np.moveaxis(both, 0, axis)
    top = np.argsort(-halves, axis=None)[:_CELLS]
    return np.stack(np.unravel_index(top, halves.shape), axis=-1).astype(np.float64)
