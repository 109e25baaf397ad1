r"""From measured granularity to the deviation of a pixel.

Grain is a random density whose values at two places are alike by c(h) = exp(-h^2 / r^2), h
micrometres apart: what a Gaussian of standard deviation r / 2 makes of chance. W is the integral
of its covariance over the plane. Through an aperture of area A whose overlap with itself is a(h),
a(0) = 1,

    sigma^2 = W / A  int 2 pi h c(h) a(h) dh / int 2 pi h c(h) dh

which is W / A where the grain is small: Selwyn's law. W comes from sigma of the round aperture of
48 micrometres; a pixel of sides p and q has sigma = sqrt(W k l / (p q)), k and l the shares of W
that its sides keep. Newson, Delon and Galerne (2017) have the statistics of the grains themselves.

Sources: E. W. H. Selwyn (1935), and the definition of granularity in handbooks of photographic
materials, both from memory; the equations are ours.
"""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import numpy.typing as npt

APERTURE = 48.0
"""Diameter in micrometres, at which granularity is measured."""

Array = npt.NDArray[np.float64]


def overlap(distance: Array, diameter: float) -> Array:
    """Return the share of a disc that it has in common with itself moved by a distance."""
    at = np.minimum(distance / diameter, 1.0)
    return np.asarray(2.0 / pi * (np.arccos(at) - at * np.sqrt(1.0 - at * at)))


def kept(radius: float, diameter: float) -> float:
    """Return the share of W / A that a round aperture sees of grain of a radius."""
    h = np.linspace(0.0, min(6.0 * radius, diameter), 4001)
    weight = h * np.exp(-((h / radius) ** 2))
    return float((weight * overlap(h, diameter)).sum() / weight.sum())


def power(granularity: float, radius: float) -> float:
    """Return W at density 1, in micrometres^2, of a granularity (1000 sigma)."""
    area = pi * APERTURE**2 / 4.0
    return (granularity / 1000.0) ** 2 * area / kept(radius, APERTURE)


def sigma_of_disc(granularity: float, radius: float, diameter: float) -> float:
    """Return the deviation at density 1 through a round aperture."""
    area = pi * diameter**2 / 4.0
    return sqrt(power(granularity, radius) / area * kept(radius, diameter))


def likeness(radius: float, pixel: float, steps: Array) -> Array:
    """Return how alike means over pixels are, `steps` pixels apart along a line.

    The covariance along one side: a pixel's box with itself, and the grain's Gaussian. The value
    at 0 is k.
    """
    side = max(radius / sqrt(2.0) / pixel, 1e-3)
    x = np.linspace(-1.0, 1.0, 2001)
    box = 1.0 - np.abs(x)
    gauss = np.exp(-0.5 * ((steps[:, None] - x) / side) ** 2) / (side * sqrt(2.0 * pi))
    if side < 0.02:
        return np.asarray(np.maximum(1.0 - np.abs(steps), 0.0))
    return np.asarray(np.trapezoid(box * gauss, x, axis=1))


def sigma_of_pixel(granularity: float, radius: float, high: float, broad: float) -> float:
    """Return the deviation of a pixel at density 1; `high` x `broad` are its micrometres."""
    down, across = (float(likeness(radius, side, np.zeros(1))[0]) for side in (high, broad))
    return sqrt(power(granularity, radius) * down * across / (high * broad))
