"""Which way round a chart lies: how well 24 colours agree with the classic's order.

Ranks of brightness and correlations of opponent colours hold for any exposure, curve or
white balance, so a log picture and a mirrored one are judged alike.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from lookkit.match import charts
from lookkit.spaces.working import Array

ACCEPT: Final = 0.80
"""Score from which 24 colours are taken for the chart; 1 is perfect agreement."""
ACCEPT_GIVEN: Final = 0.55
MARGIN_GIVEN: Final = 0.25
"""Where corners are given: the score, and how far any other way round must fall behind."""


def score(colours: Array, seen: np.ndarray | None = None) -> float:
    """Return the agreement of code values (24, 3) with the chart's own order, -1 to 1.

    `seen` masks patches that are in the picture; at least eight are needed.
    """
    mask = np.ones(charts.COUNT, dtype=bool) if seen is None else seen
    found, wanted = colours[mask], _reference()[mask]
    brightness = _correlation(_ranks(found.mean(axis=1)), _ranks(wanted.mean(axis=1)))
    parts = [brightness]
    a, b = _opponents(found), _opponents(wanted)
    parts += [_correlation(a[:, k], b[:, k]) for k in range(2)]
    return float(np.mean(parts))


def poses(rows: int = charts.ROWS, columns: int = charts.COLUMNS) -> list[np.ndarray]:
    """Return, for four poses, which cell of the picture's grid holds each chart patch.

    As shot, upside down, mirrored left to right, mirrored top to bottom.
    """
    grid = np.arange(rows * columns).reshape(rows, columns)
    return [grid.ravel(), grid[::-1, ::-1].ravel(), grid[:, ::-1].ravel(), grid[::-1].ravel()]


def _reference() -> Array:
    return np.cbrt(np.maximum(charts.edition("average").scene, 0.0))


def _opponents(colours: Array) -> Array:
    """Red against green, and blue against both, with the channels made equal on average."""
    spread = colours - np.median(colours, axis=0)
    equal = spread / (spread.std(axis=0) + 1e-9)
    r, g, b = equal.T
    return np.stack([r - g, b - 0.5 * (r + g)], axis=-1)


def _ranks(values: Array) -> Array:
    return np.argsort(np.argsort(values)).astype(np.float64)


def _correlation(a: Array, b: Array) -> float:
    a, b = a - a.mean(), b - b.mean()
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 1e-12 else 0.0
