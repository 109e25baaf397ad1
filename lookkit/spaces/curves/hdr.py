"""Display curves of high dynamic range: PQ, and HLG with its opto-optical part."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import log10
from typing import ClassVar, Final, NamedTuple

import numpy as np

from lookkit.kernel.formula import Nothing, Planes, each_channel, formula
from lookkit.kernel.maths import Plane, absolute, maximum, minimum, power, unsure, where
from lookkit.spaces.curves.base import Curve, Way, require
from lookkit.spaces.curves.rooted import Hlg, HlgNumbers, hlg_encode
from lookkit.spaces.working import Array, OcioTransform

_M1: Final = 2610 / 16384
_M2: Final = 2523 / 4096 * 128
_C1: Final = 3424 / 4096
_C2: Final = 2413 / 4096 * 32
_C3: Final = 2392 / 4096 * 32
_HIGHEST: Final = 1.9
"""Codes are held here; the formula's pole is at 1.99."""


@each_channel
def pq_decode(code: Plane, p: Nothing) -> Plane:
    """Return light for signal."""
    root = power(minimum(absolute(code), _HIGHEST), 1.0 / _M2)
    # The difference that is left near black is too small for float32.
    unsure(root < _C1 + 0.02)
    y = power(maximum(root - _C1, 0.0) / (_C2 - _C3 * root), 1.0 / _M1)
    return where(code < 0.0, -100.0, 100.0) * y


@each_channel
def pq_encode(light: Plane, p: Nothing) -> Plane:
    """Return signal for light."""
    raised = power(minimum(absolute(light) / 100.0, 1e30), _M1)
    # (1 + small)^m2 keeps its digits as 2^(m2 log2(1 + small)) only if float32 holds the sum.
    share = (_C1 + _C2 * raised) / (1.0 + _C3 * raised)
    return where(light < 0.0, -1.0, 1.0) * power(share, _M2)


@dataclass(frozen=True)
class Pq(Curve):
    """The perceptual quantizer of SMPTE ST 2084 and ITU-R BT.2100, light 1.0 = 100 cd/m2.

    N = ((c1 + c2 Y^m1) / (1 + c3 Y^m1))^m2 with Y = L / 10000 cd/m2, mirrored below zero;
    black is N(0) = 7.3e-7, as the formula has it.
    """

    family: ClassVar[str] = "pq"

    @property
    def decoding(self) -> Way:
        """The formula from signal to light; codes are held at 1.9."""
        return pq_decode, Nothing()

    @property
    def encoding(self) -> Way:
        """The formula from light to signal."""
        return pq_encode, Nothing()

    def lower_decode(self) -> list[OcioTransform]:
        """Return OpenColorIO's builtin, a half-float 1D LUT; within 4e-6, relative."""
        from lookkit.spaces.ocio_ops import builtin

        return [builtin("CURVE - ST-2084_to_LINEAR")]

    def lower_encode(self) -> list[OcioTransform]:
        """Return OpenColorIO's builtin, a half-float 1D LUT; within 1e-6."""
        from lookkit.spaces.ocio_ops import builtin

        return [builtin("CURVE - LINEAR_to_ST-2084")]


_LUMINANCE: Final = (0.2627, 0.6780, 0.0593)
"""BT.2020 luminance, to the digits that BT.2100 prints."""

_DARKEST: Final = 1e-8
"""Luminance, relative to the peak, below which the system gamma stays what it is there."""

_FIXED_FUNCTION_DARKEST: Final = 1e-4
"""The same limit of OpenColorIO's fixed function; the light is scaled to move it."""


class HlgDisplayNumbers(NamedTuple):
    """What makes the peak 1, and the exponent of the luminance."""

    scale: float
    exponent: float


@formula()
def hlg_display_encode(r: Plane, g: Plane, b: Plane, p: HlgDisplayNumbers) -> Planes:
    """Return signal for display light, RGB of BT.2020."""
    r, g, b = p.scale * r, p.scale * g, p.scale * b
    luminance = absolute(_LUMINANCE[0] * r + _LUMINANCE[1] * g + _LUMINANCE[2] * b)
    gain = power(maximum(luminance, _DARKEST), p.exponent)
    return _signal(gain * r), _signal(gain * g), _signal(gain * b)


def _signal(light: Plane) -> Plane:
    return hlg_encode.one(light, HlgNumbers(1.0))


@dataclass(frozen=True)
class HlgDisplay(Curve):
    """The electro-optical transfer function of BT.2100 HLG, light 1.0 = 100 cd/m2.

    ``F_D = Lw Y_S^(gamma - 1) E`` with E of the `Hlg` curve, Y_S the luminance of E in
    BT.2020, gamma = 1.2 + 0.42 log10(Lw / 1000), black 0. Works on shape (..., 3).

    Parameters
    ----------
    peak
        Lw, cd/m2.
    """

    family: ClassVar[str] = "hlg-display"

    peak: float = 1000.0

    def __post_init__(self) -> None:
        require(self.peak >= 400, f"peak is {self.peak:g} cd/m2, expected 400 to 2000")
        require(self.peak <= 2000, f"peak is {self.peak:g} cd/m2, expected 400 to 2000")

    @cached_property
    def gamma(self) -> float:
        """The system gamma of BT.2100 for this peak."""
        return 1.2 + 0.42 * log10(self.peak / 1000)

    def decode(self, code: Array) -> Array:
        """Return display light, RGB of BT.2020, for signal."""
        scene = Hlg().decode(code)
        luminance = np.maximum(np.abs(scene @ np.array(_LUMINANCE)), _DARKEST ** (1 / self.gamma))
        return np.asarray(self.peak / 100 * scene * luminance[..., None] ** (self.gamma - 1))

    @property
    def encoding(self) -> Way:
        """The formula from light to signal; it mixes the channels."""
        return hlg_display_encode, HlgDisplayNumbers(100 / self.peak, 1 / self.gamma - 1)

    def encode(self, linear: Array) -> Array:
        """Return signal for display light, RGB of BT.2020."""
        formula, p = self.encoding
        planes = np.moveaxis(np.asarray(linear, dtype=np.float64), -1, 0)
        return np.stack(formula(*planes, p), axis=-1)

    def lower_decode(self) -> list[OcioTransform]:
        """Return the HLG curve, OpenColorIO's surround function and gains."""
        from lookkit.spaces.ocio_ops import affine, surround

        scale = (_FIXED_FUNCTION_DARKEST / _DARKEST) ** (1 / self.gamma)
        back = self.peak / 100 * _DARKEST / _FIXED_FUNCTION_DARKEST
        middle = [affine(scale, 0), surround(self.gamma), affine(back, 0)]
        return [*Hlg().lower_decode(), *middle]

    def lower_encode(self) -> list[OcioTransform]:
        """Return gains, OpenColorIO's surround function and the HLG curve."""
        from lookkit.spaces.ocio_ops import affine, surround

        scale = _FIXED_FUNCTION_DARKEST / _DARKEST
        gain = affine(100 / self.peak * scale, 0)
        back = affine(scale ** (-1 / self.gamma), 0)
        return [gain, surround(1 / self.gamma), back, *Hlg().lower_encode()]
