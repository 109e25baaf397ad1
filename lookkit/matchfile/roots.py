"""The terms of the colour stage, after root-polynomial colour correction.

G. Finlayson, M. Mackiewicz, A. Hurlbert, "Color Correction Using Root-Polynomial Regression"
(2015), less the mean of each pair, so that neutrals stay with the matrix alone.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from lookkit.kernel.formula import Planes, Rows, formula
from lookkit.kernel.maths import Plane, maximum, mixed, sqrt
from lookkit.spaces.working import Array


class Staged(NamedTuple):
    """The matrix of a match, and the two of its colour stage."""

    first: Rows
    rows: Rows
    roots: Rows


@formula()
def match_colours(r: Plane, g: Plane, b: Plane, p: Staged) -> Planes:
    """Return y = first light, by the stage: rows y and roots times the terms of y."""
    r, g, b = mixed(p.first, r, g, b)
    own = mixed(p.rows, r, g, b)
    staged = mixed(p.roots, *terms_of(r, g, b))
    return own[0] + staged[0], own[1] + staged[1], own[2] + staged[2]


def terms_of(r: Plane, g: Plane, b: Plane) -> Planes:
    """Return `root_terms` of planes."""
    r, g, b = maximum(r, 0.0), maximum(g, 0.0), maximum(b, 0.0)
    return (
        sqrt(r * g) - 0.5 * (r + g),
        sqrt(g * b) - 0.5 * (g + b),
        sqrt(r * b) - 0.5 * (r + b),
    )


def root_terms(z: Array) -> Array:
    """Return sqrt(rg) - (r+g)/2, sqrt(gb) - (g+b)/2, sqrt(rb) - (r+b)/2, shape (..., 3).

    All are 0 for neutrals and scale with exposure; negative channels count as 0.
    """
    return np.stack(terms_of(z[..., 0], z[..., 1], z[..., 2]), axis=-1)
