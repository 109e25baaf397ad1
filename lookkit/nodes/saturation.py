r"""Saturation about luminance, and darker colours as in a print.

    Y   = weights . in
    c   = Y + saturation (in - Y)
    q   = 1 - (weights . c)^2 / (weights . c^2)
    out = c 2^(-density q)

The weights are the luminance row of AP1 (Academy S-2014-004). With `density` 0, the
default, luminance stays and out = c. A print makes a colour purer by adding dye, which takes
light away: `density` darkens each colour by how pure it has become. q is the share of the
channels' luminance-weighted variance in their mean square: 0 for neutrals, which stay, near
.05 for skin, .4 for the red of a chart, .7 for a pure red, at most 1, and the same at every
exposure. So tone never folds along an exposure ray. Negatives are carried.

Saturation 0 gives a grey picture, which has no inverse; any other value is exactly
invertible, for q is the same before and after the darkening. Source: saturation is common
practice, no source; the density variant is ours.
"""

from __future__ import annotations

from typing import ClassVar, Literal, NamedTuple

import numpy as np

from lookkit.kernel.formula import Call, Planes, Program, affine_call, formula
from lookkit.kernel.maths import Plane, exp2, maximum, where
from lookkit.nodes.base import Node, matrix_transform, param
from lookkit.spaces.level import luminance_plane, square_plane
from lookkit.spaces.working import AP1_LUMINANCE, Array, OcioTransform

_NO_LIGHT = 1e-37
"""The square of a level that is black."""


class Density(NamedTuple):
    """Stops by which the purest colours darken."""

    stops: float


@formula()
def darker_by_purity(r: Plane, g: Plane, b: Plane, p: Density) -> Planes:
    """Darken each colour by how pure it is."""
    gain = exp2(-p.stops * _purity(r, g, b))
    return r * gain, g * gain, b * gain


def _purity(r: Plane, g: Plane, b: Plane) -> Plane:
    square, grey = square_plane(r, g, b), luminance_plane(r, g, b)
    share = grey * grey / maximum(square, _NO_LIGHT)
    return where(square > _NO_LIGHT, maximum(1.0 - share, 0.0), 0.0)


class Saturation(Node):
    """Move colours away from or towards the grey of their luminance."""

    example: ClassVar[str] = """
        [[look]]
        kind = "saturation"
        saturation = 1.1
        density = 0.5
    """

    kind: Literal["saturation"] = "saturation"
    saturation: float = param(1.0, "0 is grey", ge=0.0, le=4.0)
    density: float = param(
        0.0, "how far the purest colours darken; 0 keeps luminance", unit="stops", ge=0.0, le=4.0
    )

    def _matrix(self, saturation: float) -> Array:
        return saturation * np.eye(3) + (1.0 - saturation) * np.tile(AP1_LUMINANCE, (3, 1))

    def program(self) -> Program:
        """Return Y + saturation (in - Y), darkened by its purity."""
        matrix = affine_call(self._matrix(self.saturation))
        if self.density == 0.0:
            return (matrix,)
        return (matrix, Call(darker_by_purity, Density(self.density)))

    def lower(self) -> list[OcioTransform] | None:
        """Return one matrix, or None with `density`, for which OpenColorIO has no form."""
        return [matrix_transform(self._matrix(self.saturation))] if self.density == 0.0 else None

    def inverse(self, rgb: Array) -> Array | None:
        """Return the light before: brightened, and with 1 / saturation about its luminance."""
        if self.saturation == 0.0:
            return None
        if self.density != 0.0:
            rgb = rgb * np.exp2(self.density * purity(rgb))
        return np.asarray(rgb @ self._matrix(1.0 / self.saturation).T)


def purity(rgb: Array) -> Array:
    """Return q, 0 for neutrals and 1 for light without luminance: (..., 3) to (..., 1)."""
    return np.asarray(_purity(rgb[..., :1], rgb[..., 1:2], rgb[..., 2:]))
