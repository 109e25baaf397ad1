"""The curve of ITU-R BT.709 as the common start for cameras of unknown curve.

A fitted curve corrects it, so only its shape matters: cameras with a consumer gamma are
near it, and a correction of something near is smooth.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from lookkit.kernel.maths import Plane, maximum, power, where
from lookkit.spaces.working import Array

ALPHA: Final = 1.09929682680944
BETA: Final = 0.018053968510807
"""The constants of ITU-R BT.2020 note 1, with which curve and slope are continuous."""


def bt709_decode(signal: Plane) -> Plane:
    """Return linear light of a signal of any shape; carried on below 0 and above 1."""
    bright = maximum(signal, 4.5 * BETA)
    light = power((bright + (ALPHA - 1.0)) * (1.0 / ALPHA), 1.0 / 0.45)
    return where(signal < 4.5 * BETA, signal * (1.0 / 4.5), light)


def bt709_encode(light: Array) -> Array:
    """Return the signal of linear light of any shape: the inverse of `bt709_decode`."""
    bright = np.maximum(light, BETA)
    return np.where(light < BETA, 4.5 * light, ALPHA * bright**0.45 - (ALPHA - 1.0))
