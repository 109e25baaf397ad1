"""A piece's lattice fitted: what its points hold is chosen so that pictures come out closest.

What is read between points is linear in what they hold: A x, where A has the four weights of a
tetrahedral reader. With J, how the signal on a display moves with what is held, the fit minimises

    sum_i w_i |J_i ((A x)_i - y_i)|^2 + a little |x - sampled|^2

over very many colours, drawn as pictures, skin, lights and over-range scenes have them, for each
point is held by few. Raising w_i where errors are largest, and solving again, made the tails of
colours that no fit saw longer. Points of neutral light stay as sampled, so greys do.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations_with_replacement, product
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.interpolate import tetrahedra, tetrahedral
from lookkit.spaces.working import Array

TEN_BIT: Final = 1023.0
_STEPS: Final = 25
_STEP: Final = 5e-5
"""How far what is held is moved to see how the signal moves."""
_UNSEEN: Final = 200.0
"""Codes for a change of 1 that count where nothing is seen of it."""
_NEAR_SAMPLED: Final = 1e-2
_DIFFERENT: Final = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))
"""Rows and columns of a symmetric matrix, each number once."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """What a lattice of any size should hold for the colours that it is fitted to.

    Attributes
    ----------
    held
        Shape (n, 3).
    seen
        w J^T J, how an error of what is held counts, shape (n, 3, 3).
    """

    held: Array
    seen: Array


def drawn(held: Array, share: Array, goal: Array, signal: Callable[[Array], Array]) -> Drawn:
    """Return what a fit needs to know of its colours.

    Parameters
    ----------
    held
        What a lattice should hold for them, shape (n, 3).
    share
        How much each counts, shape (n,).
    goal
        The error, in ten-bit codes, that the tail of its set should keep to, shape (n,).
    signal
        What a viewer's display gets for what is held, shape (m, 3) to (m, 3), 0-1.
    """
    at = signal(held)
    columns = [
        (signal(held + step) - at) * (TEN_BIT / _STEP) / goal[:, None] for step in _STEP * np.eye(3)
    ]
    slopes = np.stack(columns, axis=-1)
    seen = np.einsum("mck,mcl->mkl", slopes, slopes) + _UNSEEN**2 * np.eye(3)
    return Drawn(held, (share * len(share) / share.sum())[:, None, None] * seen)


def fitted(sampled: Array, place: Array, colours: Drawn, fixed: npt.NDArray[np.bool_]) -> Array:
    """Return a lattice near `sampled`, shape (n, n, n, 3), that is closer for colours.

    Parameters
    ----------
    place
        Where the colours lie in the lattice, 0-1, shape (m, 3).
    fixed
        Points that stay, shape (n, n, n), boolean.
    """
    missing = colours.held - tetrahedral(sampled, place)
    equations = _Equations(len(sampled), place, colours.seen, missing, ~fixed.ravel())
    return sampled + equations.solved().T.reshape(sampled.shape)


class _Equations:
    """The normal equations of a fit: each point with its neighbours, three channels at once.

    Two corners of a tetrahedron lie one of eight strides apart, so what couples them is kept as
    the six different numbers of a symmetric 3 x 3 matrix for each point and stride.
    """

    def __init__(
        self,
        size: int,
        place: Array,
        seen: Array,
        missing: Array,
        free: npt.NDArray[np.bool_],
    ) -> None:
        points = size**3
        corners, shares = tetrahedra(size, place)
        apart = sorted({i * size * size + j * size + k for i, j, k in product((0, 1), repeat=3)})
        weighed = [np.ascontiguousarray(seen[:, k, m]) for k, m in _DIFFERENT]
        sums = np.zeros((len(_DIFFERENT), len(apart) * points))
        for one, other in combinations_with_replacement(range(4), 2):
            stride = np.searchsorted(apart, corners[other] - corners[one])
            key = stride * points + corners[one]
            share = shares[one] * shares[other]
            for row, values in enumerate(weighed):
                sums[row] += np.bincount(key, share * values, minlength=sums.shape[1])
        self._couplings = sums.reshape(len(_DIFFERENT), len(apart), points)
        self._apart = apart
        self._free = free
        self._right = free * np.stack([
            sum(np.bincount(at, share * one, minlength=points)
                for at, share in zip(corners, shares, strict=True))
            for one in np.einsum("nkm,nm->kn", seen, missing)
        ])  # fmt: skip
        self._diagonal = self._couplings[:3, 0]
        self._keep = _NEAR_SAMPLED * (self._diagonal[self._diagonal > 0.0].mean() + self._diagonal)

    def solved(self) -> Array:
        """Return the change of every point, shape (3, points), by conjugate gradients."""
        residual, diagonal = self._right, self._diagonal + self._keep
        change = np.zeros_like(residual)
        step = residual / diagonal
        direction, size = step, float((residual * step).sum())
        for _ in range(_STEPS):
            if size <= 0.0:
                break
            image = self._times(direction)
            length = size / float((direction * image).sum())
            change = change + length * direction
            residual = residual - length * image
            step = residual / diagonal
            new = float((residual * step).sum())
            direction, size = step + new / size * direction, new
        return np.asarray(change)

    def _times(self, change: Array) -> Array:
        out = self._keep * change
        work = np.empty_like(change[0])
        for row, (k, m) in enumerate(_DIFFERENT):
            for stride, coupling in zip(self._apart, self._couplings[row], strict=True):
                near, far = slice(0, len(coupling) - stride), slice(stride, None)
                part = work[near]
                for into, of in sorted({(k, m), (m, k)}):
                    out[into, near] += np.multiply(coupling[near], change[of, far], out=part)
                    if stride:
                        out[into, far] += np.multiply(coupling[near], change[of, near], out=part)
        out *= self._free
        return np.asarray(out)
