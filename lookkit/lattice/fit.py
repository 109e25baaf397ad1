"""Fitted lattices: values at the points chosen so that what lies between is closest.

Sampling a graph at the points of a lattice is exact there and always wrong to the same
side in between, because every reader cuts corners. Here the values are chosen by
regularised least squares over exact samples inside the cells, so that the interpolated
result is closest, in Delta E 2000, where pictures and lights are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from lookkit.accuracy.audit import Audited, audit
from lookkit.accuracy.interpolate import READERS, Reader
from lookkit.accuracy.samples import CodeSpace, SetName
from lookkit.accuracy.truth import Exact, Light, steady
from lookkit.lattice.hold import Summits, Watch, corners_of, held_back
from lookkit.lattice.problem import Problem
from lookkit.progress import Progress, silent
from lookkit.spaces.working import Array

_UNWATCHED: Final[SetName] = "clipped-faces"
"""Measured, but not held back for: on the print from S-Log3 at 17 points that raised the true
maximum by 8 %."""

_SETTLED_SHARES: Final = (0.7, 0.7, 0.0)
"""What is kept, turn by turn, of the last tint's removal where it folds."""

_SETTLED_TURNS: Final = 3
"""Turns in which cells that lose by it are left as they were; one was enough on 30 lattices."""

_TAIL_LEFT: Final = 0.95
"""What it may make of the tail of a set, plain sampling's being 1."""

_STILL_GAINS: Final = 0.97
"""What the mean of pictures and skin may rise to for it."""


def fit_lattice(
    exact: Exact,
    space: CodeSpace,
    light: Light,
    size: int = 33,
    *,
    readers: Sequence[Reader] = READERS,
    audited: Mapping[SetName, Audited] | None = None,
    progress: Progress = silent,
) -> Array:
    """Bake a graph into a fitted lattice.

    Parameters
    ----------
    exact
        The graph, from camera code in 0-1 to signal.
    space
        The camera's encoding, which tells where pictures and lights are.
    light
        The display, which tells how visible an error is.
    size
        Points along an edge, at least 3.
    readers
        How the file will be read: both ways by default.
    audited
        The graph's audited sets, if they are at hand already. They never enter the fit;
        they only hold it back where it would make one of them worse.
    progress
        Told after each of four steps.

    Returns
    -------
    Array
        Signal at the points, shape (size, size, size, 3), indexed [red, green, blue].
        Repeatable. Values stay within the exact values around each point, so nothing
        rings and no signal leaves the range; r = g = b on the axis of a neutral graph.

    Raises
    ------
    ValueError
        If `size` is below 3 or no reader is given.
    """
    if size < 3:
        raise ValueError(f"expected a size of at least 3, found {size}")
    if not readers:
        raise ValueError("expected at least one reader")
    graph = steady(exact)
    what = f"fit {size} points"
    progress(what, 0, 4)
    problem = Problem(graph, space, light, size, tuple(readers))
    progress(what, 1, 4)
    sets = audit(graph, space, light) if audited is None else audited
    watch = problem.watch({name: one for name, one in sets.items() if name != _UNWATCHED})
    progress(what, 2, 4)
    fitted = problem.fitted(watch)
    progress(what, 3, 4)
    summits = Summits(watch, fitted, graph, light)
    lattice = held_back(problem.yielded(fitted, watch, summits), watch, summits)
    if lattice is not problem.plain:
        lattice = _settled(lattice, problem, watch)
    progress(what, 4, 4)
    return lattice


def _settled(lattice: Array, problem: Problem, watch: Watch) -> Array:
    """Take out the tint that is left of the ramp, where that does no harm."""
    change = problem.settled(lattice) - lattice
    share = np.ones((*lattice.shape[:3], 1))
    for left in _SETTLED_SHARES:
        folds = watch.folded(lattice + share * change)
        if not folds.any():
            break
        share[corners_of(folds, len(lattice))] *= left
    worse, mean = watch.worse(lattice + share * change, _TAIL_LEFT)
    for _ in range(_SETTLED_TURNS):
        share[corners_of(worse, len(lattice))] = 0.0
        worse = watch.worse(lattice + share * change)[0]
        if not worse.any():
            break
    if worse.any() or mean > _STILL_GAINS:
        share[:] = 0.0
    return problem.ramp.rising(lattice + share * change)
