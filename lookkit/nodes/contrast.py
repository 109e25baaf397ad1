"""Contrast about a pivot in scene-linear light.

    out = pivot sign(in) |in / pivot|^contrast

A straight line in stops: the pivot stays, and `contrast` stops leave where one stop
came in. Odd-symmetric below zero, so negatives are carried; no upper limit. Exactly
invertible. Source: common practice, no source.
"""

from __future__ import annotations

from typing import ClassVar, Literal

import numpy as np
from pydantic import field_validator
from pydantic_core import PydanticCustomError

from lookkit.kernel.formula import Program
from lookkit.nodes.base import (
    Node,
    PerChannel,
    mirrored_exponent,
    param,
    per_channel,
    power_mirrored,
    powers_call,
    scale_offset,
)
from lookkit.spaces.working import MID_GREY, Array, OcioTransform


class Contrast(Node):
    """Spread or gather the stops about a pivot."""

    example: ClassVar[str] = """
        [[look]]
        kind = "contrast"
        contrast = 1.1
    """

    kind: Literal["contrast"] = "contrast"
    contrast: PerChannel = param(1.0, "stops out for one stop in")
    pivot: float = param(MID_GREY, "the level that stays", unit="scene-linear", gt=0.0, le=1000.0)

    @field_validator("contrast")
    @classmethod
    def _positive(cls, value: PerChannel) -> PerChannel:
        slopes = per_channel(value, 1.0)
        if slopes.min() < 0.01 or slopes.max() > 10.0:
            raise PydanticCustomError("range", "out of range, expected 0.01 to 10")
        return value

    def program(self) -> Program:
        """Return the power about the pivot."""
        exponent = per_channel(self.contrast, 1.0)
        return (powers_call(np.full(3, 1.0 / self.pivot), np.zeros(3), exponent, self.pivot),)

    def lower(self) -> list[OcioTransform]:
        """Return a matrix, a mirrored power and a matrix."""
        return [
            scale_offset(np.full(3, 1.0 / self.pivot)),
            mirrored_exponent(per_channel(self.contrast, 1.0)),
            scale_offset(np.full(3, self.pivot)),
        ]

    def inverse(self, rgb: Array) -> Array:
        """Return the inverse power about the pivot."""
        return self.pivot * power_mirrored(rgb / self.pivot, 1.0 / per_channel(self.contrast, 1.0))
