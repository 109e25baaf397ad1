"""Curve families between code values and linear light; constants come from tables."""

from lookkit.spaces.curves.base import Curve
from lookkit.spaces.curves.log import Log
from lookkit.spaces.curves.power import Bt1886, Linear, Power, ToePower

FAMILIES: tuple[type[Curve], ...] = (Linear, Log, Power, ToePower, Bt1886)

__all__ = ["FAMILIES", "Bt1886", "Curve", "Linear", "Log", "Power", "ToePower"]
