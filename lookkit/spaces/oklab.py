r"""Hue and chroma of scene light, measured so that exposure changes neither.

    lms     = A rgb                          AP1 to D65 (Bradford), then Oklab's cones
    L, a, b = B cbrt(lms)                    cube roots keep signs
    hue     = atan2(b, a)                    degrees
    chroma  = C / sqrt(C^2 + L^2),           C = sqrt(a^2 + b^2)

Every step but the last is homogeneous: twice the light multiplies L, a and b by the cube
root of two, so hue and chroma stay exactly. Chroma runs from 0 (neutral) to 1 (no
lightness left) and is finite for every colour: skin has about 0.1, the red of a chart 0.3, a
red lamp 0.4 to 0.5, a blue one 0.6 to 0.7.

Hue for orientation: chart red 24, skin 40, orange 53, yellow 95-110, foliage 126, green
145, cyan 190-217, sky 253, blue lamp 243-264, violet 318, magenta 346.

Source: B. Ottosson, "A perceptual color space for image processing" (2020), the form of
W3C CSS Color Module Level 4. The rows of A are scaled, and one entry of B shifted by
4e-8, so that neutrals of AP1 are neutral exactly.
"""

from __future__ import annotations

import numpy as np

from lookkit.kernel.formula import Planes
from lookkit.kernel.maths import Plane, absolute, cbrt, maximum, minimum, unsure
from lookkit.spaces.primaries import ACES_WHITE, AP1, D65, adaptation
from lookkit.spaces.working import Array

XYZ_TO_LMS = np.array(
    [
        [0.8189330101, 0.3618667424, -0.1288597137],
        [0.0329845436, 0.9293118715, 0.0361456387],
        [0.0482003018, 0.2643662691, 0.6338517070],
    ]
)
ROOTS_TO_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)


def _cones() -> Array:
    published = XYZ_TO_LMS @ adaptation(ACES_WHITE, D65, "bradford") @ AP1.to_xyz()
    return np.asarray(published / published.sum(axis=1, keepdims=True))


def _opponents() -> Array:
    exact = ROOTS_TO_LAB.copy()
    exact[1:, 2] = -(exact[1:, 0] + exact[1:, 1])
    return exact


CONES = _cones()
"""A: AP1 to cone responses, shape (3, 3), rows sum to one."""
OPPONENTS = _opponents()
"""B: roots of cone responses to L, a, b, shape (3, 3)."""


_CONE_ROWS = CONES.tolist()
_OPPONENT_ROWS = OPPONENTS.tolist()
_LEAST_CONE, _DARK = 0.003, 1e-4
"""A cone response that is a smaller share of the pixel's light loses digits in float32, unless
the light is darker than anything seen."""


def roots_of(r: Plane, g: Plane, b: Plane) -> Planes:
    """Return the cube roots of the cone responses to planes of scene-linear AP1.

    Worked out from the differences to green, so that those of a neutral are equal to the bit.
    """
    x, z = r - g, b - g
    cones = [g + row[0] * x + row[2] * z for row in _CONE_ROWS]
    size = maximum(maximum(absolute(r), absolute(g)), absolute(b))
    least = minimum(minimum(absolute(cones[0]), absolute(cones[1])), absolute(cones[2]))
    unsure((least < _LEAST_CONE * size) & (size > _DARK))
    return cbrt(cones[0]), cbrt(cones[1]), cbrt(cones[2])


def opponents_of(long: Plane, middle: Plane, short: Plane) -> Planes:
    """Return L, a, b of planes of roots; equal roots have no a and b to the bit."""
    x, z = long - middle, short - middle
    first, second, third = _OPPONENT_ROWS
    return (
        first[0] * long + first[1] * middle + first[2] * short,
        second[0] * x + second[2] * z,
        third[0] * x + third[2] * z,
    )


def oklab(rgb: Array) -> Array:
    """Return L, a, b of scene-linear AP1, shape (..., 3); odd-symmetric, unbounded."""
    return np.stack(opponents_of(*roots_of(rgb[..., 0], rgb[..., 1], rgb[..., 2])), axis=-1)


def from_oklab(lab: Array) -> Array:
    """Return the scene-linear AP1 of L, a, b, shape (..., 3)."""
    return np.asarray((lab @ np.linalg.inv(OPPONENTS).T) ** 3 @ np.linalg.inv(CONES).T)


def hue_of(lab: Array) -> Array:
    """Return the hue of L, a, b in degrees, -180 to 180, shape (..., 3) to (...)."""
    return np.asarray(np.degrees(np.arctan2(lab[..., 2], lab[..., 1])))


def chroma_of(lab: Array) -> Array:
    """Return the chroma of L, a, b, 0 to 1, shape (..., 3) to (...); black has 0."""
    square = np.square(lab[..., 1]) + np.square(lab[..., 2])
    whole = square + np.square(lab[..., 0])
    share = np.divide(square, whole, out=np.zeros_like(whole), where=whole > 0.0)
    return np.asarray(np.sqrt(share))


def hue_distance(hue: Plane, centre: float) -> Plane:
    """Return how far `hue` lies from `centre` around the circle, 0 to 180 degrees.

    Both in degrees, -180 to 180 (see `in_circle`).
    """
    apart = absolute(hue - centre)
    return minimum(apart, 360.0 - apart)


def in_circle(degrees: float) -> float:
    """Return an angle of any number of turns as -180 to 180 degrees."""
    return (degrees + 180.0) % 360.0 - 180.0
