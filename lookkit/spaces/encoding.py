"""One camera or picture encoding: from code values to scene-linear AP1 and back.

Code values 0-1 span a file's whole integers: where a camera's signal is in legal range, the
conversion is a step of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from lookkit.errors import InputError
from lookkit.kernel.formula import Affine, Call, Planes, Program, affine_call, formula
from lookkit.kernel.maths import Plane, absolute, maximum, mixed, unsure
from lookkit.spaces import ranges
from lookkit.spaces.curves import LARGEST, Curve, Linear
from lookkit.spaces.primaries import AP0, AP1, Adaptation, Primaries, between
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.working import AP0_TO_AP1, AP1_TO_AP0, Array, OcioTransform, as_pixels

_BRIGHT = 128.0
"""Scene light from 9.5 stops over mid-grey is worked out in float64."""


@formula()
def to_working_light(r: Plane, g: Plane, b: Plane, p: Affine) -> Planes:
    """Mix the camera's channels to the working space."""
    r, g, b = mixed(p.rows, r, g, b)
    unsure(maximum(maximum(absolute(r), absolute(g)), absolute(b)) > _BRIGHT)
    return r, g, b


def camera_light(matrix: Array) -> Call:
    """Return the call that takes a camera's linear light to AP1."""
    return Call(to_working_light, affine_call(matrix).p)


Rows = tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Encoding:
    """What a camera's or a picture's code values mean.

    Parameters
    ----------
    curve
        Between signal and linear light of `primaries`.
    adaptation
        How the white of `primaries` is carried to that of AP1 (D60).
    native_range, bits
        How the signal lies in the file's integers unless a recipe says otherwise. "full"
        where the maker's formula gives code / (2^bits - 1), as camera logs do.
    movie_range, movie_source
        How the signal lies in the integers of its maker's movies in Y'CbCr, whatever range they
        are tagged with, and where that is published: "full" where codes are those of the
        formula. None where the tags of a movie say it.
    rows_to_ap0
        The matrix from the curve's light to AP0, where it is given as such.
    evidence
        V seen in an official copy, V2 in a copy that quotes it, M from memory, C as
        implemented by an independent library, user for tables that users add.
    """

    name: str
    curve: Curve
    primaries: Primaries
    adaptation: Adaptation
    native_range: SignalRange
    bits: int
    source: str
    evidence: str
    aliases: tuple[str, ...] = ()
    interop_id: str | None = None
    note: str = ""
    movie_range: SignalRange | None = None
    movie_source: str = ""
    rows_to_ap0: Rows | None = None

    @property
    def is_log(self) -> bool:
        """Whether codes above black are a logarithm of light."""
        return self.curve.is_log

    @property
    def scene_linear(self) -> bool:
        """Whether codes are scene-linear light."""
        return isinstance(self.curve, Linear)

    @cached_property
    def to_ap1(self) -> Array:
        """The 3x3 matrix from linear RGB of the primaries to AP1."""
        if self.rows_to_ap0 is not None:
            return np.asarray(AP0_TO_AP1 @ np.array(self.rows_to_ap0), dtype=np.float64)
        if self.primaries == AP1:
            return np.eye(3)
        return AP0_TO_AP1 @ between(self.primaries, AP0, self.adaptation)

    @cached_property
    def from_ap1(self) -> Array:
        """The 3x3 matrix from AP1 to linear RGB of the primaries."""
        if self.primaries == AP0:
            return AP1_TO_AP0
        return np.asarray(np.linalg.inv(self.to_ap1), dtype=np.float64)

    def decode(
        self, code: Array, range: SignalRange | None = None, bits: int | None = None
    ) -> Array:
        """Return scene-linear AP1, shape (..., 3), mid-grey 0.18, for code values.

        Nothing is clamped: codes beyond 0-1 give light beyond, negatives are carried.

        Parameters
        ----------
        range, bits
            How the file carries the signal, where not as the camera does.
        """
        held = np.clip(as_pixels(code), -LARGEST, LARGEST)
        signal = ranges.convert(held, *self._carried(range, bits))
        return self.curve.decode(signal) @ self.to_ap1.T

    def encode(
        self, scene: Array, range: SignalRange | None = None, bits: int | None = None
    ) -> Array:
        """Return code values for scene-linear AP1, shape (..., 3); the inverse of `decode`."""
        source, target, depth = self._carried(range, bits)
        held = np.clip(as_pixels(scene), -LARGEST, LARGEST)
        signal = self.curve.encode(held @ self.from_ap1.T)
        return ranges.convert(signal, target, source, depth)

    def program(self, range: SignalRange | None = None, bits: int | None = None) -> Program | None:
        """Return `decode` as formulas, or None where the curve has none."""
        way = self.curve.decoding
        if way is None:
            return None
        scale, offset = ranges.scale_offset(*self._carried(range, bits))
        carried = () if (scale, offset) == (1.0, 0.0) else (affine_call(scale * np.eye(3), offset),)
        return (*carried, Call(*way), camera_light(self.to_ap1))

    def lower(
        self, range: SignalRange | None = None, bits: int | None = None
    ) -> list[OcioTransform]:
        """Return `decode` as OpenColorIO transforms: range, curve, matrix."""
        from lookkit.spaces.ocio_ops import matrix

        gamut = [] if self.primaries == AP1 else [matrix(self.to_ap1)]
        return [*ranges.lower(*self._carried(range, bits)), *self.curve.lower_decode(), *gamut]

    def lower_inverse(
        self, range: SignalRange | None = None, bits: int | None = None
    ) -> list[OcioTransform]:
        """Return `encode` as OpenColorIO transforms: matrix, curve, range."""
        from lookkit.spaces.ocio_ops import matrix

        source, target, depth = self._carried(range, bits)
        gamut = [] if self.primaries == AP1 else [matrix(self.from_ap1)]
        return [*gamut, *self.curve.lower_encode(), *ranges.lower(target, source, depth)]

    def _carried(
        self, given: SignalRange | None, bits: int | None
    ) -> tuple[SignalRange, SignalRange, int]:
        """Return the range of the file, that of the curve's signal (full), and the bits."""
        if given == "legal" and self.scene_linear:
            raise InputError(f"encoding {self.name!r} is scene-linear, which has no legal range")
        return given or self.native_range, "full", bits or self.bits
