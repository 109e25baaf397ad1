"""The working space and the states a picture passes through.

The working space is scene-linear AP1 (ACEScg): mid-grey is 0.18, values run over
the whole real line, negatives included. Matrices are those of Academy TB-2014-012
and S-2014-004 to ten decimals.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any, Final

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
"""float64, shape (..., 3) for pixels, (3, 3) for matrices."""

OcioTransform = Any
"""A `PyOpenColorIO.Transform`; PyOpenColorIO ships no types."""


class State(StrEnum):
    """What the numbers of a pixel mean at a point of the graph."""

    CODE = "code"
    """A camera's code values; 0-1 spans the whole range of the file's integers."""
    SCENE = "scene"
    """Scene-linear AP1, mid-grey 0.18, negatives carried."""
    DISPLAY = "display"
    """Display-linear light in the RGB of an output's limiting gamut; 1.0 is 100 cd/m2."""
    SIGNAL = "signal"
    """Display code values; 0-1 spans the whole range of the file's integers."""


MID_GREY: Final = 0.18

AP1_TO_AP0: Final[Array] = np.array(
    [
        [0.6954522414, 0.1406786965, 0.1638690622],
        [0.0447945634, 0.8596711185, 0.0955343182],
        [-0.0055258826, 0.0040252103, 1.0015006723],
    ]
)
AP0_TO_AP1: Final[Array] = np.array(
    [
        [1.4514393161, -0.2365107469, -0.2149285693],
        [-0.0765537734, 1.1762296998, -0.0996759264],
        [0.0083161484, -0.0060324498, 0.9977163014],
    ]
)
AP1_LUMINANCE: Final[Array] = np.array([0.2722287168, 0.6740817658, 0.0536895174])
"""The Y row of AP1 to XYZ (S-2014-004); sums to one."""


def as_pixels(rgb: npt.ArrayLike) -> Array:
    """Return `rgb` as float64 of shape (..., 3).

    Raises
    ------
    ValueError
        If the last axis is not of length 3.
    """
    pixels = np.asarray(rgb, dtype=np.float64)
    if pixels.ndim == 0 or pixels.shape[-1] != 3:
        raise ValueError(f"expected an array of shape (..., 3), found {pixels.shape}")
    return pixels
