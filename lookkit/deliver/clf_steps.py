"""A chain as operations that the Common LUT Format can say.

The format has matrices, curves, logarithms, powers, ASC CDLs, ranges and tables, but no
operation that compares channels with each other (gamut compression, the HLG system gamma) and no
ACES output. Such steps become a lattice, at most one in scene light and one behind the rendering:
in one lattice for both, the print's curve bends what is already bent by the look.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from lookkit.lower import Lattices, pieces
from lookkit.nodes.base import Op
from lookkit.ocio import library
from lookkit.piece import Piece
from lookkit.spaces.working import OcioTransform, State

_SECOND: Final = 33
"""Points an edge of a file's second lattice, so that the file stays under four megabytes."""


def clf_pieces(
    chain: Sequence[Op], known: Lattices | None = None, peak: float = 1.0
) -> list[Piece]:
    """Return `chain` as pieces that the format can say.

    Parameters
    ----------
    known
        Where lattices are made and kept; `Look.lattices`.
    peak
        The most display light that a rendering gives, 1.0 = 100 cd/m2.

    Raises
    ------
    LookkitError
        If a step on camera codes is one that the format cannot say.
    """
    cut = next((i for i, op in enumerate(chain) if op.gives == State.DISPLAY), len(chain))
    before, shown = chain[:cut], chain[cut:]
    found = pieces(before, known, sayable, after=shown, peak=peak)
    most = _SECOND if any(part.size for part in found) else None
    return found + pieces(shown, known, sayable, before=before, peak=peak, most=most)


def sayable(op: Op) -> list[OcioTransform] | None:
    """Return a step as transforms that CLF has an operation for, or None."""
    ocio = library()
    lowered = op.lower()
    if lowered is None:
        return None
    for one in lowered:
        fixed = isinstance(one, ocio.FixedFunctionTransform)
        if fixed or (isinstance(one, ocio.BuiltinTransform) and one.getStyle().startswith("ACES-")):
            return None
    return lowered
