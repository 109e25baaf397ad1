"""Lift, gamma and gain in scene-linear light, wheel-style.

    a   = gain in
    b   = lift + a (1 - lift / white)
    out = white sign(b) |b / white|^(1 / gamma)

Gain multiplies; lift moves black and leaves `white` where it is; gamma bends between
black and `white`, which both stay. Each is one number, three numbers, or a hue angle
with an amount and a master (three offsets that sum to zero). The power is odd-symmetric
below zero, so negatives are carried; above `white` it goes on. Exactly invertible.
Source: common practice, no source.
"""

from __future__ import annotations

from typing import ClassVar, Literal

import numpy as np
from pydantic import field_validator, model_validator
from pydantic_core import PydanticCustomError

from lookkit.kernel.formula import Program
from lookkit.nodes.base import (
    Channels,
    Node,
    mirrored_exponent,
    param,
    per_channel,
    power_mirrored,
    powers_call,
    scale_offset,
)
from lookkit.spaces.working import Array, OcioTransform


class LiftGammaGain(Node):
    """Move black, bend the middle, multiply the light."""

    example: ClassVar[str] = """
        [[look]]
        kind = "lift-gamma-gain"
        lift = { hue = 220, amount = 0.002 }
        gamma = 1.05
        gain = [1.02, 1.0, 0.97]
    """

    kind: Literal["lift-gamma-gain"] = "lift-gamma-gain"
    lift: Channels = param(0.0, "added to black, fading to nothing at white", unit="scene-linear")
    gamma: Channels = param(1.0, "above 1 lightens the middle")
    gain: Channels = param(1.0, "multiplies the light")
    white: float = param(1.0, "the level that lift and gamma leave fixed", gt=0.0, le=1000.0)

    @field_validator("gamma", "gain")
    @classmethod
    def _positive(cls, value: Channels) -> Channels:
        if per_channel(value, 1.0).min() < 0.01:
            raise PydanticCustomError("too_low", "a channel below 0.01, expected at least 0.01")
        return value

    @model_validator(mode="after")
    def _lift_below_white(self) -> LiftGammaGain:
        if per_channel(self.lift, 0.0).max() > 0.99 * self.white:
            raise PydanticCustomError("too_high", "lift reaches white, expected it below white")
        return self

    def _affine(self) -> tuple[Array, Array]:
        lift = per_channel(self.lift, 0.0)
        return per_channel(self.gain, 1.0) * (1.0 - lift / self.white), lift

    def program(self) -> Program:
        """Return gamma(lift(gain(in)))."""
        scale, lift = self._affine()
        exponent = 1.0 / per_channel(self.gamma, 1.0)
        return (powers_call(scale / self.white, lift / self.white, exponent, self.white),)

    def lower(self) -> list[OcioTransform]:
        """Return a matrix, a mirrored power and a matrix."""
        scale, lift = self._affine()
        return [
            scale_offset(scale / self.white, lift / self.white),
            mirrored_exponent(1.0 / per_channel(self.gamma, 1.0)),
            scale_offset(np.full(3, self.white)),
        ]

    def inverse(self, rgb: Array) -> Array:
        """Return gain^-1(lift^-1(gamma^-1(out)))."""
        scale, lift = self._affine()
        raised = self.white * power_mirrored(rgb / self.white, per_channel(self.gamma, 1.0))
        return (raised - lift) / scale
