"""Exposure in stops.

    out = in 2^stops

One stop doubles the light (common practice, no source). Negatives and values above
one are scaled like all others; exactly invertible.
"""

from __future__ import annotations

from typing import ClassVar, Literal

import numpy as np

from lookkit.nodes.base import Node, param, scale_offset
from lookkit.spaces.working import Array, OcioTransform


class Exposure(Node):
    """Multiply the light by a power of two."""

    example: ClassVar[str] = """
        [[look]]
        kind = "exposure"
        stops = 0.5
    """

    kind: Literal["exposure"] = "exposure"
    stops: float = param(0.0, "how much more light", unit="stops", ge=-20.0, le=20.0)

    def evaluate(self, rgb: Array) -> Array:
        """Return in 2^stops."""
        return np.asarray(rgb * 2.0**self.stops)

    def lower(self) -> list[OcioTransform]:
        """Return one matrix."""
        return [scale_offset(np.full(3, 2.0**self.stops))]

    def inverse(self, rgb: Array) -> Array:
        """Return out 2^-stops."""
        return np.asarray(rgb * 2.0**-self.stops)
