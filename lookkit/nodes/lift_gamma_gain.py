"""Lift, gamma and gain in scene-linear light, each for its own part of the tones.

    a   = in (gain |in| + c) / (|in| + c)                            c = 4 x 0.18
    b   = a 2^(e 2^-(s / 3)^2),   s = log2(|a| / 0.18),   e = 2.474 (1 - 1 / gamma)
    out = b + lift

Gain is what the lights are multiplied by: in full far above mid-grey, half at +2 stops, a fifth
at mid-grey. Gamma moves the middle: mid-grey by as much as a power of 1 / gamma does between black
and a white 2.474 stops over it, half as many stops at +-3, next to nothing at +-6. Lift is light
that is added: it moves black by itself and is lost in the lights. None moves a tone the other way.
Each is one number, three numbers, or a hue with a strength and a master (three offsets that sum to
zero).

Odd-symmetric below zero before lift, so negatives are carried; there is no upper limit. It rises
strictly, settings of gamma that would fold are out of range, and it is exactly invertible, gamma by
bisection. OpenColorIO takes it as a table. Source: what wheels are expected to do is common
practice, no source; the equations are ours.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Final, Literal, NamedTuple

import numpy as np
from pydantic import field_validator
from pydantic_core import PydanticCustomError

from lookkit.kernel.formula import Call, Planes, Program, formula, triple
from lookkit.kernel.formula import Triple as KernelTriple
from lookkit.kernel.maths import Plane, absolute, exp2, log2, maximum, unsure
from lookkit.nodes.base import Channels, Node, light_table, param, per_channel, scale_offset
from lookkit.spaces.working import MID_GREY, Array, OcioTransform

_HALF_GAIN: Final = 4.0 * MID_GREY
_WHITE_STOPS: Final = 2.4739311883324122
"""Stops from mid-grey to 1.0."""
_NARROW: Final = 1.0 / 9.0
"""One over the square of the stops at which gamma moves half as much."""
_GAMMAS: Final = (0.5, 2.5)
_DARK: Final = 1e-30


class Wheels(NamedTuple):
    """Offsets, stops at mid-grey, and multipliers, by channel."""

    lift: KernelTriple
    stops: KernelTriple
    gain: KernelTriple


@formula()
def lift_gamma_gain(r: Plane, g: Plane, b: Plane, p: Wheels) -> Planes:
    """Gain the lights, bend the middle, add the lift."""
    return (
        _channel(r, p.lift[0], p.stops[0], p.gain[0]),
        _channel(g, p.lift[1], p.stops[1], p.gain[1]),
        _channel(b, p.lift[2], p.stops[2], p.gain[2]),
    )


def _channel(x: Plane, lift: Plane, stops: Plane, gain: Plane) -> Plane:
    size = absolute(x)
    a = x * ((gain * size + _HALF_GAIN) / (size + _HALF_GAIN))
    s = log2(maximum(absolute(a), _DARK) * (1.0 / MID_GREY))
    bent = a * exp2(stops * exp2(-_NARROW * s * s))
    out = bent + lift
    # What is left where the two nearly cancel has few digits.
    unsure(absolute(out) < 0.003 * (absolute(bent) + absolute(lift)))
    return out


class LiftGammaGain(Node):
    """Lift the shade, bend the middle, gain the lights."""

    example: ClassVar[str] = """
        [[look]]
        kind = "lift-gamma-gain"
        lift = { hue = 250, strength = 0.002 }
        gamma = 1.05
        gain = [1.02, 1.0, 0.97]
    """
    former: ClassVar[Mapping[str, str]] = {
        "white": "nothing: gain moves the lights and gamma the middle by themselves"
    }

    kind: Literal["lift-gamma-gain"] = "lift-gamma-gain"
    lift: Channels = param(0.0, "added; moves black and shade", unit="scene-linear")
    gamma: Channels = param(1.0, "above 1 lightens the middle")
    gain: Channels = param(1.0, "multiplies the lights")

    @field_validator("gamma")
    @classmethod
    def _no_fold(cls, value: Channels) -> Channels:
        gammas = per_channel(value, 1.0)
        if gammas.min() < _GAMMAS[0] or gammas.max() > _GAMMAS[1]:
            raise PydanticCustomError(
                "range", "a channel out of range, expected {low} to {high}",
                {"low": _GAMMAS[0], "high": _GAMMAS[1]},
            )  # fmt: skip
        return value

    @field_validator("gain")
    @classmethod
    def _positive(cls, value: Channels) -> Channels:
        gains = per_channel(value, 1.0)
        if gains.min() < 0.05 or gains.max() > 20.0:
            raise PydanticCustomError("range", "a channel out of range, expected 0.05 to 20")
        return value

    @property
    def _stops(self) -> Array:
        return np.asarray(_WHITE_STOPS * (1.0 - 1.0 / per_channel(self.gamma, 1.0)))

    def program(self) -> Program:
        """Return the wheels."""
        numbers = (per_channel(self.lift, 0.0), self._stops, per_channel(self.gain, 1.0))
        return (Call(lift_gamma_gain, Wheels(*map(triple, numbers))),)

    def lower(self) -> list[OcioTransform]:
        """Return a table over light of either sign, and a matrix for lift."""
        lift = per_channel(self.lift, 0.0)
        return [
            *light_table(lambda light: self.evaluate(light) - lift),
            scale_offset(np.ones(3), lift),
        ]

    def inverse(self, rgb: Array) -> Array:
        """Return the light before lift, gamma and gain."""
        bent = rgb - per_channel(self.lift, 0.0)
        stops, gain = self._stops, per_channel(self.gain, 1.0)
        wanted = np.log2(np.maximum(np.abs(bent), _DARK) / MID_GREY)
        low, high = wanted - np.abs(stops), wanted + np.abs(stops)
        for _ in range(64):
            s = 0.5 * (low + high)
            below = s + stops * np.exp2(-_NARROW * s * s) < wanted
            low, high = np.where(below, s, low), np.where(below, high, s)
        a = np.where(bent == 0.0, 0.0, MID_GREY * np.exp2(0.5 * (low + high)))
        # gain x^2 + (c - a) x - a c = 0, its root above zero.
        half = 0.5 * (_HALF_GAIN - a)
        x = a * _HALF_GAIN / (half + np.sqrt(half * half + gain * a * _HALF_GAIN))
        return np.asarray(np.copysign(x, bent))
