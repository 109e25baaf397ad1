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
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from lookkit.spaces.working import Array

TEN_BIT: Final = 1023.0
_STEPS: Final = 25
_STEP: Final = 5e-5
"""How far what is held is moved to see how the signal moves."""
_UNSEEN: Final = 200.0
"""Codes for a change of 1 that count where nothing is seen of it."""
_NEAR_SAMPLED: Final = 1e-2


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
    weighted = colours.seen
    weights = reading(len(sampled), place)
    backward, squared = weights.T.tocsr(), weights.multiply(weights).T.tocsr()
    free = ~fixed.reshape(-1, 1)
    start = sampled.reshape(-1, 3)
    diagonal = np.stack([squared @ weighted[:, k, k] for k in range(3)], axis=-1)
    keep = _NEAR_SAMPLED * (diagonal[diagonal > 0.0].mean() + diagonal)

    def pushed(change: Array) -> Array:
        pulled = np.einsum("mkl,ml->mk", weighted, weights @ change)
        return np.asarray((backward @ pulled + keep * change) * free)

    wanted = np.einsum("mkl,ml->mk", weighted, colours.held - weights @ start)
    found = start + _solved(pushed, (backward @ wanted) * free, diagonal + keep)
    return found.reshape(sampled.shape)


def reading(size: int, place: Array) -> Any:
    """Return the matrix of a tetrahedral reader, sparse, shape (m, size^3)."""
    from scipy.sparse import csr_matrix

    at = np.clip(place, 0.0, 1.0) * (size - 1)
    cell = np.minimum(at.astype(np.int64), size - 2)
    inside = at - cell
    order = np.argsort(-inside, axis=1, kind="stable")
    falling = np.take_along_axis(inside, order, axis=1)
    shares = np.concatenate([1.0 - falling[:, :1], -np.diff(falling, axis=1), falling[:, 2:]], 1)
    strides = np.array([size * size, size, 1])
    corners = (cell @ strides)[:, None] + np.concatenate(
        [np.zeros((len(place), 1), dtype=np.int64), np.cumsum(strides[order], axis=1)], axis=1
    )
    rows = np.repeat(np.arange(len(place)), 4)
    return csr_matrix((shares.ravel(), (rows, corners.ravel())), shape=(len(place), size**3))


def _solved(times: Callable[[Array], Array], residual: Array, diagonal: Array) -> Array:
    """Return the change that `times` makes `residual`, by conjugate gradients."""
    change = np.zeros_like(residual)
    step = residual / diagonal
    direction, size = step, float((residual * step).sum())
    for _ in range(_STEPS):
        if size <= 0.0:
            break
        image = times(direction)
        length = size / float((direction * image).sum())
        change = change + length * direction
        residual = residual - length * image
        step = residual / diagonal
        new = float((residual * step).sum())
        direction, size = step + new / size * direction, new
    return change
