"""Print light from the print's gamut into a smaller display gamut, smoothly.

    c   = M in                     M: print RGB to display RGB, chromatically adapted
    c   = compress(c)              distances from black's neutral axis (none below zero)
    out = 1 - compress(1 - c)      distances from white's neutral axis (none above one)

`compress` is the published reference gamut compression with limits of its own: the
farthest distances that the unit cube of print light reaches land exactly on the display's
boundary. Each of the two steps keeps one channel of a pixel and moves the others
monotonically, so nothing folds; neutrals and the inner colours stay exactly; a print's purest
red becomes the display's purest red. Exactly invertible. Input outside 0-1 is carried on.
The construction is ours; the compression function is that of `gamut_compress`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np

from lookkit.kernel.formula import Call, Program, affine_call
from lookkit.nodes.base import Op, evaluated, matrix_transform, scale_offset
from lookkit.nodes.gamut_compress import (
    compress,
    compress_distance,
    compress_from_white,
    compression,
    lower_compression,
)
from lookkit.spaces.primaries import Primaries, between
from lookkit.spaces.working import Array, OcioTransform, State

THRESHOLD = np.full(3, 0.75)
POWER = 1.2
_SMALLEST_LIMIT = 1.001
_MARGIN = 2e-4
"""The limits come from a grid on the cube's faces; between its points lies up to 2e-5 more."""


@dataclass(frozen=True, eq=False)
class GamutFit:
    """The step from one display-light gamut into another."""

    target: str
    matrix: Array
    low: Array | None
    high: Array | None
    takes: State = State.DISPLAY
    gives: State = State.DISPLAY

    @property
    def label(self) -> str:
        """Name the gamut it fits into."""
        return f"fit into {self.target}"

    def program(self) -> Program:
        """Return the matrix and the two compressions."""
        calls = [affine_call(self.matrix)]
        if self.low is not None:
            calls.append(Call(compress, compression(self.low, THRESHOLD, POWER)))
        if self.high is not None:
            calls.append(Call(compress_from_white, compression(self.high, THRESHOLD, POWER)))
        return tuple(calls)

    def evaluate(self, rgb: Array) -> Array:
        """Return display light inside the target gamut for print light in 0-1."""
        return evaluated(self, rgb)

    def inverse(self, rgb: Array) -> Array:
        """Return the print light that lands on `rgb`."""
        if self.high is not None:
            rgb = 1.0 - compress_distance(1.0 - rgb, self.high, THRESHOLD, POWER, undo=True)
        if self.low is not None:
            rgb = compress_distance(rgb, self.low, THRESHOLD, POWER, undo=True)
        return np.asarray(rgb @ np.linalg.inv(self.matrix).T)

    def lower(self) -> list[OcioTransform]:
        """Return a matrix and OCIO's native compressions."""
        steps = [matrix_transform(self.matrix)]
        if self.low is not None:
            steps.append(lower_compression(self.low, THRESHOLD, POWER))
        if self.high is not None:
            flip = scale_offset(np.full(3, -1.0), np.ones(3))
            steps += [flip, lower_compression(self.high, THRESHOLD, POWER), flip]
        return steps


@cache
def fit_into(source: Primaries, target: Primaries) -> Sequence[Op]:
    """Return the steps from `source` light into the gamut of `target`; none if they are one."""
    matrix = between(source, target, "bradford")
    if np.allclose(matrix, np.eye(3), atol=1e-9):
        return ()
    light = _cube_faces() @ matrix.T
    low = _limits(light)
    if low is not None:
        light = compress_distance(light, low, THRESHOLD, POWER)
    return (GamutFit(target.name, matrix, low, _limits(1.0 - light)),)


def _limits(light: Array) -> Array | None:
    top = light.max(axis=-1, keepdims=True)
    distance = np.divide(top - light, top, out=np.zeros_like(light), where=top > 1e-9)
    limits = distance.max(axis=0) + _MARGIN
    return np.maximum(limits, _SMALLEST_LIMIT) if limits.max() > _SMALLEST_LIMIT else None


def _cube_faces() -> Array:
    steps = np.linspace(0.0, 1.0, 65)
    faces = [
        np.insert(np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2), axis, end, axis=1)
        for axis, end in product(range(3), (0.0, 1.0))
    ]
    return np.concatenate(faces)
