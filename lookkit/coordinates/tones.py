"""What a display shows, held as the scene's grey that is shown so, channel by channel.

A picture's tone curve bends; what is held does not: greys are held as their own stops, along which
they lie in the lattice, and other colours as stops near their own. So the tone curve is in a table
behind the lattice, and the lattice is left with how colours differ from greys.

Where the curve is nearly flat, in deepest black and near white, its slope is taken as
`_LEAST_SLOPE`, on to black and to white, so that every signal is held.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from lookkit.coordinates.display import GAMMA
from lookkit.coordinates.stops import SHOWN
from lookkit.coordinates.tables import read_even
from lookkit.evaluate import evaluate
from lookkit.nodes.base import Op, matrix_transform
from lookkit.ocio import table_transform
from lookkit.spaces.working import Array, OcioTransform, State

_ENTRIES: Final = 4096
_LEAST_SLOPE: Final = 0.01
"""Of the signal, 0-1, for a stop."""


class Tones:
    """What `steps` give a display, from black to `peak`; beyond is held as these.

    Parameters
    ----------
    steps
        From scene light, AP1, to display light (1.0 = 100 cd/m2) or to its signal.
    peak
        The most display light, 1.0 = 100 cd/m2.
    """

    decimals = (5, 5, 5)

    def __init__(self, steps: Sequence[Op], peak: float) -> None:
        is_light = steps[-1].gives == State.DISPLAY
        greys = np.linspace(SHOWN.low, SHOWN.high, _ENTRIES)
        light = SHOWN.light(greys)[:, None].repeat(3, axis=1)
        shown = evaluate(steps, light)
        if is_light:
            shown = np.maximum(shown / peak, 0.0) ** (1.0 / GAMMA)
        curves = [_rising(greys, shown[:, k]) for k in range(3)]
        self._first = min(float(stops[0]) for stops, _ in curves)
        self._last = max(float(stops[-1]) for stops, _ in curves)
        self._stops = np.linspace(self._first, self._last, _ENTRIES)
        signal = np.stack([_read(self._stops, *curve) for curve in curves], axis=-1)
        self._table = peak * np.maximum(signal, 0.0) ** GAMMA if is_light else signal
        self._span = SHOWN.high - SHOWN.low

    def hold(self, values: Array) -> Array:
        """Return stops of grey, 0-1 for those that a lattice has."""
        columns = [np.interp(values[..., k], self._table[:, k], self._stops) for k in range(3)]
        return np.asarray((np.stack(columns, axis=-1) - SHOWN.low) / self._span)

    def release(self, held: Array) -> Array:
        """Return display light, or its signal."""
        stops = SHOWN.low + held * self._span
        columns = [
            read_even(stops[..., k], self._first, self._last, self._table[:, k]) for k in range(3)
        ]
        return np.stack(columns, axis=-1)

    def from_held(self) -> list[OcioTransform]:
        """Return a matrix and a 1D table."""
        width = self._last - self._first
        offset = np.full(3, (SHOWN.low - self._first) / width)
        return [
            matrix_transform(self._span / width * np.eye(3), offset),
            table_transform(self._table),
        ]


def _rising(stops: Array, signal: Array) -> tuple[Array, Array]:
    """Return a curve that rises everywhere, from 0 to 1; exact where the curve is steepest."""
    step = stops[1] - stops[0]
    rise = np.maximum(np.diff(signal), _LEAST_SLOPE * step)
    found = np.concatenate([[0.0], np.cumsum(rise)])
    steepest = int(np.argmax(rise))
    found += signal[steepest] - found[steepest]
    before, after = max(found[0], 0.0), max(1.0 - found[-1], 0.0)
    longer = np.concatenate(
        [[stops[0] - before / _LEAST_SLOPE], stops, [stops[-1] + after / _LEAST_SLOPE]]
    )
    return longer, np.concatenate([[found[0] - before], found, [found[-1] + after]])


def _read(stops: Array, at: Array, signal: Array) -> Array:
    """Return a curve at `stops`, led on at its least slope where another channel's is longer."""
    beyond = np.maximum(stops - at[-1], 0.0) - np.maximum(at[0] - stops, 0.0)
    return np.asarray(np.interp(stops, at, signal) + _LEAST_SLOPE * beyond)
