"""Facts about a lattice that no average shows: order, tint, clipping, banding."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from lookkit.accuracy.samples import neutral_ramp
from lookkit.spaces.working import Array

CODES: Final = 1023.0
FACES: Final = ("red 0", "red 1", "green 0", "green 1", "blue 0", "blue 1")

_LINES: Final = 96
_LINE_STEPS: Final = 24
_SEED: Final = 30

Read = Callable[[Array], Array]
"""Code (n, 3) to signal (n, 3): a lattice read by one reader, or the exact graph."""


@dataclass(frozen=True)
class Ramp:
    """The grey ramp of 10-bit codes.

    Attributes
    ----------
    monotone
        Whether no channel falls where the exact ramp does not.
    fall
        The largest such fall, in 10-bit codes.
    tint
        The largest difference between channels beyond the exact one, in 10-bit codes.
    """

    monotone: bool
    fall: float
    tint: float


@dataclass(frozen=True)
class Banding:
    """How evenly a slow gradient comes out at one bit depth.

    Attributes
    ----------
    bits
        Of the codes that go in and come out.
    step
        Largest error of one step, in codes, before rounding.
    false_steps
        Share of steps that rounding makes larger or smaller by a code than the exact
        graph's.
    """

    bits: int
    step: float
    false_steps: float


def ramp(read: Read, exact: Read) -> Ramp:
    """Run the grey ramp through a lattice and through the graph."""
    code = neutral_ramp(1024)
    found, wanted = read(code) * CODES, exact(code) * CODES
    rises = np.diff(found, axis=0)
    falls = np.where(np.diff(wanted, axis=0) < 0.0, 0.0, -rises)
    fall = max(float(falls.max()), 0.0)
    tint = np.ptp(found - wanted, axis=1).max()
    return Ramp(fall < 1e-3, fall, float(tint))


def clipped_faces(lattice: Array) -> dict[str, float]:
    """Return the share of points of each face of the cube with a channel at 0 or 1."""
    clipped = np.asarray(((lattice <= 0.0) | (lattice >= 1.0)).any(axis=-1))
    faces = [np.moveaxis(clipped, axis, 0)[end] for axis in range(3) for end in (0, -1)]
    return {name: float(face.mean()) for name, face in zip(FACES, faces, strict=True)}


def banding(read: Read, exact: Read, pictures: Array, bits: int) -> Banding:
    """Follow the grey ramp and short gradients through picture colours, code by code.

    Parameters
    ----------
    read, exact
        The lattice and the graph.
    pictures
        Image-like codes to start gradients from, shape (n, 3).
    bits
        Bit depth in and out.
    """
    top = 2.0**bits - 1.0
    lines = _gradients(pictures, top)
    steps = np.diff(np.stack([read(lines.reshape(-1, 3)), exact(lines.reshape(-1, 3))]).reshape(
        2, *lines.shape), axis=2) * top  # fmt: skip
    grey = neutral_ramp(int(top) + 1)
    grey_steps = np.diff(np.stack([read(grey), exact(grey)]), axis=1) * top
    error = max(float(np.abs(part[0] - part[1]).max()) for part in (steps, grey_steps))
    rounded = np.diff(np.rint(np.stack([read(grey), exact(grey)]) * top), axis=1)
    return Banding(bits, error, float((rounded[0] != rounded[1]).any(axis=-1).mean()))


def _gradients(pictures: Array, top: float) -> Array:
    """Straight lines in code, one step of 1/top at a time, shape (lines, steps, 3)."""
    rng = np.random.default_rng(_SEED)
    start = pictures[rng.integers(0, len(pictures), _LINES)]
    way = rng.uniform(-1.0, 1.0, (_LINES, 1, 3))
    way /= np.abs(way).max(axis=-1, keepdims=True)
    along = np.arange(_LINE_STEPS)[:, None] / top
    return np.clip(start[:, None] + way * along, 0.0, 1.0)
