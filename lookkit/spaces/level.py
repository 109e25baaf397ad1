r"""How bright a scene colour is, as one number that stays sane.

    Y     = weights . rgb                    luminance of AP1
    level = sqrt(weights . rgb^2)            the luminance-weighted root mean square
    stops = log2(level / 0.18)

Luminance itself is a poor driver for tone: for a deep blue lamp it lies four stops under
what the camera's blue channel saw, and it is zero or negative for colours outside the
gamut. The level has the same weights, equals luminance on the neutral axis, is never below
it (Jensen's inequality), is positive for every colour but black, does not see signs, is
smooth, and scales with exposure. The weights are AP1's (Academy S-2014-004); the
root mean square is our own choice.
"""

from __future__ import annotations

import numpy as np

from lookkit.spaces.working import AP1_LUMINANCE, MID_GREY, Array

_BLACK = 1e-30


def luminance(rgb: Array) -> Array:
    """Return Y of scene-linear AP1, shape (..., 3) to (...); negatives are carried."""
    return np.asarray(rgb @ AP1_LUMINANCE)


def level(rgb: Array) -> Array:
    """Return the level of scene-linear AP1, shape (..., 3) to (...); 0 only for black."""
    return np.sqrt(np.square(rgb) @ AP1_LUMINANCE)


def stops_of(rgb: Array) -> Array:
    """Return the level in stops from mid-grey, shape (..., 3) to (...); black is -97.2."""
    return np.asarray(np.log2(np.maximum(level(rgb), _BLACK)) - np.log2(MID_GREY))
