r"""The grain field: chance that depends on the pixel, the frame, the shot and the seed alone.

For each pixel Philox4x32-10 turns the counter (x, y, frame, 0) and the key (seed, shot) into 16
bytes; the sums of five of them are a layer's chance, all but Gaussian. Whole-number taps across and
down make neighbours as alike as means of pixels over the grain are (`granularity.likeness`). All in
whole numbers: any part of any frame is the same to the last bit, wherever it is made. They are held
as float32, which has all of them below 2^24 exactly: 50 deviations, and a sum of so many bytes is
beyond that with a probability below 2 exp(-2 x 50^2 / 12) (Hoeffding's inequality).

Source: J. K. Salmon et al., Parallel random numbers: as easy as 1, 2, 3 (2011).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from math import ceil, sqrt

import numpy as np
import numpy.typing as npt

from lookkit.texture.compiled import Planes, checked, library, place, placed, wide_of
from lookkit.texture.granularity import likeness

Words = npt.NDArray[np.uint32]

_BYTES = 5
_ONE = 512
"""What a tap of 1 is as a whole number."""
_LOST = 8
"""Bits that are dropped between across and down."""
UNIT = 1.0 / (2.0 * sqrt(_BYTES * (256**2 - 1) / 12.0) * _ONE * _ONE / 2**_LOST)
"""What the field's numbers are multiplied by to have the deviation 1."""
_MULTIPLY = (np.uint64(0xD2511F53), np.uint64(0xCD9E8D57))
_ADD = (0x9E3779B9, 0xBB67AE85)
_LOW = np.uint64(0xFFFFFFFF)
_HALF = np.uint64(32)


def philox(counter: Sequence[Words], key: tuple[int, int]) -> tuple[Words, Words, Words, Words]:
    """Return Philox4x32-10 of counters, four arrays of one shape, and a key of 32-bit numbers."""
    c0, c1, c2, c3 = (one.astype(np.uint64) for one in counter)
    k0, k1 = key
    for _ in range(10):
        p, q = c0 * _MULTIPLY[0], c2 * _MULTIPLY[1]
        c0, c1 = (q >> _HALF) ^ c1 ^ np.uint64(k0), q & _LOW
        c2, c3 = (p >> _HALF) ^ c3 ^ np.uint64(k1), p & _LOW
        k0, k1 = (k0 + _ADD[0]) & 0xFFFFFFFF, (k1 + _ADD[1]) & 0xFFFFFFFF
    a, b, c, d = (one.astype(np.uint32) for one in (c0, c1, c2, c3))
    return a, b, c, d


def shot_key(name: str) -> int:
    """Return the 32-bit number that stands for a shot's name."""
    return int.from_bytes(sha256(name.encode(errors="surrogateescape")).digest()[:4], "big")


@dataclass(frozen=True)
class Field:
    """The grain of one picture: which frame of which shot, and how alike neighbours are.

    `down` and `across` have shape (3, reach + 1), the middle first: whole numbers.
    """

    seed: int
    shot: int
    frame: int
    down: Planes
    across: Planes

    def part(self, y: int, rows: int, x: int, width: int) -> Planes:
        """Return rows and columns of the field, as planes; times `UNIT` it is 1."""
        made = library()
        if made is None:
            return self.by_numpy(y, rows, x, wide_of(width))
        out = np.empty((3, rows, wide_of(width)), np.float32)
        checked(made.lookkit_texture_grain(
            *placed(out), out.shape[2], rows, x, y, self.frame & 0xFFFFFFFF, self.seed, self.shot,
            place(self.across), self.across.shape[1] - 1, place(self.down),
            self.down.shape[1] - 1))  # fmt: skip
        return out

    def by_numpy(self, y: int, rows: int, x: int, width: int) -> Planes:
        """Do `part` by numpy, of `width` columns."""
        high, broad = self.down.shape[1] - 1, self.across.shape[1] - 1
        down = (np.arange(y - high, y + rows + high) & 0xFFFFFFFF).astype(np.uint32)
        across = (np.arange(x - broad, x + width + broad) & 0xFFFFFFFF).astype(np.uint32)
        shape = (len(down), len(across))
        frame = np.full(shape, self.frame & 0xFFFFFFFF, np.uint32)
        counter = (
            np.broadcast_to(across, shape),
            np.broadcast_to(down[:, None], shape),
            frame,
            np.zeros(shape, np.uint32),
        )
        words = philox(counter, (self.seed, self.shot))
        out = np.empty((3, rows, width), np.float32)
        for layer in range(3):
            four = [(words[layer] >> np.uint32(8 * k)) & np.uint32(255) for k in range(4)]
            fifth = (words[3] >> np.uint32(8 * layer)) & np.uint32(255)
            chance = 2 * np.stack([*four, fifth]).astype(np.int64).sum(0) - 255 * _BYTES
            line = _filtered(chance, self.across[layer], width, 1)
            line = (line + (1 << (_LOST - 1))) >> _LOST
            out[layer] = _filtered(line, self.down[layer], rows, 0)
        return out


def _filtered(
    values: npt.NDArray[np.int64], taps: Planes, length: int, axis: int
) -> npt.NDArray[np.int64]:
    reach = len(taps) - 1
    total = np.zeros(1, np.int64)
    for step in range(-reach, reach + 1):
        at = np.arange(reach + step, reach + step + length)
        total = total + int(taps[abs(step)]) * np.take(values, at, axis)
    return total


def field_taps(radii: Sequence[float], pixel: float) -> Planes:
    """Return the taps whose field is as alike as means of pixels over grain of these radii.

    Shape (3, reach + 1), the middle first. The radii, and the pixel's side along the taps, are in
    micrometres.
    """
    reach = max(max(1, ceil(2.6 * radius / 2.0 / pixel + 0.6)) for radius in radii)
    length = 64 * max(1, ceil(reach / 16))
    steps = np.abs(np.fft.fftfreq(length, 1.0 / length))
    made = []
    for radius in radii:
        alike = np.fft.fft(likeness(radius, pixel, steps)).real
        taps = np.fft.ifft(np.sqrt(np.maximum(alike, 0.0))).real[: reach + 1]
        made.append(np.rint(_ONE * taps / np.sqrt(2.0 * (taps**2).sum() - taps[0] ** 2)))
    return np.ascontiguousarray(made, np.float32)
