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

from lookkit.kernel.maths import Plane, log2, maximum
from lookkit.spaces.working import AP1_LUMINANCE, MID_GREY, Array

_DARKEST = 1e-37
_GREY_STOPS = float(np.log2(MID_GREY))


RED, GREEN, BLUE = (float(weight) for weight in AP1_LUMINANCE)


def luminance_plane(r: Plane, g: Plane, b: Plane) -> Plane:
    """Return Y of planes of scene-linear AP1."""
    return RED * r + GREEN * g + BLUE * b


def square_plane(r: Plane, g: Plane, b: Plane) -> Plane:
    """Return the square of the level of planes of scene-linear AP1."""
    return RED * r * r + GREEN * g * g + BLUE * b * b


def stops_plane(r: Plane, g: Plane, b: Plane) -> Plane:
    """Return the level of planes in stops from mid-grey; black is -59."""
    return 0.5 * log2(maximum(square_plane(r, g, b), _DARKEST)) - _GREY_STOPS


def luminance(rgb: Array) -> Array:
    """Return Y of scene-linear AP1, shape (..., 3) to (...); negatives are carried."""
    return np.asarray(rgb @ AP1_LUMINANCE)


def level(rgb: Array) -> Array:
    """Return the level of scene-linear AP1, shape (..., 3) to (...); 0 only for black."""
    return np.asarray(np.sqrt(square_plane(rgb[..., 0], rgb[..., 1], rgb[..., 2])))


def stops_of(rgb: Array) -> Array:
    """Return the level in stops from mid-grey, shape (..., 3) to (...); black is -59."""
    return np.asarray(stops_plane(rgb[..., 0], rgb[..., 1], rgb[..., 2]))
