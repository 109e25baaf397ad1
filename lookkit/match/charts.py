"""The 24-patch classic chart: its layout and its published editions.

Four rows of six: eighteen colours, then six neutrals from white to black. The same chart
was published with different values over the years; each edition is named, because the
wrong one costs up to several Delta E. Values only stand in for a main camera that was not
there: between two cameras the chart is whatever the main camera saw.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.errors import UnknownNameError
from lookkit.spaces.primaries import AP1, adaptation, white_xyz
from lookkit.spaces.working import Array

ROWS: Final = 4
COLUMNS: Final = 6
COUNT: Final = ROWS * COLUMNS
NEUTRALS: Final = slice(18, 24)
WHITE: Final = 18
NEUTRAL_5: Final = 21
BLACK: Final = 23

SWATCH: Final = 40.0
GAP: Final = 6.0
"""Nominal millimetres: a swatch, and the dark line between two."""


@dataclass(frozen=True)
class Edition:
    """One published set of values: scene-linear AP1 under AP1's white, (24, 3)."""

    name: str
    scene: Array

    @property
    def luminance(self) -> Array:
        """Relative luminance of the patches, white paper near 0.9, (24,)."""
        return np.asarray(self.scene @ AP1.to_xyz()[1])


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads((Path(__file__).parent / "charts.toml").read_text("utf-8"))


def patch_names() -> tuple[str, ...]:
    """Return the names of the 24 patches, row by row."""
    return tuple(_table()["patches"])


def editions() -> tuple[str, ...]:
    """Return the names of the published editions."""
    return tuple(_table()["editions"])


@cache
def edition(name: str) -> Edition:
    """Return a published edition, adapted to AP1's white with CAT02.

    Raises
    ------
    UnknownNameError
        If there is none of that name.
    """
    if name not in editions():
        raise UnknownNameError("chart edition", name, editions())
    data = _table()["editions"][name]
    white = (data["white"][0], data["white"][1])
    if "lab" in data:
        xyz = _xyz_of_lab(np.array(data["lab"]), white_xyz(white))
    else:
        x, y, luminance = np.array(data["xyy"]).T
        xyz = np.stack([x, y, 1.0 - x - y], axis=-1) * (luminance / y)[:, None]
    to_ap1 = np.linalg.inv(AP1.to_xyz()) @ adaptation(white, AP1.white, "cat02")
    return Edition(name, xyz @ to_ap1.T)


@cache
def hue_groups() -> tuple[tuple[int, ...], ...]:
    """Return the numbers of the patches of each eighth of the hue circle, and of the greys."""
    colours = _table()["editions"]["2014-11-after"]["lab"][: NEUTRALS.start]
    eighth = [int(np.degrees(np.arctan2(b, a)) % 360.0 // 45.0) for _, a, b in colours]
    hues = (tuple(i for i, one in enumerate(eighth) if one == k) for k in range(8))
    return (*(group for group in hues if group), tuple(range(COUNT)[NEUTRALS]))


def centres() -> Array:
    """Return the centres of the patches in a chart that fills the unit square, (24, 2).

    The unit square ends at the outer edges of the outer swatches.
    """
    pitch = SWATCH + GAP
    width, height = COLUMNS * pitch - GAP, ROWS * pitch - GAP
    column, row = np.meshgrid(np.arange(COLUMNS), np.arange(ROWS))
    x = (column.ravel() * pitch + 0.5 * SWATCH) / width
    y = (row.ravel() * pitch + 0.5 * SWATCH) / height
    return np.stack([x, y], axis=-1)


def half_swatch() -> Array:
    """Return half the width and height of a swatch in the unit square, (2,)."""
    pitch = SWATCH + GAP
    return np.array([0.5 * SWATCH / (COLUMNS * pitch - GAP), 0.5 * SWATCH / (ROWS * pitch - GAP)])


def _xyz_of_lab(lab: Array, white: Array) -> Array:
    fy = (lab[:, 0] + 16.0) / 116.0
    f = np.stack([fy + lab[:, 1] / 500.0, fy, fy - lab[:, 2] / 200.0], axis=-1)
    straight = (f * 116.0 - 16.0) * (27.0 / 24389.0)
    return np.asarray(np.where(f > 6.0 / 29.0, f**3, straight) * white)
