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

from lookkit.texture.boxes import Boxes, Shares
from lookkit.texture.compiled import Planes

Array = npt.NDArray[np.float64]

INDEX = 1.48
_ABSORBED = 0.35
_SMEARED = 10.0 / 130.0
"""Standard deviation of the thickness, as a share of it."""
_FARTHEST = 14.0
"""Thicknesses of the base: beyond, all but nothing comes back."""
_SQUARE = 26.5
_SMALL = 32
_LAMP = 64.0
"""Light, 1 at mid-grey: where there is more, float32 would leave digits of it in the dark."""


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
def spectrum(
    height: int, width: int, square: tuple[float, float], base: float
) -> npt.NDArray[np.float64]:
    """Return by what each wave of the cosine transform is multiplied, shape (height, width)."""
    from scipy import fft

    far, (high, broad) = _FARTHEST * base, square
    down, across = np.arange(height + 1) * high, np.arange(width + 1) * broad
    rows, columns = down <= far, across <= far
    h, w = int(rows.sum()), int(columns.sum())
    rho = np.linspace(0.0, 1.5 * far + 2.0 * max(square), 6000)
    known = spread_of(rho, base)
    near = np.zeros((h, w))
    # A square's mean, for the ring may be narrower.
    for a in (-1 / 3, 0.0, 1 / 3):
        for b in (-1 / 3, 0.0, 1 / 3):
            distance = np.hypot(down[:h, None] + a * high, across[:w] + b * broad)
            near += np.interp(distance, rho, known)
    near[np.hypot(down[:h, None], across[:w]) > far] = 0.0
    whole = np.zeros((height + 1, width + 1))
    whole[:h, :w] = near
    # The even torus that the transform stands for, by its own transform (type 1).
    waves = fft.dctn(whole, type=1)[:height, :width]
    return np.asarray(waves / waves[0, 0])


@lru_cache(maxsize=4)
def _single(height: int, width: int, square: tuple[float, float], base: float) -> Any:
    return spectrum(height, width, square, base).astype(np.float32)


@dataclass(frozen=True)
class Reduced:
    """How a picture is reduced: to `height` x `width` boxes."""

    boxes: Boxes
    height: int
    width: int

    @staticmethod
    def of(height: int, width: int, high: float, broad: float) -> Reduced:
        """Return that of a picture of pixels of `high` x `broad` micrometres."""
        down, across = (max(1, int(_SQUARE // side)) for side in (high, broad))
        # Boxes at the edge that reach beyond it would count too much in a small picture.
        if height < _SMALL * down or width < _SMALL * across:
            down = across = 1
        return Reduced(Boxes(down, across), -(-height // down), -(-width // across))

    def empty(self) -> Planes:
        """Return planes to be filled."""
        return np.empty((3, self.height, self.width), np.float32)

    def add(self, planes: Planes, rows: Planes, start: int, width: int) -> None:
        """Put the means of rows into the planes; `start` is the first one's, at a box's top."""
        first = start // self.boxes.high
        count = -(-rows.shape[1] // self.boxes.high)
        self.boxes.means(rows, width, planes[:, first : first + count])

    def spread(
        self, planes: Planes, high: float, broad: float, base: float, share: Shares
    ) -> Planes:
        """Return the planes' light spread by K, for layers with a share.

        `high` and `broad` are the sides of the picture's pixels.
        """
        from scipy import fft

        square = (high * self.boxes.high, broad * self.boxes.broad)
        low = np.zeros(planes.shape, np.float32)
        for layer in range(3):
            if share[layer] == 0.0:
                continue
            plane, made = planes[layer], _single
            if float(np.abs(plane).max()) > _LAMP:
                plane, made = plane.astype(np.float64), spectrum
            waves = fft.dctn(plane, type=2, norm="ortho")
            waves *= made(self.height, self.width, square, base)
            # A transform leaves digits of bright lamps where there is no light.
            found = fft.idctn(waves, type=2, norm="ortho", overwrite_x=True)
            low[layer] = np.maximum(found, min(float(plane.min()), 0.0))
        return low

    def mix(self, rows: Planes, start: int, low: Planes, share: Shares, out: Planes) -> None:
        """Take the share of each layer's light and put the spread light there, in `out`."""
        self.boxes.mix(rows, start, low, share, out, points=self.width)
