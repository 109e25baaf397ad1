"""What a LUT file holds: a chain of curves and lattices, and what is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lookkit.errors import LutFileError
from lookkit.lutfile.faults import Fault
from lookkit.spaces.working import Array


@dataclass(frozen=True, eq=False)
class Curve:
    """A curve for each channel, at evenly spaced inputs.

    Attributes
    ----------
    table
        Outputs, shape (n, 3).
    low, high
        Inputs of the first and the last row, shape (3,). Inputs beyond are clamped.
    """

    table: Array
    low: Array
    high: Array

    def apply(self, rgb: Array) -> Array:
        """Return the curves' outputs, linear between rows, for any shape (..., 3)."""
        place = (rgb - self.low) / (self.high - self.low)
        rows = np.linspace(0.0, 1.0, len(self.table))
        out = np.empty(np.shape(rgb))
        for channel in range(3):
            out[..., channel] = np.interp(place[..., channel], rows, self.table[:, channel])
        return out


@dataclass(frozen=True, eq=False)
class Points:
    """A curve for each channel through given points, linear between them.

    Attributes
    ----------
    inputs, outputs
        One array a channel, inputs increasing. Inputs beyond are clamped.
    """

    inputs: tuple[Array, Array, Array]
    outputs: tuple[Array, Array, Array]

    def apply(self, rgb: Array) -> Array:
        """Return the curves' outputs for any shape (..., 3)."""
        parts = [
            np.interp(rgb[..., channel], self.inputs[channel], self.outputs[channel])
            for channel in range(3)
        ]
        return np.stack(parts, axis=-1)


@dataclass(frozen=True, eq=False)
class Lattice:
    """A 3D lattice.

    Attributes
    ----------
    values
        Outputs, shape (n, n, n, 3), indexed [red, green, blue].
    low, high
        Inputs of the first and the last point of each axis, shape (3,). Inputs beyond
        are clamped.
    """

    values: Array
    low: Array
    high: Array

    @property
    def size(self) -> int:
        """Points along an edge."""
        return int(self.values.shape[0])

    def place(self, rgb: Array) -> Array:
        """Return where inputs lie in the unit cube of the lattice."""
        return np.asarray((rgb - self.low) / (self.high - self.low))


Stage = Curve | Points | Lattice


@dataclass(frozen=True, eq=False)
class LutFile:
    """A LUT file as a strict reader of lookkit sees it.

    Attributes
    ----------
    format
        The file's kind, which is its usual ending without the dot: "cube", "spi1d", ...
    stages
        Applied in order; empty if the file is too broken to have any.
    faults
        All that is wrong, by line.
    summary
        One line on what the file holds, where the stages do not say it.
    """

    path: Path
    format: str
    title: str
    comments: tuple[str, ...]
    stages: tuple[Stage, ...]
    faults: tuple[Fault, ...]
    summary: str = ""

    @property
    def errors(self) -> tuple[Fault, ...]:
        """The faults that a strict reader must refuse."""
        return tuple(fault for fault in self.faults if fault.level == "error")

    @property
    def lattice(self) -> Lattice | None:
        """The 3D lattice, or None."""
        return next((stage for stage in self.stages if isinstance(stage, Lattice)), None)

    @property
    def curve(self) -> Curve | None:
        """The first evenly spaced curve, or None."""
        return next((stage for stage in self.stages if isinstance(stage, Curve)), None)


def accepted(file: LutFile) -> LutFile:
    """Return the file, or raise LutFileError if it has a fault that must be refused."""
    if file.errors:
        raise LutFileError([fault.problem(str(file.path)) for fault in file.errors])
    return file
