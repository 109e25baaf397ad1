"""What an error costs: how visible it is."""

from __future__ import annotations

from typing import Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.sampling import Floats
from lookkit.accuracy.truth import Light, in_chunks
from lookkit.spaces.working import Array

_STEP: Final = 0.004
"""About four 10-bit codes: small against the curvature of vision, large against rounding."""

_FLOOR: Final = 15.0
"""Delta E per unit of signal that an error costs even where the eye forgives everything."""


def visibility(signal: Array, light: Light) -> Floats:
    """Squared Delta E 2000 per squared unit of signal, in each channel.

    Parameters
    ----------
    signal
        Display signal in 0-1, shape (n, 3).
    light
        The display.

    Returns
    -------
    Floats
        Shape (3, n): the diagonal of the local metric of Delta E 2000, with a floor.
    """

    def cost(signal: Array) -> Array:
        here = light.lab(signal).astype(np.float32)
        # Step inwards, so that no signal leaves 0-1.
        step = np.where(signal > 0.5, -_STEP, _STEP)
        out = np.empty(signal.shape)
        for channel in range(3):
            moved = signal.copy()
            moved[:, channel] += step[:, channel]
            away = delta_e_2000(here, light.lab(moved).astype(np.float32))
            out[:, channel] = (away / _STEP) ** 2 + _FLOOR**2
        return out

    return np.ascontiguousarray(in_chunks(cost, signal).T, dtype=np.float32)
