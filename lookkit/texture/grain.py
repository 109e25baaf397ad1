r"""The grain field: chance that depends on the pixel, the frame, the shot and the seed alone.

For each pixel Philox4x32-10 turns the counter (x, y, frame, 0) and the key (seed, shot) into 16
bytes; the sums of five of them are a layer's chance, all but Gaussian. Whole-number taps across and
down make neighbours as alike as means of pixels over the grain are (`granularity.likeness`). All in
whole numbers: any part of any frame is the same to the last bit, wherever it is made.

Source: J. K. Salmon et al., Parallel random numbers: as easy as 1, 2, 3 (2011).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from math import ceil, sqrt

import numpy as np
import numpy.typing as npt

from lookkit.texture.compiled import checked, library, place
from lookkit.texture.granularity import likeness

Whole = npt.NDArray[np.int32]
Words = npt.NDArray[np.uint32]

_BYTES = 5
_ONE = 512
"""What a tap of 1 is as a whole number."""
_LOST = 6
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

    `taps` has shape (3, 2 reach + 1).
    """

    seed: int
    shot: int
    frame: int
    taps: Whole

    def part(self, y: int, rows: int, x: int, width: int) -> Whole:
        """Return rows and columns of the field, shape (3, rows, width); times `UNIT` it is 1."""
        made = library()
        if made is None:
            return self.by_numpy(y, rows, x, width)
        out = np.empty((3, rows, width), np.int32)
        checked(made.lookkit_texture_grain(
            place(out), rows, width, x, y, self.frame & 0xFFFFFFFF, self.seed, self.shot,
            place(self.taps), self.taps.shape[1] // 2))  # fmt: skip
        return out

    def by_numpy(self, y: int, rows: int, x: int, width: int) -> Whole:
        """Do `part` by numpy."""
        reach = self.taps.shape[1] // 2
        down = (np.arange(y - reach, y + rows + reach) & 0xFFFFFFFF).astype(np.uint32)
        across = (np.arange(x - reach, x + width + reach) & 0xFFFFFFFF).astype(np.uint32)
        shape = (len(down), len(across))
        frame = np.full(shape, self.frame & 0xFFFFFFFF, np.uint32)
        counter = (
            np.broadcast_to(across, shape),
            np.broadcast_to(down[:, None], shape),
            frame,
            np.zeros(shape, np.uint32),
        )
        words = philox(counter, (self.seed, self.shot))
        out = np.empty((3, rows, width), np.int32)
        for layer, taps in enumerate(self.taps.astype(np.int32)):
            four = [(words[layer] >> np.uint32(8 * k)) & np.uint32(255) for k in range(4)]
            fifth = (words[3] >> np.uint32(8 * layer)) & np.uint32(255)
            chance = 2 * np.stack([*four, fifth]).astype(np.int32).sum(0) - 255 * _BYTES
            line = np.zeros((chance.shape[0], width), np.int32)
            for k, tap in enumerate(taps):
                line += tap * chance[:, k : k + width].astype(np.int32)
            line = (line + (1 << (_LOST - 1))) >> _LOST
            out[layer] = 0
            for k, tap in enumerate(taps):
                out[layer] += tap * line[k : k + rows]
        return out


def field_taps(radii: Sequence[float], pixel: float) -> Whole:
    """Return the taps whose field is as alike as means of pixels over grain of these radii.

    Shape (3, 2 reach + 1). `pixel` and the radii are in micrometres.
    """
    reach = max(max(1, ceil(2.6 * radius / 2.0 / pixel + 0.6)) for radius in radii)
    length = 64 * max(1, ceil(reach / 16))
    steps = np.abs(np.fft.fftfreq(length, 1.0 / length))
    made = []
    for radius in radii:
        alike = np.fft.fft(likeness(radius, pixel, steps)).real
        taps = np.fft.fftshift(np.fft.ifft(np.sqrt(np.maximum(alike, 0.0))).real)
        taps = taps[length // 2 - reach : length // 2 + reach + 1]
        made.append(np.rint(_ONE * taps / np.sqrt((taps**2).sum())))
    return np.ascontiguousarray(made, np.int32)
