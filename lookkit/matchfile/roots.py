"""The terms of the colour stage, after root-polynomial colour correction.

G. Finlayson, M. Mackiewicz, A. Hurlbert, "Color Correction Using Root-Polynomial Regression"
(2015), less the mean of each pair, so that neutrals stay with the matrix alone.
"""

from __future__ import annotations

import numpy as np

from lookkit.spaces.working import Array


def root_terms(z: Array) -> Array:
    """Return sqrt(rg) - (r+g)/2, sqrt(gb) - (g+b)/2, sqrt(rb) - (r+b)/2, shape (..., 3).

    All are 0 for neutrals and scale with exposure; negative channels count as 0.
    """
    r, g, b = np.moveaxis(np.maximum(z, 0.0), -1, 0)
    return np.stack(
        [
            np.sqrt(r * g) - 0.5 * (r + g),
            np.sqrt(g * b) - 0.5 * (g + b),
            np.sqrt(r * b) - 0.5 * (r + b),
        ],
        axis=-1,
    )
