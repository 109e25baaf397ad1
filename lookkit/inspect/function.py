"""What a LUT does to a colour, whichever reader found it out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.accuracy.interpolate import Reader, interpolate
from lookkit.accuracy.sampling import grid
from lookkit.errors import InputError
from lookkit.lutfile.model import Lattice, LutFile, Points, Stage
from lookkit.spaces.working import Array

SAMPLED_SIZE: Final = 33
"""Points an edge of the lattice that stands for a LUT that has none of its own."""


@dataclass(frozen=True, eq=False)
class Function:
    """A LUT as a function over its domain.

    Attributes
    ----------
    stages
        What the strict reader found; empty where OpenColorIO reads the file.
    processor
        OpenColorIO's, or None.
    low, high
        The domain, shape (3,).
    """

    stages: tuple[Stage, ...]
    processor: Any
    low: Array
    high: Array

    @property
    def curves_only(self) -> bool:
        """Whether the file holds curves and no lattice."""
        return bool(self.stages) and not any(isinstance(s, Lattice) for s in self.stages)

    @property
    def size(self) -> int:
        """Points an edge of the LUT's own lattice, or of the one that stands for it."""
        own = (stage.size for stage in self.stages if isinstance(stage, Lattice))
        return next(own, SAMPLED_SIZE)

    def __call__(self, rgb: Array, reader: Reader = "tetrahedral") -> Array:
        """Return the LUT's output for inputs of shape (..., 3), float64.

        Inputs beyond the domain are clamped to it. Where OpenColorIO reads the file,
        `reader` changes nothing: it reads tetrahedrally.
        """
        if self.processor is not None:
            return np.asarray(self.processor.apply_exact(rgb), dtype=np.float64)
        out = np.asarray(rgb, dtype=np.float64)
        for stage in self.stages:
            out = (
                interpolate(stage.values, stage.place(out), reader)
                if isinstance(stage, Lattice)
                else stage.apply(out)
            )
        return out

    def over(self, unit: Array) -> Array:
        """Return the inputs at places of the unit cube laid over the domain."""
        return np.asarray(self.low + unit * (self.high - self.low))

    def sampled(self) -> Array:
        """Return the outputs at a regular grid over the domain, (n, n, n, 3), [r, g, b]."""
        only = self.stages[0] if len(self.stages) == 1 else None
        if isinstance(only, Lattice):
            return only.values
        return self(self.over(grid(self.size)))


def function_of(file: LutFile) -> Function | None:
    """Return what a file does by our own reading of it, or None if there is none."""
    if not file.stages:
        return None
    first = file.stages[0]
    if isinstance(first, Points):
        low = np.array([inputs[0] for inputs in first.inputs])
        high = np.array([inputs[-1] for inputs in first.inputs])
    else:
        low, high = first.low, first.high
    return Function(file.stages, None, low, high)


def through_ocio(path: Path) -> Function:
    """Return what a file does by OpenColorIO's reading of it, over 0-1.

    Raises
    ------
    InputError
        If OpenColorIO refuses it.
    """
    from lookkit.inspect.reader_process import plain_reason
    from lookkit.ocio import Processor, library, quiet

    library().ClearAllCaches()
    # What it would print is in our own faults, or in what is raised.
    with quiet() as ocio:
        transform = ocio.FileTransform(str(path), interpolation=ocio.INTERP_BEST)
        try:
            processor = Processor([transform])
        except (ocio.Exception, UnicodeDecodeError) as error:
            raise InputError(f"{path}: {plain_reason(error, path)}") from error
    return Function((), processor, np.zeros(3), np.ones(3))
