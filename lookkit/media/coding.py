"""How the integers of a picture carry R'G'B': Y'CbCr matrix, signal range, bit depth.

Pictures pass through here in 16-bit integers with the file's codes in the upper bits, as
libswscale widens Y'CbCr: a code c of b bits is c 2^(16-b), and 0-1 spans 0-65535.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.working import Array

Matrix = Literal["rgb", "bt601", "bt709", "bt2020", "smpte240m", "fcc"]

_LUMA: Final[dict[str, tuple[float, float]]] = {
    "bt601": (0.299, 0.114),
    "bt709": (0.2126, 0.0722),
    "bt2020": (0.2627, 0.0593),
    "smpte240m": (0.212, 0.087),
    "fcc": (0.30, 0.11),
}
"""K_R and K_B: ITU-R BT.601-7, BT.709-6, BT.2020-2 (non-constant luminance), ITU-T H.273."""

MATRICES: Final = ("rgb", *_LUMA)


@dataclass(frozen=True)
class Coding:
    """How integers of `bits` bits carry R'G'B'.

    Quantisation is that of ITU-R BT.709-6 and BT.2100-2 for legal range (Y' 16-235, C 16-240,
    in units of 2^(bits-8)) and of BT.2100-2 for full range (C centred on 2^(bits-1)).

    `signal` is how the signal lies in the R'G'B' codes where not as `range` has it: "full" in
    movies of legal range whose codes are those of the maker's formula, as log movies' are.
    """

    matrix: Matrix
    range: SignalRange
    bits: int
    signal: SignalRange | None = None

    @property
    def top(self) -> int:
        """The largest code of the file."""
        return int(2**self.bits - 1)

    def to_rgb(self) -> tuple[Array, Array]:
        """Return the 3x3 matrix and offset from 16-bit values 0-1 to R'G'B' codes.

        The R'G'B' codes are in the file's own range, 0-1 for all its integers, so legal
        range stays legal and super-white is kept; nothing is clipped.
        """
        widen = 65535 / 2 ** (16 - self.bits) / self.top
        if self.matrix == "rgb":
            return np.eye(3) * widen, np.zeros(3)
        red, blue = _LUMA[self.matrix]
        green = 1.0 - red - blue
        excursion = 219 / 224 if self.range == "legal" else 1.0
        cr, cb = 2.0 * (1.0 - red) * excursion, 2.0 * (1.0 - blue) * excursion
        rows = np.array(
            [[1.0, 0.0, cr], [1.0, -cb * blue / green, -cr * red / green], [1.0, cb, 0.0]]
        )
        zero: Array = np.array([0.0, 0.5, 0.5]) * ((self.top + 1) / self.top)
        return rows * widen, -rows @ zero

    def from_rgb(self) -> tuple[Array, Array]:
        """Return the 3x3 matrix and offset that undo `to_rgb`."""
        rows, offset = self.to_rgb()
        inverse: Array = np.asarray(np.linalg.inv(rows), dtype=np.float64)
        return inverse, -inverse @ offset
