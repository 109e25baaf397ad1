"""What a picture says about each of the chart's patches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from lookkit.match import charts
from lookkit.match.homography import carry
from lookkit.spaces.working import Array

CENTRAL: Final = 0.5
"""The share of a swatch's width and height that is sampled."""
_MOST: Final = 48
NEAR_TOP: Final = 0.012
NEAR_ZERO: Final = 0.004


@dataclass(frozen=True)
class Patches:
    """The 24 patches of one picture, in the chart's own order.

    Attributes
    ----------
    codes
        Mean code values, stray pixels left out, (24, 3).
    light
        The mean of the decoded pixels, (24, 3): what the fit works on.
    noise
        Standard deviation of the pixels of a patch in `light`, (24, 3).
    pixels
        How many pixels were sampled of each patch, (24,); 0 if it is not in the picture.
    medians
        Median code values of all pixels, (24, 3).
    clipped, crushed
        Share of the pixels with a channel at the top or the bottom of the range, (24,).
    where
        Centres of the patches in pixels, (24, 2).
    """

    codes: Array
    light: Array
    noise: Array
    pixels: np.ndarray
    clipped: Array
    crushed: Array
    where: Array
    medians: Array


def pixels_of(picture: Array, homography: Array) -> list[Array]:
    """Return the pixels in the central half of each patch, 24 arrays (n, 3).

    The array is empty for a patch of which less than half of that is in the picture and light:
    pixels that are no numbers are none.
    """
    height, width = picture.shape[:2]
    half = charts.half_swatch() * CENTRAL
    out = []
    for centre in charts.centres():
        edge = carry(homography, centre + half * np.array([[-1.0, 0], [1, 0], [0, -1], [0, 1]]))
        across = float(np.linalg.norm(edge[1] - edge[0]))
        down = float(np.linalg.norm(edge[3] - edge[2]))
        nx, ny = (int(np.clip(round(size), 3, _MOST)) for size in (across, down))
        u = (np.arange(nx) + 0.5) / nx * 2.0 - 1.0
        v = (np.arange(ny) + 0.5) / ny * 2.0 - 1.0
        grid = np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2) * half + centre
        x, y = np.floor(carry(homography, grid)).astype(int).T
        inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
        pixels = np.asarray(picture[y[inside], x[inside]], dtype=np.float64)
        pixels = pixels[np.isfinite(pixels).all(axis=1)]
        out.append(pixels if len(pixels) >= 0.5 * len(inside) else pixels[:0])
    return out


def sample(
    picture: Array,
    homography: Array,
    decode: Callable[[Array], Array],
    top: float = 1.0,
    bottom: float = 0.0,
) -> Patches:
    """Sample the chart.

    Parameters
    ----------
    picture
        Code values, (height, width, 3).
    homography
        From the chart's unit square to pixels.
    decode
        From code values to light, applied to each pixel before the mean.
    top, bottom
        The codes at which the camera clips.
    """
    codes, light, noise, counts, clipped, crushed, seen = [], [], [], [], [], [], []
    medians = []
    for pixels in pixels_of(picture, homography):
        if not len(pixels):
            pixels = np.zeros((1, 3))
            seen.append(False)
        else:
            seen.append(True)
        middle = np.median(pixels, axis=0)
        spread = 1.4826 * np.median(np.abs(pixels - middle), axis=0) + 1.5 / 255.0
        fair = pixels[(np.abs(pixels - middle) <= 4.0 * spread).all(axis=1)]
        decoded = decode(fair)
        medians.append(middle)
        codes.append(fair.mean(axis=0))
        light.append(decoded.mean(axis=0))
        noise.append(decoded.std(axis=0))
        counts.append(len(fair))
        clipped.append((pixels >= top - NEAR_TOP).any(axis=1).mean())
        crushed.append((pixels <= bottom + NEAR_ZERO).any(axis=1).mean())
    return Patches(
        np.array(codes),
        np.array(light),
        np.array(noise),
        np.array(counts) * np.array(seen),
        np.array(clipped),
        np.array(crushed),
        carry(homography, charts.centres()),
        np.array(medians),
    )
