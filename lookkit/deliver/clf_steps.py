r"""A chain as operations that the Common LUT Format can say.

The format has matrices, curves, logarithms, powers, ASC CDLs, ranges and tables, but no
operation that compares channels with each other (gamut compression, the HLG system gamma) and no
ACES output. Such steps become a lattice with a curve before it, at most one in scene light and
one behind the rendering. In scene light it is the lattice of `piece.py`; in display light

    place = (light / peak)^(1/2.4)    evenly, light from 0 to the peak
    out   = the lattice at that place, read tetrahedrally; to the power of 2.4 if it is light

so that its points lie as evenly as a display's codes do.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from lookkit.evaluate import evaluate
from lookkit.lower import Known, pieces
from lookkit.nodes.base import Op, mirrored_exponent, power_mirrored, scale_offset
from lookkit.ocio import lattice_transform, library
from lookkit.piece import Piece, labels
from lookkit.spaces.ocio_ops import clip
from lookkit.spaces.working import OcioTransform, State

SIZES: Final = {State.DISPLAY: 33, State.SIGNAL: 65}
"""Points per edge of a lattice behind the rendering, by what it gives: the HLG system gamma is
steep near black, the fit into a gamut is mild everywhere."""
_GAMMA: Final = 2.4


def clf_pieces(chain: Sequence[Op], known: Known | None, peak: float = 1.0) -> list[Piece]:
    """Return `chain` as pieces that a CLF file can hold.

    Parameters
    ----------
    known
        Lattices that were made before; `Look.lattices`.
    peak
        The most display light that a rendering gives, 1.0 = 100 cd/m2.

    Raises
    ------
    LookkitError
        If a step on camera codes is one that the format cannot say.
    """
    cut = next((i for i, op in enumerate(chain) if op.gives == State.DISPLAY), len(chain))
    before, shown = chain[:cut], chain[cut:]
    found = pieces(before, known, sayable)
    opaque = [place for place, op in enumerate(shown) if sayable(op) is None]
    if not opaque or shown[opaque[0]].takes != State.DISPLAY:
        return [*found, *pieces(shown, known, sayable)]
    first, last = opaque[0], opaque[-1] + 1
    return [
        *found,
        *pieces(shown[:first], None, sayable),
        _display_lattice(shown[first:last], peak),
        *pieces(shown[last:], None, sayable),
    ]


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


def _display_lattice(steps: Sequence[Op], peak: float) -> Piece:
    light = steps[-1].gives == State.DISPLAY
    size = SIZES[steps[-1].gives]
    place = np.linspace(0.0, 1.0, size)
    points = np.stack(np.meshgrid(place, place, place, indexing="ij"), axis=-1)
    out = evaluate(steps, peak * points**_GAMMA)
    exponent = np.full(3, 1.0 / _GAMMA)
    values = power_mirrored(out / peak, exponent) if light else out
    transforms = [
        scale_offset(np.full(3, 1.0 / peak)),
        clip(0.0, 1.0),
        mirrored_exponent(exponent),
        lattice_transform(values),
    ]
    if light:
        transforms += [mirrored_exponent(1.0 / exponent), scale_offset(np.full(3, peak))]
    return Piece(labels(steps), tuple(transforms), size)
