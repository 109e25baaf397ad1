"""Saturation about luminance.

    Y   = weights . in
    out = Y + saturation (in - Y)

The weights are the luminance row of AP1 (Academy S-2014-004), so luminance and
neutrals stay exactly. Negatives are carried; 0 gives a grey picture, which has no
inverse; any other value is exactly invertible.
"""

from __future__ import annotations

from typing import ClassVar, Literal

import numpy as np

from lookkit.nodes.base import Node, matrix_transform, param
from lookkit.spaces.working import AP1_LUMINANCE, Array, OcioTransform


class Saturation(Node):
    """Move colours away from or towards the grey of their luminance."""

    example: ClassVar[str] = """
        [[look]]
        kind = "saturation"
        saturation = 0.9
    """

    kind: Literal["saturation"] = "saturation"
    saturation: float = param(1.0, "0 is grey", ge=0.0, le=4.0)

    def _matrix(self, saturation: float) -> Array:
        return saturation * np.eye(3) + (1.0 - saturation) * np.tile(AP1_LUMINANCE, (3, 1))

    def evaluate(self, rgb: Array) -> Array:
        """Return Y + saturation (in - Y)."""
        return np.asarray(rgb @ self._matrix(self.saturation).T)

    def lower(self) -> list[OcioTransform]:
        """Return one matrix."""
        return [matrix_transform(self._matrix(self.saturation))]

    def inverse(self, rgb: Array) -> Array | None:
        """Return the same about the same luminance with 1 / saturation."""
        if self.saturation == 0.0:
            return None
        return np.asarray(rgb @ self._matrix(1.0 / self.saturation).T)
