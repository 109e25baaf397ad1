"""Stray light over the chart, from its two darkest greys.

A camera's own curve is nearly straight between neutral 3.5 and black, whatever it does above. So
where a line through the two lies above nothing at no light, stray light does. Simulated cameras
with curves of their own: 0, 1, 2, 4 % of white give -.1, 1.1, 2.3, 4.7 with deviations of .3, .4,
.6, .8; an S-curve, which is bent there most, gives -.1, 1.4, 3.0, 6.4. The frame around the black
patch as a third grey makes the deviations .03 to .04 smaller, and needs a picture in which it is
broad: it is left out.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from lookkit.match import charts
from lookkit.spaces.working import Array

_DARK: Final = (charts.BLACK - 1, charts.BLACK)


def dark_stray(light: Array, wanted: Array, usable: np.ndarray) -> float | None:
    """Return stray light in percent of the chart's white; None where the two greys cannot be used.

    Parameters
    ----------
    light
        Camera B's patches as decoded by its encoding, or by BT.709, (24, 3).
    wanted
        The scene-linear light of the same patches, (24, 3).
    usable
        Which may be used, (24,) booleans.
    """
    dark = list(_DARK)
    if not usable[dark].all():
        return None
    (upper, lower), (more, less) = light[dark].mean(axis=1), wanted[dark].mean(axis=1)
    if more - less <= 0.0 or upper - lower <= 0.0:
        return None
    slope = (upper - lower) / (more - less)
    white = slope * float(wanted[charts.WHITE].mean())
    return float(100.0 * (lower - slope * less) / white)
