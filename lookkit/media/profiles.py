"""What the ICC profile in a picture says of its colours (ICC.1:2022; version 2 alike)."""

from __future__ import annotations

import struct
from functools import cache
from typing import Final

import numpy as np

from lookkit.spaces.curves import Power, ToePower
from lookkit.spaces.encodings import encodings
from lookkit.spaces.icc import to_d50
from lookkit.spaces.working import Array

_GIVEN: Final = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}
"""How many numbers each parametric curve has (table 68)."""
_LIGHT: Final = np.linspace(0.0, 1.0, 33)
_NEAR: Final = 0.004
"""Profiles of one display differ by how they round their primaries and their curve: a code of 8
bits; a gamma of 2.2 is twice as far from sRGB's curve, in the light of the darker half."""


def encoding_of(profile: bytes) -> str | None:
    """Return the name of the encoding that a profile amounts to, or None."""
    read = _matrix_and_curves(profile)
    if read is None:
        return None
    off = {name: float(np.abs(read - own).max()) for name, own in _known().items()}
    nearest = min(off, key=lambda name: off[name])
    return nearest if off[nearest] <= _NEAR else None


@cache
def _known() -> dict[str, Array]:
    """Return what profiles of the encodings of finished pictures hold."""
    found = {}
    for name, one in encodings().items():
        if isinstance(one.curve, (Power, ToePower)) and not one.scene_linear:
            columns = (to_d50(one.primaries.white) @ one.primaries.to_xyz()).T
            found[name] = np.concatenate([*columns, *[one.curve.encode(_LIGHT)] * 3])
    return found


def _matrix_and_curves(profile: bytes) -> Array | None:
    """Return the nine numbers of a profile's matrix and three sampled curves; None if it has none.

    Curves are given as signal at even steps of light, where the eye sees them alike.
    """
    try:
        if profile[16:20] != b"RGB " or profile[36:40] != b"acsp":
            return None
        tags = _tags(profile)
        columns = [_numbers(tags[name][8:20]) for name in (b"rXYZ", b"gXYZ", b"bXYZ")]
        curves = [_curve(tags[name]) for name in (b"rTRC", b"gTRC", b"bTRC")]
    except (KeyError, ValueError, struct.error):
        return None
    found = np.concatenate([*columns, *curves])
    return found if np.isfinite(found).all() else None


def _tags(profile: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">I", profile, 128)
    found = {}
    for at in range(min(count, 100)):
        name, start, size = struct.unpack_from(">4sII", profile, 132 + 12 * at)
        found[name] = profile[start : start + size]
    return found


def _numbers(data: bytes) -> Array:
    """Return numbers of s15Fixed16 (4.6)."""
    return np.frombuffer(data, ">i4").astype(np.float64) / 65536


def _curve(tag: bytes) -> Array:
    """Return the signal of a tone curve at `_LIGHT`: a table (10.6) or a function (10.18)."""
    signal = np.linspace(0.0, 1.0, 4097)
    if tag[:4] == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        table = np.frombuffer(tag[12 : 12 + 2 * count], ">u2").astype(np.float64)
        if count == 0:
            light = signal
        elif count == 1:
            light = signal ** (table[0] / 256)
        else:
            light = np.interp(signal, np.linspace(0.0, 1.0, len(table)), table / 65535)
    elif tag[:4] == b"para":
        (kind,) = struct.unpack_from(">H", tag, 8)
        given = _numbers(tag[12 : 12 + 4 * _GIVEN[kind]])
        light = _parametric(kind, given, signal)
    else:
        raise ValueError(tag[:4])
    return np.interp(_LIGHT, light, signal)


def _parametric(kind: int, given: Array, x: Array) -> Array:
    """Return light by one of the five functions of table 68."""
    if kind == 0:
        return np.asarray(x ** given[0])
    g, a, b = given[:3]
    c = e = f = 0.0
    d = -b / a
    if kind == 2:
        e = f = given[3]
    elif kind == 3:
        c, d = given[3:5]
    elif kind == 4:
        c, d, e, f = given[3:7]
    return np.where(x >= d, np.maximum(a * x + b, 0.0) ** g + e, c * x + f)
