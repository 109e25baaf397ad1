"""What a lattice is measured against: the exact graph, and the light of its display."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.difference import Real, itp, lab
from lookkit.ocio import cores
from lookkit.spaces.outputs import output
from lookkit.spaces.working import Array

Exact = Callable[[Array], Array]
"""The graph: camera code (n, 3) in 0-1 to display signal (n, 3), float64.

It is called from several threads at once.
"""

_Job = TypeVar("_Job")
_Done = TypeVar("_Done")

_CHUNK: Final = 16384
_HAIR: Final = 2e-6
_LEAN: Final[Array] = np.array([1.0, 0.8, 0.6])
"""Neither along the grey axis nor along an edge: an upset is rarely on both sides."""


@dataclass(frozen=True)
class Light:
    """What a viewer sees of a signal.

    Attributes
    ----------
    xyz
        Display signal (n, 3) to CIE XYZ in cd/m2 (n, 3).
    white
        XYZ in cd/m2 of the white that the eye adapts to, for L*a*b*. None takes the
        light of signal (1, 1, 1), which suits a standard-range display; give diffuse
        white (203 cd/m2 by ITU-R BT.2408) for a high-range one.
    """

    xyz: Callable[[Array], Array]
    white: tuple[float, float, float] | None = None

    def lab(self, signal: Array) -> Array:
        """L*a*b* of a signal, shape (n, 3)."""
        return lab(self.xyz(signal), self.adapted_white)

    def itp(self, signal: Array) -> Array:
        """I, T, P of BT.2124 of a signal, shape (n, 3)."""
        return itp(self.xyz(signal))

    def srgb(self, signal: Array) -> Array:
        """How a signal may be shown in a picture: sRGB in 0-1, shape (n, 3).

        The white that the eye adapts to becomes the picture's white; light beyond it, and
        colours beyond sRGB's, are clipped.
        """
        picture = output("sRGB")
        to_rgb = np.linalg.inv(picture.limiting.to_xyz()).T
        rgb = self.xyz(signal) @ to_rgb / (self.adapted_white @ to_rgb)
        return picture.encode(np.clip(rgb, 0.0, 1.0))

    @cached_property
    def adapted_white(self) -> Array:
        """XYZ of the white in cd/m2, shape (3,)."""
        if self.white is not None:
            return np.array(self.white)
        return np.asarray(np.asarray(self.xyz(np.ones((1, 3))))[0])


def in_chunks(work: Callable[..., Array], *columns: Real) -> Array:
    """Apply `work` to rows in cache-sized chunks on all cores; the order is kept.

    The result does not depend on how the chunks were spread over the threads. Inside `work`,
    a call with no more rows than it was given runs on its own thread.
    """
    count = len(columns[0])
    if count <= _CHUNK:
        return work(*columns)
    parts = [
        tuple(column[start : start + _CHUNK] for column in columns)
        for start in range(0, count, _CHUNK)
    ]
    return np.concatenate(list(_pool(os.getpid(), "chunks").map(lambda part: work(*part), parts)))


def at_once(work: Callable[[_Job], _Done], jobs: Iterable[_Job]) -> list[_Done]:
    """Do independent jobs on all cores and return what they give, in order.

    A job may call `in_chunks`, which has threads of its own, but not this.
    """
    return list(_pool(os.getpid(), "jobs").map(work, jobs))


@lru_cache(maxsize=2)
def _pool(_process: int, _what: str) -> ThreadPoolExecutor:
    """Threads that stay; a forked process has none of its parent's, and gets its own."""
    return ThreadPoolExecutor(cores())


def steady(exact: Exact) -> Exact:
    """Make a graph safe to sample: any shape, in chunks, finite, without isolated upsets.

    Some output transforms return an exact black or white for single bright inputs
    that their neighbours do not share (three in a million for the ACES 2 output of
    OpenColorIO 2.6). Where a result is not finite, or is black or white in all three
    channels, the graph is asked again a hair to each side and the median is kept.
    """

    def settled(code: Array) -> Array:
        # A copy, because a graph may hand out what it keeps.
        signal = np.array(exact(code), dtype=np.float64)
        suspect = ~np.isfinite(signal[:, 0] + signal[:, 1] + signal[:, 2]) | _all_at_an_end(signal)
        if suspect.any():
            here = code[suspect]
            around = (exact(np.clip(here + side * _LEAN, 0.0, 1.0)) for side in (-_HAIR, _HAIR))
            three = np.stack([signal[suspect], *around])
            signal[suspect] = np.median(np.nan_to_num(three, posinf=1.0, neginf=0.0), axis=0)
        return signal

    def evaluate(code: Array) -> Array:
        rows = np.ascontiguousarray(code, dtype=np.float64).reshape(-1, 3)
        return in_chunks(settled, rows).reshape(np.shape(code))

    return evaluate


def _all_at_an_end(signal: Array) -> npt.NDArray[np.bool_]:
    # Channel by channel: numpy reduces an axis of three ten times slower.
    r, g, b = signal[:, 0], signal[:, 1], signal[:, 2]
    black, white = (r <= 0.0) & (g <= 0.0) & (b <= 0.0), (r >= 1.0) & (g >= 1.0) & (b >= 1.0)
    return np.asarray(black | white)
