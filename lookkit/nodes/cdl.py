"""The ASC CDL in ACEScct, without clamps.

    c   = ACEScct(in)
    c   = c slope + offset
    c   = c^power where c >= 0, else c
    Y   = .2126 R + .7152 G + .0722 B
    c   = Y + saturation (c - Y)
    out = ACEScct^-1(c)

Source: ASC Color Decision List v1.2, no-clamp variant as OpenColorIO implements it;
ACEScct: Academy S-2016-001. Negatives and values above one are carried. Invertible
unless saturation or a slope is zero.
"""

from __future__ import annotations

from math import log
from typing import ClassVar, Final, Literal, NamedTuple

import numpy as np
from pydantic import field_validator, model_validator
from pydantic_core import PydanticCustomError

from lookkit.kernel.formula import Call, Planes, Program, formula, triple
from lookkit.kernel.formula import Triple as KernelTriple
from lookkit.kernel.maths import Plane, absolute, maximum, minimum, unsure, where
from lookkit.kernel.maths import power as raised_to
from lookkit.nodes.base import Node, Triple, param
from lookkit.spaces.encodings import encoding
from lookkit.spaces.working import Array, OcioTransform

REC709_LUMA = np.array([0.2126, 0.7152, 0.0722])


class CdlNumbers(NamedTuple):
    """The ten numbers."""

    slope: KernelTriple
    offset: KernelTriple
    power: KernelTriple
    saturation: float


_LARGE: Final = 1.6
"""Beyond any code of a picture: ACEScct ends at 1.47 (S-2016-001)."""
_LINE: Final = 0.1553
"""ACEScct's code where its straight line ends: below it code rises tenfold with light."""
_APART: Final = 0.6
"""Ten stops. Float32 keeps too few digits of so much darker a channel for its code to be exact."""
_BRIGHTEST: Final = 1.468
_MOST: Final = 15.0
"""ACEScct's code of light of 250 stops: what comes after still finds numbers for it."""


@formula()
def cdl(r: Plane, g: Plane, b: Plane, p: CdlNumbers) -> Planes:
    """Return the no-clamp ASC CDL of code values."""
    most, least = maximum(maximum(r, g), b), minimum(minimum(r, g), b)
    unsure(most - maximum(least, _LINE) > _APART)
    r, g, b = (
        _raised(code * p.slope[k] + p.offset[k], p.power[k]) for k, code in enumerate((r, g, b))
    )
    luma = 0.2126 * r + 0.7152 * g + 0.0722 * b
    # Codes of strongly negative light are large, and what is left of them beside others is not.
    unsure(maximum(maximum(absolute(r), absolute(g)), absolute(b)) > _LARGE)
    return (
        luma + p.saturation * (r - luma),
        luma + p.saturation * (g - luma),
        luma + p.saturation * (b - luma),
    )


def _raised(code: Plane, exponent: Plane) -> Plane:
    return where(code > 0.0, raised_to(maximum(code, 0.0), exponent), code)


class Cdl(Node):
    """Slope, offset, power and saturation, as every grading table exchanges them."""

    example: ClassVar[str] = """
        [[look]]
        kind = "cdl"
        slope = [1.05, 1.0, 0.98]
        offset = [0.0, 0.0, 0.004]
        power = [1.0, 1.0, 1.02]
        saturation = 0.95
    """

    kind: Literal["cdl"] = "cdl"
    slope: Triple = param((1.0, 1.0, 1.0), "multiplies the ACEScct code; at least 0")
    offset: Triple = param((0.0, 0.0, 0.0), "added to the ACEScct code")
    power: Triple = param((1.0, 1.0, 1.0), "exponent of the ACEScct code; above 0")
    saturation: float = param(1.0, "about Rec.709 luma", ge=0.0, le=10.0)

    @field_validator("slope")
    @classmethod
    def _slope(cls, value: Triple) -> Triple:
        if min(value) < 0.0:
            raise PydanticCustomError("slope", "a negative slope, expected 0 or more")
        return value

    @field_validator("power")
    @classmethod
    def _power(cls, value: Triple) -> Triple:
        if min(value) <= 0.0:
            raise PydanticCustomError("power", "a power of 0 or less, expected more than 0")
        return value

    @model_validator(mode="after")
    def _bounded(self) -> Cdl:
        numbers = zip(self.slope, self.offset, self.power, strict=True)
        for channel, (slope, offset, power) in zip("RGB", numbers, strict=True):
            brightest = max(_BRIGHTEST * slope + offset, 0.0)
            spread = log(max(1.0, self.saturation))
            if brightest > 1.0 and power * log(brightest) + spread > log(_MOST):
                raise PydanticCustomError(
                    "range",
                    "{channel} makes light beyond any number of ACEScct's brightest code, 1.47, "
                    "expected slope, offset, power and saturation that keep it below 15",
                    {"channel": channel},
                )
        return self

    def program(self) -> Program:
        """Return the CDL of the ACEScct code, decoded again."""
        curve = encoding("ACEScct").curve
        assert curve.encoding is not None
        assert curve.decoding is not None
        numbers = CdlNumbers(self.slope, self.offset, self.power, self.saturation)
        return (Call(*curve.encoding), Call(cdl, numbers), Call(*curve.decoding))

    def lower(self) -> list[OcioTransform]:
        """Return a log, the native CDL without clamp, and the log's inverse."""
        import PyOpenColorIO as ocio

        acescct = encoding("ACEScct")
        return [
            *acescct.lower_inverse(),
            ocio.CDLTransform(
                slope=list(self.slope),
                offset=list(self.offset),
                power=list(self.power),
                sat=self.saturation,
            ),
            *acescct.lower(),
        ]

    def inverse(self, rgb: Array) -> Array | None:
        """Return the ACEScct code with the CDL undone, decoded again."""
        if self.saturation == 0.0 or min(self.slope) == 0.0:
            return None
        acescct = encoding("ACEScct")
        numbers = (np.array(self.slope), np.array(self.offset), np.array(self.power))
        return acescct.decode(undo_cdl(acescct.encode(rgb), *numbers, self.saturation))


def apply_cdl(code: Array, slope: Array, offset: Array, power: Array, saturation: float) -> Array:
    """Return the no-clamp ASC CDL of `code`, shape (..., 3)."""
    p = CdlNumbers(triple(slope), triple(offset), triple(power), saturation)
    return np.stack(cdl(code[..., 0], code[..., 1], code[..., 2], p), axis=-1)


def undo_cdl(code: Array, slope: Array, offset: Array, power: Array, saturation: float) -> Array:
    """Return what the no-clamp ASC CDL made `code` of, shape (..., 3)."""
    luma = (code @ REC709_LUMA)[..., None]
    code = luma + (code - luma) / saturation
    code = np.where(code > 0.0, np.abs(code) ** (1.0 / power), code)
    return np.asarray((code - offset) / slope)
