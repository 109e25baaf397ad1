"""ICC profiles of displays with one curve and three primaries, a few hundred bytes each.

Written from ICC.1:2022 (profile version 4.4): a header, and the tags that a matrix profile of a
display must have (8.3.3). Its light is that of the D50 of the profile connection space, to which
the display's white is brought with the linear Bradford matrix (annex E).
"""

from __future__ import annotations

import struct
from typing import Final

import numpy as np

from lookkit.spaces.curves import ToePower
from lookkit.spaces.outputs import Output
from lookkit.spaces.primaries import adaptation
from lookkit.spaces.working import Array

_D50: Final = (0.9642, 1.0, 0.8249)
"""The illuminant of the profile connection space (ICC.1, 6.3.4.3)."""
_MADE: Final = (2022, 5, 1, 0, 0, 0)
"""The date in every profile, so that the same output has the same bytes: the specification's."""


def profile_of(output: Output) -> bytes | None:
    """Return the ICC profile of an output whose pictures computers show, or None.

    These are the full-range ones with the curve of IEC 61966-2-1 or its like, such as sRGB and
    Display P3. Video and cinema signals have no profile: what shows them is set up for them.
    """
    curve = output.curve
    if not isinstance(curve, ToePower) or output.range != "full":
        return None
    adapt = to_d50(output.display.white)
    red, green, blue = (adapt @ output.display.to_xyz()).T
    # Parametric curve 3 (10.18): (a Y + b)^g from d on, below it c Y.
    scale = 1.0 + curve.offset
    constants = (curve.gamma, 1 / scale, curve.offset / scale, 1 / curve.toe_slope,
                 curve.lin_break * curve.toe_slope)  # fmt: skip
    tone = b"para" + struct.pack(">IHH", 0, 3, 0) + b"".join(map(_fixed, constants))
    tags = {
        b"desc": _text(output.name),
        b"cprt": _text("No copyright, use freely"),
        b"wtpt": _xyz(np.array(_D50)),
        b"chad": b"sf32" + bytes(4) + b"".join(map(_fixed, adapt.ravel())),
        b"rXYZ": _xyz(red),
        b"gXYZ": _xyz(green),
        b"bXYZ": _xyz(blue),
        b"rTRC": tone,
        b"gTRC": tone,
        b"bTRC": tone,
    }
    return _put_together(tags)


def to_d50(white: tuple[float, float]) -> Array:
    """Return the matrix that brings light of a white, as x and y, to the connection space's."""
    x, y = _D50[0] / sum(_D50), _D50[1] / sum(_D50)
    return adaptation(white, (x, y), "bradford")


def _put_together(tags: dict[bytes, bytes]) -> bytes:
    """Return header, table of tags and their data; equal data are there once (7.3)."""
    start = 128 + 4 + 12 * len(tags)
    table, data, places = struct.pack(">I", len(tags)), b"", {}
    for name, content in tags.items():
        if content not in places:
            places[content] = start + len(data)
            data += content + bytes(-len(content) % 4)
        table += struct.pack(">4sII", name, places[content], len(content))
    header = struct.pack(">I4s4s4s4s4s", start + len(data), bytes(4), b"\x04\x40\0\0", b"mntr",
                         b"RGB ", b"XYZ ")  # fmt: skip
    header += struct.pack(">6H", *_MADE) + b"acsp"
    header = header.ljust(68, b"\0") + _xyz(np.array(_D50))[8:]
    return header.ljust(128, b"\0") + table + data


def _fixed(value: float) -> bytes:
    """Return a number as s15Fixed16 (4.6)."""
    return struct.pack(">i", round(float(value) * 65536))


def _xyz(value: Array) -> bytes:
    return b"XYZ " + bytes(4) + b"".join(map(_fixed, value))


def _text(words: str) -> bytes:
    """Return a text in one language (10.15)."""
    letters = words.encode("utf-16-be")
    return b"mluc" + struct.pack(">III2s2sII", 0, 1, 12, b"en", b"US", len(letters), 28) + letters
