"""What a LUT's look is between its points.

A LUT that was sampled from a look is right at its points and a little wrong between them, as far as
the look bends there; steps that come close to the look bend as it does. So the look at a colour is
what the LUT gives there, and what the same reading would lose of the steps:

    look = LUT(x) + steps(x) - steps sampled at the LUT's points, read as the LUT is

A LUT that was fitted is the other way round: right between its points, and off at them. Which of
both a LUT is, it does not say; taken for what it is, steps can be brought closer to it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from lookkit.accuracy.interpolate import Reader, interpolate
from lookkit.accuracy.sampling import grid
from lookkit.accuracy.truth import in_chunks
from lookkit.adopt.source import Source
from lookkit.lutfile.model import Lattice
from lookkit.spaces.working import Array

Shown = Callable[[Array], Array]
"""The steps: scene-linear AP1 (n, 3) to signal (n, 3)."""


@dataclass(frozen=True, eq=False)
class Between:
    """A source, and steps that stand for it between its points.

    Attributes
    ----------
    lost
        What the steps give at the source's points, shape (n, n, n, 3).
    """

    source: Source
    shown: Shown
    lattice: Lattice
    lost: Array

    def lab(self, scene: Array, reader: Reader = "tetrahedral") -> Array:
        """Return L*a*b* of the look for scene-linear AP1 that the source can record, (n, 3)."""
        code = self.source.code(scene)
        read = interpolate(self.lost, self.lattice.place(code), reader)
        signal = self.source.signal(code, reader) + in_chunks(self.shown, scene) - read
        return self.source.light.lab(np.clip(signal, 0.0, 1.0))


def between_points(source: Source, shown: Shown) -> Between | None:
    """Return a source with what it is between its points, by steps that come close to it.

    None where its points are not known.
    """
    stages = source.function.stages
    lattice = stages[0] if len(stages) == 1 else None
    if not isinstance(lattice, Lattice):
        return None
    points = source.function.over(grid(lattice.size).reshape(-1, 3))
    shape = lattice.values.shape
    lost = np.clip(in_chunks(shown, source.scene(points)), 0.0, 1.0).reshape(shape)
    return Between(source, shown, lattice, lost)
