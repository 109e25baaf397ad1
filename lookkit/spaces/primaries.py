"""RGB primaries, their matrices to CIE XYZ, and chromatic adaptation."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

import numpy as np

from lookkit.errors import InputError
from lookkit.spaces.working import Array

Chromaticity = tuple[float, float]
"""CIE 1931 x, y."""

Adaptation = Literal["bradford", "cat02", "none"]
"""How colours are carried from one white to another; "none" keeps XYZ as it is."""

ADAPTATIONS: Final = ("bradford", "cat02", "none")

_CONE_MATRICES: Final = {
    "bradford": np.array(
        [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
    ),
    "cat02": np.array(
        [[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061], [0.0030, 0.0136, 0.9834]]
    ),
}


@dataclass(frozen=True)
class Primaries:
    """Three primaries and a white, as CIE 1931 chromaticities.

    Raises
    ------
    InputError
        If the primaries lie on one line, a chromaticity has no finite XYZ, or the white
        cannot be mixed from the primaries with positive luminance of the whole.
    """

    name: str
    red: Chromaticity
    green: Chromaticity
    blue: Chromaticity
    white: Chromaticity

    def __post_init__(self) -> None:
        numbers = np.array([self.red, self.green, self.blue, self.white], dtype=np.float64)
        if numbers.shape != (4, 2) or not np.isfinite(numbers).all():
            raise InputError(f"{self.name}: primaries and white are finite pairs of x and y")
        if self.white[1] <= 0:
            raise InputError(f"{self.name}: the white has y = {self.white[1]:g}, expected above 0")
        (xr, yr), (xg, yg), (xb, yb) = self.red, self.green, self.blue
        area = abs((xg - xr) * (yb - yr) - (xb - xr) * (yg - yr)) / 2
        if area < 1e-4:
            raise InputError(f"{self.name}: the three primaries lie on one line")
        weights = np.linalg.solve(np.c_[numbers[:3], np.ones(3)].T, [*self.white, 1.0])
        if weights.min() <= 0:
            raise InputError(f"{self.name}: the white lies outside the triangle of the primaries")

    def to_xyz(self) -> Array:
        """Return the 3x3 matrix from linear RGB to CIE XYZ, white at Y = 1.

        The normalised primary matrix of SMPTE RP 177-1993.
        """
        return _to_xyz(self).copy()


@cache
def _to_xyz(primaries: Primaries) -> Array:
    columns = np.array(
        [_xyz_sum_one(xy) for xy in (primaries.red, primaries.green, primaries.blue)]
    )
    white = white_xyz(primaries.white)
    scale = np.linalg.solve(columns.T, white)
    return columns.T * scale


def from_xyz_matrix(name: str, to_xyz: Array) -> Primaries:
    """Return the primaries whose RGB a 3x3 matrix takes to CIE XYZ.

    Raises
    ------
    InputError
        If the matrix cannot be inverted or is no matrix of primaries.
    """
    columns = np.c_[to_xyz, to_xyz.sum(axis=1)].T
    totals = columns.sum(axis=1)
    if abs(np.linalg.det(to_xyz)) < 1e-9 or (np.abs(totals) < 1e-9).any():
        raise InputError(f"{name}: the matrix cannot be inverted")
    red, green, blue, white = (
        (float(c[0] / t), float(c[1] / t)) for c, t in zip(columns, totals, strict=True)
    )
    return Primaries(name, red, green, blue, white)


def _xyz_sum_one(xy: Chromaticity) -> Array:
    return np.array([xy[0], xy[1], 1.0 - xy[0] - xy[1]])


def white_xyz(white: Chromaticity) -> Array:
    """Return the XYZ of a chromaticity at Y = 1."""
    return _xyz_sum_one(white) / white[1]


def adaptation(source: Chromaticity, target: Chromaticity, method: Adaptation) -> Array:
    """Return the 3x3 matrix on CIE XYZ that carries the white `source` to `target`.

    A von Kries scaling in the cone space of `method`: Bradford (Lam 1985, as in ICC.1) or
    CAT02 (CIE 159:2004, full adaptation). Both whites keep Y = 1.

    Raises
    ------
    InputError
        If `method` is unknown.
    """
    if method == "none" or source == target:
        return np.eye(3)
    if method not in _CONE_MATRICES:
        raise InputError(f"adaptation {method!r}: expected one of: {', '.join(ADAPTATIONS)}")
    cone = _CONE_MATRICES[method]
    gain = (cone @ white_xyz(target)) / (cone @ white_xyz(source))
    return np.asarray(np.linalg.solve(cone, gain[:, None] * cone))


def between(source: Primaries, target: Primaries, method: Adaptation) -> Array:
    """Return the 3x3 matrix from linear RGB of `source` to linear RGB of `target`."""
    if _same(source, target):
        return np.eye(3)
    adapted = adaptation(source.white, target.white, method) @ source.to_xyz()
    return np.asarray(np.linalg.solve(target.to_xyz(), adapted))


def _same(a: Primaries, b: Primaries) -> bool:
    return (a.red, a.green, a.blue, a.white) == (b.red, b.green, b.blue, b.white)


D65: Final[Chromaticity] = (0.3127, 0.3290)
ACES_WHITE: Final[Chromaticity] = (0.32168, 0.33767)

AP0: Final = Primaries("AP0", (0.7347, 0.2653), (0.0, 1.0), (0.0001, -0.077), ACES_WHITE)
AP1: Final = Primaries("AP1", (0.713, 0.293), (0.165, 0.830), (0.128, 0.044), ACES_WHITE)
BT709: Final = Primaries("BT.709", (0.64, 0.33), (0.30, 0.60), (0.15, 0.06), D65)
BT2020: Final = Primaries("BT.2020", (0.708, 0.292), (0.170, 0.797), (0.131, 0.046), D65)
P3_D65: Final = Primaries("P3-D65", (0.680, 0.320), (0.265, 0.690), (0.150, 0.060), D65)
