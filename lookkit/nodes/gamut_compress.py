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

from typing import ClassVar, Literal, NamedTuple

import numpy as np
from pydantic import field_validator
from pydantic_core import PydanticCustomError

from lookkit.kernel.formula import Call, Planes, Program, formula, triple
from lookkit.kernel.formula import Triple as KernelTriple
from lookkit.kernel.maths import (
    Plane,
    absolute,
    exp2,
    held_exp2,
    log2,
    maximum,
    minimum,
    unsure,
    where,
)
from lookkit.nodes.base import Node, Triple, param
from lookkit.spaces.working import Array, OcioTransform

_NO_LIGHT = 1e-37
"""Below this float32 has no light left to measure a distance by."""
_LEAST, _DARK = 0.003, 1e-4
"""Where the largest channel is a smaller share of the pixel's size, distances from it lose digits
in float32, unless all is darker than anything seen."""


class Compression(NamedTuple):
    """Thresholds, scales and one over these of the three distances; the power and its inverse."""

    threshold: KernelTriple
    scale: KernelTriple
    per_scale: KernelTriple
    power: float
    root: float


def compression(limit: Array, threshold: Array, power: float) -> Compression:
    """Return the numbers of a compression; shapes (3,)."""
    scale = _scale(limit, threshold, power)
    return Compression(
        triple(threshold), triple(scale), triple(1.0 / scale), float(power), 1.0 / power
    )


@formula()
def compress(r: Plane, g: Plane, b: Plane, p: Compression) -> Planes:
    """Compress each channel's distance from black's neutral axis."""
    top = maximum(maximum(r, g), b)
    size = absolute(top)
    least = minimum(minimum(r, g), b)
    unsure((size < _LEAST * absolute(least)) & (absolute(least) > _DARK))
    share = where(size > _NO_LIGHT, 1.0 / maximum(size, _NO_LIGHT), 0.0)
    return (
        top - size * _bent((top - r) * share, 0, p),
        top - size * _bent((top - g) * share, 1, p),
        top - size * _bent((top - b) * share, 2, p),
    )


@formula()
def compress_from_white(r: Plane, g: Plane, b: Plane, p: Compression) -> Planes:
    """Compress each channel's distance from white's neutral axis."""
    r, g, b = compress(1.0 - r, 1.0 - g, 1.0 - b, p)
    return 1.0 - r, 1.0 - g, 1.0 - b


def _bent(distance: Plane, k: int, p: Compression) -> Plane:
    threshold, scale = p.threshold[k], p.scale[k]
    # x (1 + x^power)^(-1 / power) in logarithms; of x = 0 nothing is left.
    x = log2(maximum((distance - threshold) * p.per_scale[k], _NO_LIGHT))
    bent = threshold + scale * exp2(x - p.root * log2(1.0 + held_exp2(p.power * x)))
    return where(distance < threshold, distance, bent)


def _scale(limit: Array, threshold: Array, power: float) -> Array:
    span = limit - threshold
    return np.asarray(span / (((1.0 - threshold) / span) ** -power - 1.0) ** (1.0 / power))


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

    def program(self) -> Program:
        """Return the compression."""
        numbers = compression(np.array(self.limit), np.array(self.threshold), self.power)
        return (Call(compress, numbers),)

    def lower(self) -> list[OcioTransform]:
        """Return OCIO's native gamut compression."""
        return [lower_compression(np.array(self.limit), np.array(self.threshold), self.power)]

    def inverse(self, rgb: Array) -> Array:
        """Return the colour before compression; what lay beyond the limit comes back huge."""
        return compress_distance(
            rgb, np.array(self.limit), np.array(self.threshold), self.power, undo=True
        )


def compress_distance(
    rgb: Array, limit: Array, threshold: Array, power: float, *, undo: bool = False
) -> Array:
    """Compress (or with `undo` expand) each channel's distance from the achromatic axis.

    Shapes: rgb (..., 3), limit and threshold (3,). A pixel whose largest channel is
    zero has no distance and stays.
    """
    if not undo:
        with np.errstate(all="ignore"):
            p = compression(limit, threshold, power)
            return np.stack(compress(rgb[..., 0], rgb[..., 1], rgb[..., 2], p), axis=-1)
    red, green, blue = np.split(rgb, 3, axis=-1)
    top = np.maximum(np.maximum(red, green), blue)  # many times as fast as `max` over so few
    size = np.abs(top)
    distance = np.divide(top - rgb, size, out=np.zeros_like(rgb), where=size > _NO_LIGHT)
    scale = _scale(limit, threshold, power)
    # Most colours lie under the threshold, and powers are what costs.
    beyond = ~(distance < threshold)
    threshold, scale = (np.broadcast_to(one, rgb.shape)[beyond] for one in (threshold, scale))
    x = (distance[beyond] - threshold) / scale
    # Nothing lies at or beyond t + s; OCIO leaves such values alone.
    raised = np.where(x < 1.0, x, 0.0) ** power
    bent = np.where(x < 1.0, scale * (raised / (1.0 - raised)) ** (1.0 / power), scale * x)
    distance[beyond] = threshold + bent
    return np.asarray(top - distance * size)


def lower_compression(limit: Array, threshold: Array, power: float) -> OcioTransform:
    """Return OCIO's native form of `compress_distance`."""
    import PyOpenColorIO as ocio

    return ocio.FixedFunctionTransform(
        ocio.FIXED_FUNCTION_ACES_GAMUT_COMP_13, [*map(float, limit), *map(float, threshold), power]
    )
