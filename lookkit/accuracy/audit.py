"""The audited sets of one graph, with what the exact graph makes of them.

They belong to a graph, not to a lattice: one audit serves every size, reader and file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.difference import delta_e_2000, delta_e_itp
from lookkit.accuracy.interpolate import Reader, interpolate
from lookkit.accuracy.samples import AUDIT_SEED, CodeSpace, SetName, audit_sets
from lookkit.accuracy.truth import Exact, Light, in_chunks
from lookkit.spaces.working import Array


@dataclass(frozen=True, eq=False)
class Audited:
    """Colours, and how the exact graph shows them.

    Attributes
    ----------
    code
        Camera code, shape (n, 3).
    signal
        The exact signal, shape (n, 3).
    light
        The display.
    """

    code: Array
    signal: Array
    light: Light

    @cached_property
    def lab(self) -> Array:
        """L*a*b* of the exact signal, float32, shape (n, 3)."""
        return in_chunks(lambda signal: self.light.lab(signal).astype(np.float32), self.signal)

    @cached_property
    def itp(self) -> Array:
        """I, T, P of the exact signal, shape (n, 3)."""
        return in_chunks(self.light.itp, self.signal)

    def only(self, rows: npt.NDArray[np.bool_]) -> Audited:
        """Keep the colours of a mask, shape (n,)."""
        kept = Audited(self.code[rows], self.signal[rows], self.light)
        for name in ("lab", "itp"):
            if name in self.__dict__:
                kept.__dict__[name] = self.__dict__[name][rows]
        return kept

    def read(self, lattice: Array, reader: Reader) -> Array:
        """Return what a reader makes of these colours, shape (n, 3)."""
        return in_chunks(lambda code: interpolate(lattice, code, reader), self.code)

    def delta_e_2000(self, signal: Array) -> Array:
        """Measure `signal` (n, 3) against the exact one, shape (n,)."""
        return in_chunks(
            lambda exact, found: delta_e_2000(exact, self.light.lab(found).astype(np.float32)),
            self.lab,
            signal,
        )

    def delta_e_itp(self, signal: Array) -> Array:
        """Measure `signal` (n, 3) against the exact one, shape (n,)."""
        return in_chunks(
            lambda exact, found: delta_e_itp(exact, self.light.itp(found)), self.itp, signal
        )


def audit(
    exact: Exact,
    space: CodeSpace,
    light: Light,
    seed: int = AUDIT_SEED,
    sizes: Mapping[SetName, int] | None = None,
) -> dict[SetName, Audited]:
    """Run a graph over all audited sets.

    Parameters
    ----------
    exact
        The graph; see `steady` for graphs with upsets.
    space
        The camera's encoding.
    light
        The display.
    seed
        Chooses the draw.
    sizes
        Colours in each set; `SET_SIZES` by default.
    """
    return {
        name: Audited(code, exact(code), light)
        for name, code in audit_sets(space, seed, sizes).items()
    }
