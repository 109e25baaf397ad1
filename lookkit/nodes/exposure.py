"""Exposure in stops.

    out = in 2^stops

One stop doubles the light (common practice, no source). Negatives and values above
one are scaled like all others; exactly invertible.
"""

from __future__ import annotations

from typing import ClassVar, Literal

import numpy as np

from lookkit.kernel.formula import Program, affine_call
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

    def program(self) -> Program:
        """Return the gain."""
        return (affine_call(2.0**self.stops * np.eye(3)),)

    def lower(self) -> list[OcioTransform]:
        """Return one matrix."""
        return [scale_offset(np.full(3, 2.0**self.stops))]

    def inverse(self, rgb: Array) -> Array:
        """Return out 2^-stops."""
        return np.asarray(rgb * 2.0**-self.stops)
