"""Smooth random textures from one small periodic volume."""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy import ndimage

_SIZE = 64


@cache
def _volume() -> np.ndarray:
    white = np.random.default_rng(20240611).standard_normal((_SIZE,) * 3)
    smooth = ndimage.gaussian_filter(white, 1.25, mode="wrap")
    return (smooth / smooth.std()).astype(np.float32)


def noise(p: np.ndarray, scale: float | tuple[float, float, float], seed: float = 0) -> np.ndarray:
    """Return smooth noise of unit deviation at points (3, n).

    `scale` is grid cells a metre (features span about three cells), for each axis if a tuple.
    """
    scales = np.broadcast_to(np.asarray(scale, dtype=np.float32), (3,))[:, np.newaxis]
    shift = np.array([[0.37], [0.71], [0.53]], dtype=np.float32) * np.float32(17.3 * seed)
    q = (p * scales + shift) % _SIZE
    return ndimage.map_coordinates(_volume(), q, order=1, mode="grid-wrap")


def fractal(
    p: np.ndarray, scale: float | tuple[float, float, float], octaves: int = 3, seed: float = 0
) -> np.ndarray:
    """Return a sum of octaves, each half as strong and twice as fine; about unit deviation."""
    scales = np.asarray(scale, dtype=np.float32)
    total = np.zeros(p.shape[1], dtype=np.float32)
    power = 0.0
    for k in range(octaves):
        total += noise(p, tuple(np.broadcast_to(scales * 2**k, (3,))), seed + 3 * k) * 0.5**k
        power += 0.25**k
    return total / np.float32(np.sqrt(power))


def roughen(
    p: np.ndarray, n: np.ndarray, scale: float | tuple, amount: float, seed: float = 0
) -> np.ndarray:
    """Return normals tilted by the slope of noise; `amount` is the slope's deviation."""
    tilt = np.stack([noise(p, scale, seed + 11 + k) for k in range(3)]) * np.float32(amount)
    bent = n + tilt - n * (n * tilt).sum(axis=0)
    return bent / np.sqrt((bent * bent).sum(axis=0))
