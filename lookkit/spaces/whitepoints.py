"""Whites of light: from a colour temperature and tint, a name, or a measured grey.

Chromaticities are CIE 1931 x, y. Tint is Duv: the distance from the locus in the CIE 1960
u, v diagram, positive towards green, negative towards magenta (ANSI C78.377).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.errors import InputError, UnknownNameError
from lookkit.spaces.primaries import (
    ACES_WHITE,
    AP1,
    Adaptation,
    Chromaticity,
    adaptation,
)
from lookkit.spaces.working import Array

LOWEST_KELVIN: Final = 1000.0
HIGHEST_KELVIN: Final = 25000.0
LARGEST_TINT: Final = 0.05
"""Beyond this distance from the locus a colour temperature has no meaning (CIE 15)."""

_BLEND: Final = (3500.0, 4000.0)
_SECOND_RADIATION_CONSTANT: Final = 1.4388e-2
"""Metre kelvin (CIE 15)."""


def daylight(kelvin: float) -> Chromaticity:
    """Return the CIE daylight illuminant of a correlated colour temperature.

    CIE 15:2004, equations 3.2 to 3.4, published for 4000 to 25000 K.
    """
    t = 1e3 / kelvin
    if kelvin <= 7000:
        x = -4.6070 * t**3 + 2.9678 * t**2 + 0.09911 * t + 0.244063
    else:
        x = -2.0064 * t**3 + 1.9018 * t**2 + 0.24748 * t + 0.237040
    return x, -3.0 * x * x + 2.870 * x - 0.275


def planckian(kelvin: float) -> Chromaticity:
    """Return the black body of a temperature, seen by the CIE 1931 observer.

    Planck's law with c2 = 0.014388 m K, summed over 360-830 nm in steps of 5 nm.
    """
    from lookkit.spaces.observer import MATCHING_FUNCTIONS, WAVELENGTHS

    metres = WAVELENGTHS * 1e-9
    power = metres**-5 / np.expm1(_SECOND_RADIATION_CONSTANT / (metres * kelvin))
    total = power @ MATCHING_FUNCTIONS
    x, y, _ = total / total.sum()
    return float(x), float(y)


def locus(kelvin: float) -> Chromaticity:
    """Return the white of a colour temperature without tint.

    From 4000 K the CIE daylight locus, up to 3500 K the Planckian locus; between them a
    smooth blend, so that nothing jumps as the temperature is turned.

    Raises
    ------
    InputError
        Outside 1000 to 25000 K.
    """
    if not LOWEST_KELVIN <= kelvin <= HIGHEST_KELVIN:
        raise InputError(f"{kelvin:g} K: expected {LOWEST_KELVIN:g} to {HIGHEST_KELVIN:g} K")
    return _locus(kelvin)


def _locus(kelvin: float) -> Chromaticity:
    low, high = _BLEND
    if kelvin >= high:
        return daylight(kelvin)
    body = planckian(kelvin)
    if kelvin <= low:
        return body
    step = (kelvin - low) / (high - low)
    weight = step * step * (3 - 2 * step)
    day = daylight(kelvin)
    return (body[0] + weight * (day[0] - body[0]), body[1] + weight * (day[1] - body[1]))


def white(kelvin: float, tint: float = 0.0) -> Chromaticity:
    """Return the white of a colour temperature and a tint.

    Parameters
    ----------
    kelvin
        1000 to 25000.
    tint
        Duv, -0.05 to 0.05: the distance from the locus in CIE 1960 u, v, along the line of
        equal correlated colour temperature (at right angles to the Planckian locus),
        positive towards green.

    Raises
    ------
    InputError
        Outside those ranges.
    """
    centre = locus(kelvin)
    if not abs(tint) <= LARGEST_TINT:
        raise InputError(f"tint {tint:g}: expected -{LARGEST_TINT:g} to {LARGEST_TINT:g}")
    if tint == 0:
        return centre
    uv = np.array(_uv(centre)) + tint * _greenward(kelvin)
    return _xy(float(uv[0]), float(uv[1]))


def kelvin_and_tint(xy: Chromaticity) -> tuple[float, float]:
    """Return the colour temperature and tint of a white; the inverse of `white`.

    Raises
    ------
    InputError
        If the white is further than 0.05 from the locus, or beyond its ends.
    """
    target = np.array(_uv(xy))

    def past(mired: float) -> float:
        """How far along the locus the white lies beyond a point of it."""
        across = _greenward(1e6 / mired)
        u, v = target - np.array(_uv(_locus(1e6 / mired)))
        return float(u * across[1] - v * across[0])

    grid = np.linspace(0.999e6 / HIGHEST_KELVIN, 1.001e6 / LOWEST_KELVIN, 100)
    signs = np.array([past(float(mired)) for mired in grid])
    found = []
    for index in np.flatnonzero(np.diff(signs > 0)):
        near, far = float(grid[index]), float(grid[index + 1])
        for _ in range(60):
            middle = (near + far) / 2
            same = (past(middle) > 0) == (signs[index] > 0)
            near, far = (middle, far) if same else (near, middle)
        kelvin = min(max(1e6 / near, LOWEST_KELVIN), HIGHEST_KELVIN)
        tint = float((target - np.array(_uv(_locus(kelvin)))) @ _greenward(kelvin))
        if abs(tint) <= LARGEST_TINT * (1 + 1e-9):
            found.append((kelvin, min(max(tint, -LARGEST_TINT), LARGEST_TINT)))
    if not found:
        raise InputError(f"white {xy[0]:.4f} {xy[1]:.4f}: too far from any colour temperature")
    return min(found, key=lambda one: abs(one[1]))


def _greenward(kelvin: float) -> Array:
    """Return the unit vector of equal colour temperature in u, v, towards green."""
    cooler = np.array(_uv(planckian(kelvin * 0.9999)))
    hotter = np.array(_uv(planckian(kelvin * 1.0001)))
    along = cooler - hotter
    return np.asarray(np.array([-along[1], along[0]]) / np.hypot(*along))


def _uv(xy: Chromaticity) -> tuple[float, float]:
    """CIE 1960 UCS."""
    scale = -2 * xy[0] + 12 * xy[1] + 3
    return 4 * xy[0] / scale, 6 * xy[1] / scale


def _xy(u: float, v: float) -> Chromaticity:
    scale = 2 * u - 8 * v + 4
    return 3 * u / scale, 2 * v / scale


_CIE_15: Final[dict[str, Chromaticity]] = {
    "A": (0.44758, 0.40745),
    "C": (0.31006, 0.31616),
    "D50": (0.3457, 0.3585),
    "D55": (0.3324, 0.3474),
    "D65": (0.3127, 0.3290),
    "D75": (0.2990, 0.3149),
    "E": (1 / 3, 1 / 3),
    "FL1": (0.3131, 0.3371),
    "FL2": (0.3721, 0.3751),
    "FL3": (0.4091, 0.3941),
    "FL4": (0.4402, 0.4031),
    "FL5": (0.3138, 0.3452),
    "FL6": (0.3779, 0.3882),
    "FL7": (0.3129, 0.3292),
    "FL8": (0.3458, 0.3586),
    "FL9": (0.3741, 0.3727),
    "FL10": (0.3458, 0.3588),
    "FL11": (0.3805, 0.3769),
    "FL12": (0.4370, 0.4042),
    "HP1": (0.5330, 0.4150),
    "HP2": (0.4778, 0.4158),
    "HP3": (0.4302, 0.4075),
    "HP4": (0.3812, 0.3797),
    "HP5": (0.3776, 0.3713),
    "LED-B1": (0.4560, 0.4078),
    "LED-B2": (0.4357, 0.4012),
    "LED-B3": (0.3756, 0.3723),
    "LED-B4": (0.3422, 0.3502),
    "LED-B5": (0.3118, 0.3236),
    "LED-BH1": (0.4474, 0.4066),
    "LED-RGB1": (0.4557, 0.4211),
    "LED-V1": (0.4548, 0.4044),
    "LED-V2": (0.3781, 0.3775),
}
"""CIE 15:2004 tables T.3, T.6.1 and T.8.1, CIE 15:2018 table 12, to the printed digits: daylight,
tungsten, fluorescent, high-pressure and LED lamps; D65 as video standards round it."""


def light_kelvin(light: float | str | None) -> float:
    """Return the colour temperature of a scene's light; daylight of 5600 K where none is known."""
    if isinstance(light, int | float):
        return float(light)
    try:
        return float(round(kelvin_and_tint(illuminant(light or "daylight"))[0]))
    except InputError:
        return 5600.0


@cache
def illuminants() -> Mapping[str, Chromaticity]:
    """Return the named whites.

    "tungsten" is 3200 K on the Planckian locus and "daylight" 5600 K on the daylight locus
    (the usual balances of lamps and cameras; common practice, no source), "D60" the white
    of ACES (Academy TB-2018-001), the others the illuminants of CIE 15.
    """
    own = {"tungsten": planckian(3200.0), "daylight": daylight(5600.0), "D60": ACES_WHITE}
    return MappingProxyType({**own, **_CIE_15})


def illuminant(name: str) -> Chromaticity:
    """Return the white of a named illuminant, in any case.

    Raises
    ------
    UnknownNameError
        With the nearest name.
    """
    for known, xy in illuminants().items():
        if known.casefold() == name.strip().casefold():
            return xy
    raise UnknownNameError("illuminant", name, illuminants())


def grey_white(rgb: npt.ArrayLike) -> Chromaticity:
    """Return the white that made a grey look like `rgb`, one scene-linear AP1 pixel.

    Raises
    ------
    InputError
        If the pixel is not finite, or black, or no light can look like it.
    """
    pixel = np.asarray(rgb, dtype=np.float64)
    if pixel.shape == (3,) and np.isfinite(pixel).all():
        xyz = AP1.to_xyz() @ pixel
        if xyz.min() > 0:
            return float(xyz[0] / xyz.sum()), float(xyz[1] / xyz.sum())
    raise InputError(f"grey {rgb!r}: expected three finite values of a lit grey, in AP1")


def balance(
    light: Chromaticity,
    target: Chromaticity = ACES_WHITE,
    method: Adaptation = "cat02",
) -> Array:
    """Return the 3x3 matrix on scene-linear AP1 that makes `light` look like `target`.

    A grey lit by `light` keeps its luminance and takes the chromaticity of `target`: with
    the default, it becomes neutral. To correct a shot made under one light with the camera
    set to another, `target` is what the camera was set to.
    """
    to_xyz = AP1.to_xyz()
    return np.asarray(np.linalg.solve(to_xyz, adaptation(light, target, method) @ to_xyz))
