"""Scene-linear AP1 as people see it: L*a*b*, Delta E 2000, and their derivatives."""

from __future__ import annotations

from typing import Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.difference import lab as lab_of_xyz
from lookkit.spaces.primaries import AP1
from lookkit.spaces.working import Array

AP1_TO_XYZ: Final[Array] = AP1.to_xyz()
WHITE: Final[Array] = AP1_TO_XYZ.sum(axis=1)
"""XYZ of AP1 (1, 1, 1): a perfect white at nominal exposure."""

_KNEE: Final = 216.0 / 24389.0
_SLOPE: Final = 24389.0 / (27.0 * 116.0)
_TO_LAB: Final[Array] = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])


def lab(scene: Array) -> Array:
    """Return CIE L*a*b* of scene-linear AP1 (white at 1), shape (..., 3); negatives carried."""
    return lab_of_xyz(scene @ AP1_TO_XYZ.T, WHITE)


def difference(first: Array, second: Array) -> Array:
    """Return Delta E 2000 between scene-linear AP1 colours, shape (...)."""
    return delta_e_2000(lab(first), lab(second))


def lab_jacobian(scene: Array) -> Array:
    """Return the derivative of `lab` by AP1, shape (n, 3, 3) for colours (n, 3)."""
    ratio = scene @ (AP1_TO_XYZ / WHITE[:, None]).T
    bright = np.maximum(ratio, _KNEE)
    by_ratio = np.where(ratio > _KNEE, bright ** (-2.0 / 3.0) / 3.0, _SLOPE)
    return np.asarray(np.einsum("ij,nj,jk->nik", _TO_LAB, by_ratio, AP1_TO_XYZ / WHITE[:, None]))


def perceived(colours: Array, step: float = 0.5) -> Array:
    """Return matrices W so that |W d| is about Delta E 2000 for small d in L*a*b*, (n, 3, 3).

    The quadratic form is measured on steps of the published formula around each colour.
    """
    form = np.empty((len(colours), 3, 3))
    axes = np.eye(3) * step

    def squared(move: Array) -> Array:
        return (delta_e_2000(colours - 0.5 * move, colours + 0.5 * move) / step) ** 2

    for i in range(3):
        form[:, i, i] = squared(axes[i])
        for j in range(i):
            mixed = squared(axes[i] + axes[j]) - squared(axes[i] - axes[j])
            form[:, i, j] = form[:, j, i] = 0.25 * mixed
    return np.asarray(np.linalg.cholesky(form).transpose(0, 2, 1))
