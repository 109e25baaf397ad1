"""Camera and picture encodings: from code values to scene-linear AP1 and back.

The table is data (`configs/encodings.toml`); users add their own in the same form, in a
recipe or in a file. Code values 0-1 span a file's whole integers: where a camera's signal
is in legal range, the conversion is a step of its own.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from types import MappingProxyType

import numpy as np

from lookkit.errors import UnknownNameError
from lookkit.spaces import ranges
from lookkit.spaces.curves import Curve, Linear
from lookkit.spaces.data import shipped_table
from lookkit.spaces.primaries import AP0, AP1, Adaptation, Primaries, between
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.working import AP0_TO_AP1, AP1_TO_AP0, Array, OcioTransform, as_pixels


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
        if self.primaries == AP1:
            return np.eye(3)
        to_ap0 = np.eye(3) if self.primaries == AP0 else self._to_ap0
        return AP0_TO_AP1 @ to_ap0

    @cached_property
    def from_ap1(self) -> Array:
        """The 3x3 matrix from AP1 to linear RGB of the primaries."""
        if self.primaries == AP1:
            return np.eye(3)
        if self.primaries == AP0:
            return AP1_TO_AP0
        return np.asarray(np.linalg.inv(self.to_ap1), dtype=np.float64)

    @cached_property
    def _to_ap0(self) -> Array:
        return between(self.primaries, AP0, self.adaptation)

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
        signal = ranges.convert(as_pixels(code), *self._carried(range, bits))
        return self.curve.decode(signal) @ self.to_ap1.T

    def encode(
        self, scene: Array, range: SignalRange | None = None, bits: int | None = None
    ) -> Array:
        """Return code values for scene-linear AP1, shape (..., 3); the inverse of `decode`."""
        source, target, depth = self._carried(range, bits)
        signal = self.curve.encode(as_pixels(scene) @ self.from_ap1.T)
        return ranges.convert(signal, target, source, depth)

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
        """Return the file's range, the range the curve wants ("full" of the signal), the bits."""
        return given or self.native_range, "full", bits or self.bits


def encodings() -> Mapping[str, Encoding]:
    """Return every shipped encoding by name, in the order of the table."""
    return _shipped()


@cache
def _shipped() -> Mapping[str, Encoding]:
    from lookkit.spaces.read import read_encodings

    return MappingProxyType(read_encodings(shipped_table("encodings")))


def encoding(name: str, extra: Mapping[str, Encoding] | None = None) -> Encoding:
    """Return an encoding by its name, an alias or its interop id, in any case.

    Parameters
    ----------
    extra
        The user's own encodings; they come before shipped ones of the same name.

    Raises
    ------
    UnknownNameError
        With the nearest name, or with the exposure indexes that are published.
    """
    key = name.strip().casefold()
    for table in (extra or {}, encodings()):
        if found := _by_any_name(table).get(key):
            return found
    known = [*(extra or {}), *encodings()]
    family = re.fullmatch(r"(.+ ei) ?\d+", key)
    if family and (same := [one for one in known if one.casefold().startswith(family[1])]):
        raise UnknownNameError("exposure index", name, same)
    raise UnknownNameError("encoding", name, known)


def _by_any_name(table: Mapping[str, Encoding]) -> dict[str, Encoding]:
    if isinstance(table, MappingProxyType):
        return _shipped_names()
    return _names(table)


@cache
def _shipped_names() -> dict[str, Encoding]:
    return _names(_shipped())


def _names(table: Mapping[str, Encoding]) -> dict[str, Encoding]:
    names = {}
    for one in table.values():
        for also in (*one.aliases, *([one.interop_id] if one.interop_id else [])):
            names[also.casefold()] = one
    return names | {one.name.casefold(): one for one in table.values()}
