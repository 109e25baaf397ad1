"""A picture reduced to the means of boxes of pixels, and laid back under it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from lookkit.texture.compiled import Planes, checked, library, place, placed

Shares = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Boxes:
    """Boxes of `high` x `broad` pixels, the first at the picture's upper left corner."""

    high: int
    broad: int

    def means(self, rows: Planes, width: int, out: Planes) -> Planes:
        """Return the means of the boxes of rows, in `out`.

        Parameters
        ----------
        rows
            The first one at the top of a box. What a box lacks below and at the right of the
            picture's `width` is the last row and column again.
        out
            Its rows are as wide as there are boxes, or wider.
        """
        made = library()
        if made is None:
            self._by_numpy(rows[:, :, :width], out)
        else:
            checked(made.lookkit_texture_box(
                *placed(rows), rows.shape[2], rows.shape[1], width, self.high, self.broad,
                *placed(out), out.shape[2], out.shape[1]))  # fmt: skip
        return out

    def _by_numpy(self, rows: Planes, out: Planes) -> None:
        low = -(-rows.shape[2] // self.broad)
        missing = ((0, 0), (0, out.shape[1] * self.high - rows.shape[1]),
                   (0, low * self.broad - rows.shape[2]))  # fmt: skip
        padded = np.pad(rows, missing, mode="edge")
        boxes = padded.reshape(3, out.shape[1], self.high, low, self.broad)
        out[:, :, :low] = boxes.mean(axis=(2, 4), dtype=np.float64)
        out[:, :, low:] = out[:, :, low - 1 : low]

    def mix(
        self,
        rows: Planes,
        start: int,
        low: Planes,
        share: Shares,
        out: Planes,
        *,
        points: int,
        first: int = 0,
    ) -> Planes:
        """Return rows + share (low - rows), in `out`, `low` read between the boxes' middles.

        Parameters
        ----------
        rows
            The first is row `start` of the picture; `out` may be the same.
        low
            `points` of each row count; the first is row `first` of the boxes.
        share
            By plane, shape (3,).
        """
        made = library()
        if made is None:
            self.mix_by_numpy(rows, start, low[:, :, :points], share, out, first)
        else:
            checked(made.lookkit_texture_spread(
                *placed(rows), *placed(out), rows.shape[2], rows.shape[1], start, self.high,
                self.broad, *placed(low), low.shape[2], points, first, low.shape[1],
                place(share)))  # fmt: skip
        return out

    def mix_by_numpy(
        self, rows: Planes, start: int, low: Planes, share: Shares, out: Planes, first: int
    ) -> None:
        """Do `mix` by numpy, `low` as wide as there are boxes."""
        top, down = _between(np.arange(start, start + rows.shape[1]), self.high)
        left, across = _between(np.arange(rows.shape[2]), self.broad)
        for plane, s in enumerate(share):
            if s == 0.0:
                out[plane] = rows[plane]
                continue
            a, b = _two(low[plane], left, 1)
            lines = s * (a + (b - a) * across)
            c, d = _two(lines, top - first, 0)
            out[plane] = rows[plane] * (np.float32(1) - s) + (c + (d - c) * down[:, None])


def _between(at: npt.NDArray[np.intp], by: int) -> tuple[npt.NDArray[np.intp], Any]:
    place_ = (at.astype(np.float32) + np.float32(0.5)) / np.float32(by) - np.float32(0.5)
    low = np.floor(place_)
    return low.astype(np.intp), place_ - low


def _two(plane: Any, at: npt.NDArray[np.intp], axis: int) -> tuple[Any, Any]:
    last = plane.shape[axis] - 1
    return (
        np.take(plane, np.clip(at, 0, last), axis),
        np.take(plane, np.clip(at + 1, 0, last), axis),
    )
