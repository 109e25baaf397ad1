"""The least-squares equations of a lattice, and their solution.

What a reader makes of a colour is linear in the lattice's values: a weighted sum of the
corners of one cell. So the squared error over many samples is a quadratic form that
couples a point only with its 26 neighbours. The matrix is kept as that stencil, half of
it, because it is symmetric, and solved by conjugate gradients with a diagonal
preconditioner; each channel is a system of its own. Compiled code does that where it is to be
had, numpy elsewhere.
"""

from __future__ import annotations

from ctypes import Structure, byref, c_double, c_float, c_int32, c_int64, c_void_p
from functools import cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.sampling import CORNERS, Floats
from lookkit.kernel import engine

PAIRS: Final = tuple((a, b) for a in range(8) for b in range(a, 8))
"""Every pair of corners of a cell, once."""

EDGES: Final = tuple(
    (a, b) for a, b in PAIRS if np.abs(np.subtract(CORNERS[a], CORNERS[b])).sum() == 1
)
"""The pairs of corners that an edge of the cell joins."""

_KEEP: Final = 1e-3
"""How strongly a value is held where the samples hardly ask for anything."""

_FIRMEST: Final = np.float32(1e12)
"""How firmly a point is held at most: float32 has room for its sums."""

_TOLERANCE: Final = 3e-3
"""What may be left of the residual: the weights of a fit are coarser guesses than that."""

_PASSES: Final = 3
"""Solutions, each with the values on their bounds that left them in the one before. Measured at 17
points: 200 leave in the first, 12 in the second, hardly one in the third."""


class Equations:
    """Normal equations for the change of one channel of a lattice, shape (n^3,).

    The unknown is the change from a starting lattice, so that float32 suffices.
    """

    def __init__(self, size: int) -> None:
        self.size = size
        self._diagonal = np.zeros(size**3, dtype=np.float32)
        self._right = np.zeros(size**3, dtype=np.float32)
        self._beyond: dict[int, Floats] = {}

    def add(self, pairs: Floats, aims: Floats) -> None:
        """Add what every cell asks for.

        Parameters
        ----------
        pairs
            Sum over the samples of weight x share of one corner x share of the other,
            for each of `PAIRS`, shape (36, cells).
        aims
            Sum over the samples of weight x share of a corner x what is to be changed,
            shape (8, cells).
        """
        for row, (a, b) in enumerate(PAIRS):
            target = self._diagonal if a == b else self._coupling(a, b)
            self._corner(target, a)[...] += self._cells(pairs[row])
        for a in range(8):
            self._corner(self._right, a)[...] += self._cells(aims[a])

    def stiffen(self, edges: Floats) -> None:
        """Let the two ends of an edge change alike.

        Parameters
        ----------
        edges
            What a squared difference between the changes at its two ends costs, for each of
            `EDGES`, shape (12, cells).
        """
        for (a, b), cost in zip(EDGES, edges, strict=True):
            at = self._cells(cost)
            self._corner(self._diagonal, a)[...] += at
            self._corner(self._diagonal, b)[...] += at
            self._corner(self._coupling(a, b), a)[...] -= at

    def hold(self, points: npt.NDArray[np.bool_], firmer: float) -> None:
        """Let a change of some points, shape (n^3,), cost `firmer` times as much."""
        self._diagonal[points] = np.minimum(self._diagonal[points] * firmer, _FIRMEST)

    def solve(self, low: Floats, high: Floats, start: Floats, iterations: int = 30) -> Floats:
        """Return the change, shape (n^3,), each value within its `low` and `high`.

        Values that want to leave their bounds are put on them and the rest is solved
        again; equal bounds fix a value. `start` is a guess.
        """
        held = low >= high
        change = np.clip(start, low, high)
        for _ in range(_PASSES):
            change = self._descend(change, ~held, iterations)
            clipped = np.clip(change, low, high)
            out = clipped != change
            change = clipped
            if not out.any():
                break
            held |= out
        return change

    def _descend(self, x: Floats, free: npt.NDArray[np.bool_], iterations: int) -> Floats:
        """Conjugate gradients from `x` over the values that are `free`."""
        if _library() is not None:
            return self._compiled(x, free, iterations)
        scale = free / np.maximum(self._diagonal * (1.0 + _KEEP), np.float32(1e-20))
        residual = (self._right - self._times(x)) * free
        step = scale * residual
        direction = step.copy()
        size = _dot(residual, step)
        wanted = max(_dot(self._right * free, scale * self._right), size) * _TOLERANCE**2
        x = x.copy()
        for _ in range(iterations):
            if size <= wanted:
                break
            image = self._times(direction)
            image *= free
            length = np.float32(size / max(_dot(direction, image), 1e-30))
            x += length * direction
            residual -= length * image
            np.multiply(scale, residual, out=step)
            new = _dot(residual, step)
            direction *= np.float32(new / max(size, 1e-30))
            direction += step
            size = new
        return x

    def _compiled(self, x: Floats, free: npt.NDArray[np.bool_], iterations: int) -> Floats:
        """Do the same by compiled code."""
        x = np.array(x, dtype=np.float32, order="C")
        shifts = np.array(list(self._beyond), dtype=np.int64)
        places = np.array([one.ctypes.data for one in self._beyond.values()], dtype=np.uint64)
        free = np.ascontiguousarray(free)
        given = _Stencil(
            len(x), len(shifts), 1.0 + _KEEP,
            *(one.ctypes.data for one in (shifts, places, self._diagonal, self._right, free)),
        )  # fmt: skip
        done = _library().lookkit_stencil_descend(
            byref(given), x.ctypes.data, iterations, _TOLERANCE
        )
        if done < 0:
            raise MemoryError("no memory for the fit of a lattice")
        return x

    def _times(self, x: Floats) -> Floats:
        out = self._diagonal * x
        out *= np.float32(1.0 + _KEEP)
        work = np.empty_like(x)
        for shift, coupling in self._beyond.items():
            near, far = slice(0, len(x) - shift), slice(shift, None)
            part = work[near]
            np.multiply(coupling[near], x[far], out=part)
            out[near] += part
            np.multiply(coupling[near], x[near], out=part)
            out[far] += part
        return out

    def _coupling(self, a: int, b: int) -> Floats:
        di, dj, dk = np.subtract(CORNERS[b], CORNERS[a])
        shift = int((di * self.size + dj) * self.size + dk)
        if shift not in self._beyond:
            self._beyond[shift] = np.zeros_like(self._diagonal)
        return self._beyond[shift]

    def _corner(self, points: Floats, corner: int) -> Floats:
        """View the values at one corner of every cell."""
        n, (i, j, k) = self.size, CORNERS[corner]
        box = points.reshape(n, n, n)
        return box[i : i + n - 1, j : j + n - 1, k : k + n - 1]

    def _cells(self, values: Floats) -> Floats:
        return values.reshape(self.size - 1, self.size - 1, self.size - 1)


class _Stencil(Structure):
    """The matrix and right side of the equations, as `stencil.c` takes them."""

    _fields_ = (
        ("points", c_int64),
        ("count", c_int32),
        ("keep", c_float),
        *((name, c_void_p) for name in ("shifts", "couplings", "diagonal", "right", "free")),
    )


@cache
def _library() -> Any:
    kinds = (c_void_p, c_void_p, c_int32, c_double)
    return engine.functions("lookkit_stencil_", (("descend", c_int32, kinds),))


def products(share: Floats) -> Floats:
    """Share of one corner x share of the other, for each of `PAIRS`, shape (36, p)."""
    return np.stack([share[:, a] * share[:, b] for a, b in PAIRS])


def _dot(first: Floats, second: Floats) -> float:
    return float(np.einsum("m,m->", first, second, dtype=np.float64))
