r"""Halation: light that passes the layers, is thrown back by the base and exposes them again.

Per layer E' = (1 - s) E + s (K * E), K's sum one, so that no light is added. From geometry: light
that is scattered into the base of thickness t and refractive index n meets its far side at the
angle theta and comes back at rho = 2 t tan theta,

    K(rho) = R(theta) cos^4 theta / (4 pi t^2) exp(-a (1 / cos theta - 1))

R is Fresnel's, and 1 beyond the critical angle: hence a ring, at rho = 2 t tan(asin(1 / n)). a is
what the base absorbs. t is smeared, for emulsions have a depth.

K is broad, so the picture is reduced to squares of about 26 micrometres, and the cosine transform
does the sum; its pictures are mirrored at their edges.

Sources: Fresnel's equations and the critical angle; n = 1.48 of cellulose triacetate, t and a from
memory, without a source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import pi
from typing import Any

import numpy as np
import numpy.typing as npt

from lookkit.texture.compiled import checked, library, place
from lookkit.texture.filters import Pixels

Array = npt.NDArray[np.float64]

INDEX = 1.48
_ABSORBED = 0.35
_SMEARED = 10.0 / 130.0
"""Standard deviation of the thickness, as a share of it."""
_FARTHEST = 14.0
"""Thicknesses of the base: beyond, all but nothing comes back."""
_SQUARE = 26.5
_SMALL = 32


def spread_of(rho: Array, base: float) -> Array:
    """Return K at distances from a point, in micrometres: light for each square micrometre."""
    total = np.zeros_like(rho)
    for step in np.linspace(-1.5, 1.5, 13):
        t = base * (1.0 + _SMEARED * step)
        theta = np.arctan(rho / (2.0 * t))
        cos, inside = np.cos(theta), INDEX * np.sin(theta)
        out = np.sqrt(np.maximum(1.0 - inside * inside, 0.0))
        across = ((INDEX * cos - out) / (INDEX * cos + out)) ** 2
        along = ((cos - INDEX * out) / (cos + INDEX * out)) ** 2
        back = np.where(inside >= 1.0, 1.0, 0.5 * (across + along))
        lost = np.exp(-_ABSORBED * (1.0 / cos - 1.0))
        total += np.exp(-0.5 * step**2) * back * cos**4 / (4.0 * pi * t * t) * lost
    return total


@lru_cache(maxsize=4)
def spectrum(height: int, width: int, square: float, base: float) -> Array:
    """Return by what each wave of the cosine transform is multiplied, shape (height, width)."""
    from scipy import fft

    far = _FARTHEST * base
    down, across = np.arange(height + 1) * square, np.arange(width + 1) * square
    rows, columns = down <= far, across <= far
    h, w = int(rows.sum()), int(columns.sum())
    rho = np.linspace(0.0, 1.5 * far + 2.0 * square, 6000)
    known = spread_of(rho, base)
    near = np.zeros((h, w))
    # A square's mean, for the ring may be narrower.
    for a in (-1 / 3, 0.0, 1 / 3):
        for b in (-1 / 3, 0.0, 1 / 3):
            distance = np.hypot(down[:h, None] + a * square, across[:w] + b * square)
            near += np.interp(distance, rho, known)
    near[np.hypot(down[:h, None], across[:w]) > far] = 0.0
    whole = np.zeros((height + 1, width + 1))
    whole[:h, :w] = near
    # The even torus that the transform stands for, by its own transform (type 1).
    waves = fft.dctn(whole, type=1)[:height, :width]
    return np.asarray(waves / waves[0, 0])


@dataclass(frozen=True)
class Reduced:
    """How a picture is reduced: squares of `by` pixels, `height` x `width` of them."""

    by: int
    height: int
    width: int

    @staticmethod
    def of(height: int, width: int, pixel: float) -> Reduced:
        """Return that of a picture; `pixel` is the side in micrometres."""
        by = max(1, int(_SQUARE // pixel))
        # Squares at the edge that reach beyond it would count too much in a small picture.
        by = by if min(height, width) >= _SMALL * by else 1
        return Reduced(by, -(-height // by), -(-width // by))

    def empty(self) -> Array:
        """Return planes to be filled."""
        return np.empty((3, self.height, self.width))

    def add(self, planes: Array, rows: Pixels, start: int) -> None:
        """Put the means of squares of rows, (n, width, 3), into the planes.

        `start` is the first row's, a multiple of `by`; n is one too, but for the last rows.
        """
        first, count = start // self.by, -(-rows.shape[0] // self.by)
        made = library()
        if made is None:
            planes[:, first : first + count] = self._by_numpy(rows, count)
            return
        made.lookkit_texture_box(
            place(rows), rows.shape[0], rows.shape[1], self.by,
            planes.ctypes.data + 8 * first * self.width, count, self.height * self.width,
        )  # fmt: skip

    def _by_numpy(self, rows: Pixels, count: int) -> Array:
        missing = ((0, count * self.by - rows.shape[0]), (0, self.width * self.by - rows.shape[1]),
                   (0, 0))  # fmt: skip
        padded = np.pad(rows.astype(np.float64), missing, mode="edge")
        squares = padded.reshape(count, self.by, self.width, self.by, 3)
        return np.asarray(np.moveaxis(squares.mean(axis=(1, 3)), -1, 0))

    def spread(self, planes: Array, square: float, base: float, share: Any) -> Pixels:
        """Return the planes' light spread by K, for layers with a share; as float32."""
        from scipy import fft

        low = np.zeros(planes.shape, np.float32)
        for layer in range(3):
            if share[layer] > 0.0:
                waves = fft.dctn(planes[layer], type=2, norm="ortho")
                waves *= spectrum(self.height, self.width, square, base)
                # A transform leaves digits of bright lamps where there is no light.
                found = fft.idctn(waves, type=2, norm="ortho", overwrite_x=True)
                least = min(float(planes[layer].min()), 0.0)
                low[layer] = np.maximum(found, least)
        return low

    def mix(self, rows: Pixels, start: int, low: Pixels, share: Pixels) -> None:
        """Take the share of each layer's light and put the spread light there, in place."""
        made = library()
        if made is None:
            self.mix_by_numpy(rows, start, low, share)
            return
        checked(made.lookkit_texture_spread(
            place(rows), rows.shape[0], rows.shape[1], start, self.by, place(low), self.height,
            self.width, place(share)))  # fmt: skip

    def mix_by_numpy(self, rows: Pixels, start: int, low: Pixels, share: Pixels) -> None:
        """Do `mix` by numpy."""
        top, down = self._between(np.arange(start, start + rows.shape[0]))
        left, across = self._between(np.arange(rows.shape[1]))
        for layer in range(3):
            if share[layer] == 0.0:
                continue
            plane = low[layer]
            a, b = self._two(plane, top, 0)
            lines = share[layer] * (a + (b - a) * down[:, None])
            c, d = self._two(lines, left, 1)
            rows[..., layer] = rows[..., layer] * (np.float32(1) - share[layer]) + (
                c + (d - c) * across
            )

    def _between(self, at: npt.NDArray[np.intp]) -> tuple[npt.NDArray[np.intp], Pixels]:
        place_ = (at.astype(np.float32) + np.float32(0.5)) / np.float32(self.by) - np.float32(0.5)
        low = np.floor(place_)
        return low.astype(np.intp), place_ - low

    def _two(self, plane: Any, at: npt.NDArray[np.intp], axis: int) -> tuple[Any, Any]:
        last = plane.shape[axis] - 1
        return (
            np.take(plane, np.clip(at, 0, last), axis),
            np.take(plane, np.clip(at + 1, 0, last), axis),
        )
