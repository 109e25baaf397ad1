r"""The ACES reference gamut compression, in AP1.

    a    = max(R, G, B)
    d    = (a - in) / |a|
    d'   = d                                                      for d < t
    d'   = t + s x / (1 + x^p)^(1/p),   x = (d - t) / s           otherwise
    s    = (l - t) / (((1 - t) / (l - t))^-p - 1)^(1/p)
    out  = a - d' |a|

Per channel: distance d from the achromatic axis is compressed so that the limit l
lands on the gamut's boundary (d' = 1). Neutrals and colours inside the threshold t stay
exactly; exposure does not change what happens. Source: Academy "ACES Reference Gamut
Compression" user guide and specification, whose published parameters are the defaults.
Exactly invertible inside the limits.
"""

from __future__ import annotations

from typing import ClassVar, Literal

import numpy as np
from pydantic import field_validator
from pydantic_core import PydanticCustomError

from lookkit.nodes.base import Node, Triple, param
from lookkit.spaces.working import Array, OcioTransform


class GamutCompress(Node):
    """Bring colours beyond AP1 back inside it, smoothly."""

    example: ClassVar[str] = """
        [[look]]
        kind = "gamut-compress"
    """

    kind: Literal["gamut-compress"] = "gamut-compress"
    limit: Triple = param(
        (1.147, 1.264, 1.312), "distances (cyan, magenta, yellow) that land on the boundary"
    )
    threshold: Triple = param((0.815, 0.803, 0.880), "distances below which nothing happens")
    power: float = param(1.2, "how hard the knee is", ge=1.0, le=10.0)

    @field_validator("limit")
    @classmethod
    def _limit(cls, value: Triple) -> Triple:
        if min(value) < 1.001 or max(value) > 100.0:
            raise PydanticCustomError("limit", "out of range, expected 1.001 to 100")
        return value

    @field_validator("threshold")
    @classmethod
    def _threshold(cls, value: Triple) -> Triple:
        if min(value) < 0.0 or max(value) > 0.9999:
            raise PydanticCustomError("threshold", "out of range, expected 0 to 0.9999")
        return value

    def evaluate(self, rgb: Array) -> Array:
        """Return the compressed colour."""
        return compress_distance(rgb, np.array(self.limit), np.array(self.threshold), self.power)

    def lower(self) -> list[OcioTransform]:
        """Return OCIO's native gamut compression."""
        return [lower_compression(np.array(self.limit), np.array(self.threshold), self.power)]

    def inverse(self, rgb: Array) -> Array:
        """Return the colour before compression; what lay beyond the limit comes back huge."""
        return compress_distance(
            rgb, np.array(self.limit), np.array(self.threshold), self.power, undo=True
        )


_NO_LIGHT = 1e-37
"""Below this float32 has no light left to measure a distance by."""


def compress_distance(
    rgb: Array, limit: Array, threshold: Array, power: float, *, undo: bool = False
) -> Array:
    """Compress (or with `undo` expand) each channel's distance from the achromatic axis.

    Shapes: rgb (..., 3), limit and threshold (3,). A pixel whose largest channel is
    zero has no distance and stays.
    """
    red, green, blue = np.split(rgb, 3, axis=-1)
    top = np.maximum(np.maximum(red, green), blue)  # many times as fast as `max` over so few
    size = np.abs(top)
    distance = np.divide(top - rgb, size, out=np.zeros_like(rgb), where=size > _NO_LIGHT)
    span = limit - threshold
    scale = span / (((1.0 - threshold) / span) ** -power - 1.0) ** (1.0 / power)
    # Most colours lie under the threshold, and powers are what costs.
    beyond = ~(distance < threshold)
    threshold, scale = (np.broadcast_to(one, rgb.shape)[beyond] for one in (threshold, scale))
    x = (distance[beyond] - threshold) / scale
    if undo:
        # Nothing lies at or beyond t + s; OCIO leaves such values alone.
        raised = np.where(x < 1.0, x, 0.0) ** power
        bent = np.where(x < 1.0, scale * (raised / (1.0 - raised)) ** (1.0 / power), scale * x)
    else:
        near, far = np.minimum(x, 1.0), 1.0 / np.maximum(x, 1.0)
        bent = scale * (near / (1.0 + (near * far) ** power) ** (1.0 / power))
    distance[beyond] = threshold + bent
    return np.asarray(top - distance * size)


def lower_compression(limit: Array, threshold: Array, power: float) -> OcioTransform:
    """Return OCIO's native form of `compress_distance`."""
    import PyOpenColorIO as ocio

    return ocio.FixedFunctionTransform(
        ocio.FIXED_FUNCTION_ACES_GAMUT_COMP_13, [*map(float, limit), *map(float, threshold), power]
    )
