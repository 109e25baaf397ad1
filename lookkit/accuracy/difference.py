"""How far apart two colours look: Delta E 2000 and Delta E ITP.

Both are fast, vectorised and free of dependencies beyond numpy: a certificate measures
some hundred thousand colours. Light comes in as CIE XYZ in cd/m2.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.spaces.working import Array

Real = npt.NDArray[np.floating]
"""float64 or float32: the result has the precision of the input."""

XYZ_TO_BT2020: Final[Array] = np.array(
    [
        [1.716651187971268, -0.355670783776392, -0.253366281373660],
        [-0.666684351832489, 1.616481236634939, 0.015768545813911],
        [0.017639857445311, -0.042770613257809, 0.942103121235474],
    ]
)
"""From the primaries and D65 white of ITU-R BT.2020."""

_BT2020_TO_LMS: Final[Array] = (
    np.array([[1688.0, 2146.0, 262.0], [683.0, 2951.0, 462.0], [99.0, 309.0, 3688.0]]) / 4096.0
)
_LMS_TO_ITP: Final[Array] = (
    np.array([[2048.0, 2048.0, 0.0], [3305.0, -6806.5, 3501.5], [17933.0, -17390.0, -543.0]])
    / 4096.0
)
"""BT.2100 ICtCp with Ct halved, which is the T of BT.2124."""


def lab(xyz: Array, white: Array) -> Array:
    """Return CIE L*a*b* 1976 of light seen against a display's white.

    Parameters
    ----------
    xyz
        CIE XYZ, any unit, shape (..., 3). Negative values follow the straight part of
        the curve, so they stay finite and ordered.
    white
        XYZ of the display's white in the same unit, shape (3,).

    References
    ----------
    ISO/CIE 11664-4:2019.
    """
    ratio = xyz / white
    f = np.cbrt(ratio)
    dark = ratio < 216.0 / 24389.0
    if dark.any():
        f[dark] = (ratio[dark] * (24389.0 / 27.0) + 16.0) / 116.0
    out = np.empty_like(ratio)
    out[..., 0] = 116.0 * f[..., 1] - 16.0
    out[..., 1] = 500.0 * (f[..., 0] - f[..., 1])
    out[..., 2] = 200.0 * (f[..., 1] - f[..., 2])
    return out


def delta_e_2000(first: Real, second: Real) -> Array:
    """Return the CIEDE2000 colour difference of L*a*b* colours, shape (...).

    The angles of the published formula are carried as unit vectors, so that one arc
    tangent is left; the result agrees with the formula to rounding.

    Parameters
    ----------
    first, second
        L*a*b*, shape (..., 3); order does not matter.

    References
    ----------
    Sharma, Wu, Dalal: The CIEDE2000 color-difference formula, Color Research and
    Application 30 (2005); ISO/CIE 11664-6.
    """
    l1, a1, b1 = np.moveaxis(first, -1, 0)
    l2, a2, b2 = np.moveaxis(second, -1, 0)
    stretch = 0.5 * _toward_one(0.5 * (np.hypot(a1, b1) + np.hypot(a2, b2)))
    a1 = a1 * (1.5 - stretch)
    a2 = a2 * (1.5 - stretch)
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    mean_c = 0.5 * (c1 + c2)

    cos1, sin1 = _direction(a1, b1, c1)
    cos2, sin2 = _direction(a2, b2, c2)
    cos, sin = _mean_direction(cos1, sin1, cos2, sin2)
    cos_2h, sin_2h = cos * cos - sin * sin, 2.0 * cos * sin
    cos_3h, sin_3h = cos_2h * cos - sin_2h * sin, sin_2h * cos + cos_2h * sin
    cos_4h, sin_4h = cos_2h * cos_2h - sin_2h * sin_2h, 2.0 * cos_2h * sin_2h
    tone = (
        1.0
        - 0.17 * (_COS_30 * cos + _SIN_30 * sin)
        + 0.24 * cos_2h
        + 0.32 * (_COS_6 * cos_3h - _SIN_6 * sin_3h)
        - 0.20 * (_COS_63 * cos_4h + _SIN_63 * sin_4h)
    )

    light = (0.5 * (l1 + l2) - 50.0) ** 2
    d_l = (l2 - l1) / (1.0 + 0.015 * light / np.sqrt(20.0 + light))
    d_c = (c2 - c1) / (1.0 + 0.045 * mean_c)
    # 2 sqrt(C1 C2) sin(dh / 2) without the angle: (C1 C2 - dot) by way of the cross product
    # where the hues are close, or float32 would lose it.
    dot, cross = a1 * a2 + b1 * b2, a1 * b2 - a2 * b1
    both = c1 * c2
    near = np.maximum(both + dot, np.finfo(both.dtype).tiny)
    squared = np.where(dot > 0.0, cross * cross / near, both - dot)
    d_h = np.copysign(np.sqrt(2.0 * squared), cross) / (1.0 + 0.015 * mean_c * tone)

    hue = np.arctan2(sin, cos)
    hue = np.where(hue < 0.0, hue + math.tau, hue)
    bell = np.exp(-(((hue - math.radians(275.0)) / math.radians(25.0)) ** 2))
    rotation = -2.0 * _toward_one(mean_c) * np.sin(math.radians(60.0) * bell)
    return np.asarray(
        np.sqrt(np.maximum(d_l * d_l + d_c * d_c + d_h * d_h + rotation * d_c * d_h, 0.0))
    )


def itp(xyz: Array) -> Array:
    """Return the I, T, P of BT.2124 for CIE XYZ in cd/m2, shape (..., 3).

    Light below zero and above 10 000 cd/m2 is held at those ends, which is as far as
    the PQ scale goes.
    """
    lms = xyz @ (_BT2020_TO_LMS @ XYZ_TO_BT2020).T
    return np.asarray(_pq(lms) @ _LMS_TO_ITP.T)


def delta_e_itp(first: Array, second: Array) -> Array:
    """Return the Delta E ITP of colours given as I, T, P; 1 is just noticeable.

    References
    ----------
    ITU-R BT.2124 (2019).
    """
    step = first - second
    return np.asarray(720.0 * np.sqrt(np.einsum("...i,...i", step, step)))


def _pq(light: Array) -> Array:
    """SMPTE ST 2084 code of light in cd/m2."""
    y = np.clip(light / 10000.0, 0.0, 1.0) ** (1305.0 / 8192.0)
    return np.asarray(
        ((107.0 / 128.0 + (2413.0 / 128.0) * y) / (1.0 + (2392.0 / 128.0) * y)) ** (2523.0 / 32.0)
    )


_COS_30, _SIN_30 = math.cos(math.radians(30.0)), math.sin(math.radians(30.0))
_COS_6, _SIN_6 = math.cos(math.radians(6.0)), math.sin(math.radians(6.0))
_COS_63, _SIN_63 = math.cos(math.radians(63.0)), math.sin(math.radians(63.0))


def _toward_one(chroma: Array) -> Array:
    """Square root of C^7 / (C^7 + 25^7)."""
    c = chroma * (1.0 / 25.0)
    c2 = c * c
    c7 = c2 * c2 * c2 * c
    return np.asarray(np.sqrt(c7 / (c7 + 1.0)))


def _direction(a: Array, b: Array, chroma: Array) -> tuple[Array, Array]:
    """Cosine and sine of the hue; both 0 for a grey."""
    scale = 1.0 / np.where(chroma > 0.0, chroma, chroma + 1.0)
    return a * scale, b * scale


def _mean_direction(cos1: Array, sin1: Array, cos2: Array, sin2: Array) -> tuple[Array, Array]:
    """Cosine and sine of the mean hue, over the shorter arc; 0 degrees for two greys."""
    x, y = np.asarray(cos1 + cos2), np.asarray(sin1 + sin2)
    length = np.hypot(x, y)
    # Opposite hues have no shorter arc: the paper halves the sum of angles in 0-360.
    opposite = length < 1e-9
    if opposite.any():
        both = np.arctan2(sin1[opposite], cos1[opposite]) % math.tau
        both = 0.5 * (both + np.arctan2(sin2[opposite], cos2[opposite]) % math.tau)
        x[opposite], y[opposite], length[opposite] = np.cos(both), np.sin(both), 1.0
    return x / length, y / length
