"""What a CLF or CTF file says that it takes and gives, and whether that is light or codes."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from typing import Final, Literal

from lookkit.inspect.shape import Shape

Side = Literal["input", "output"]

_HEAD: Final = 1 << 16
_LINEAR: Final = re.compile(
    r"scene[- ]?linear|\blinear\b|\bACES2065-1\b|\bACEScg\b|\bAP[01]\b", re.IGNORECASE
)
FAR: Final = 4.0
"""An output above this is no code of any file, but light."""


def told_by(path: Path) -> dict[Side, str]:
    """Return the descriptions of input and output in the head of a CLF or CTF, where it has them.

    These are InputDescriptor and OutputDescriptor (Academy S-2014-006, Common LUT Format 3.0).
    """
    if path.suffix.lower() not in (".clf", ".ctf"):
        return {}
    with path.open("rb") as file:
        head = file.read(_HEAD).decode("utf-8", "replace")
    found: dict[Side, str] = {}
    sides: tuple[tuple[Side, str], ...] = (("input", "Input"), ("output", "Output"))
    for side, name in sides:
        words = re.search(rf"<{name}Descriptor>([^<]*)</{name}Descriptor>", head)
        if words is not None:
            found[side] = " ".join(unescape(words[1]).split())
    return found


def is_light(side: Side, told: dict[Side, str], shape: Shape | None) -> bool:
    """Say whether what a LUT takes or gives is scene-linear light, so that codes say nothing.

    By its own words where it has them, else its output by its values: codes end near 1.
    """
    if side in told:
        return bool(_LINEAR.search(told[side]))
    return side == "output" and shape is not None and max(shape.highest) > FAR
