"""Perspective between the unit square of the chart and the pixels of a picture.

Pixels are counted so that the first one reaches from 0 to 1: its middle is at 0.5.
"""

from __future__ import annotations

import numpy as np

from lookkit.spaces.working import Array

UNIT: Array = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])


def from_points(source: Array, target: Array) -> Array:
    """Return the 3x3 homography that carries `source` to `target`, both (n, 2), n >= 4.

    Least squares on the linear equations (Hartley, Zisserman, "Multiple View Geometry",
    4.1), on points moved to mean 0 and size 1; exact for four points.
    """
    to_source, a = _normalised(source)
    to_target, b = _normalised(target)
    x, y = a[:, 0], a[:, 1]
    zero, one = np.zeros_like(x), np.ones_like(x)
    u, v = b[:, 0], b[:, 1]
    rows = np.concatenate(
        [
            np.stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u], axis=1),
            np.stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v], axis=1),
        ]
    )
    solution = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    whole = np.linalg.inv(to_target) @ solution @ to_source
    return np.asarray(whole / whole[2, 2])


def carry(homography: Array, points: Array) -> Array:
    """Return points (..., 2) after the homography."""
    moved = points @ homography[:, :2].T + homography[:, 2]
    return np.asarray(moved[..., :2] / moved[..., 2:])


def is_convex(corners: Array) -> bool:
    """Tell whether four corners, taken in turn, enclose an area without crossing."""
    edges = np.roll(corners, -1, axis=0) - corners
    following = np.roll(edges, -1, axis=0)
    turns = edges[:, 0] * following[:, 1] - edges[:, 1] * following[:, 0]
    return bool((turns > 0).all() or (turns < 0).all())


def area(corners: Array) -> float:
    """Return the area of a polygon (n, 2)."""
    x, y = corners.T
    return float(0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))


def _normalised(points: Array) -> tuple[Array, Array]:
    middle = points.mean(axis=0)
    size = float(np.abs(points - middle).mean()) or 1.0
    matrix = np.array(
        [[1.0 / size, 0.0, -middle[0] / size], [0.0, 1.0 / size, -middle[1] / size], [0, 0, 1]]
    )
    return matrix, (points - middle) / size
