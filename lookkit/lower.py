"""The fast and portable form of a chain: OpenColorIO transforms.

What OpenColorIO can say stays analytic. From the first step that it cannot say to the last
one, the chain becomes one lattice (`piece.py`): one, because every lattice costs time and
a little exactness, and what stands between two such steps costs less inside than a second one.
"""

from __future__ import annotations

from collections.abc import Callable, MutableMapping, Sequence

from lookkit.nodes.base import Op
from lookkit.piece import Piece, labels, lattice_piece
from lookkit.spaces.working import OcioTransform

Say = Callable[[Op], list[OcioTransform] | None]
"""What a step is as OpenColorIO transforms, or None where they cannot say it."""

Known = MutableMapping[tuple[Op, ...], Piece]
"""Lattices that were made before, by their steps."""


def lower(chain: Sequence[Op], known: Known | None = None) -> list[OcioTransform]:
    """Return `chain` as OpenColorIO transforms.

    Raises
    ------
    LookkitError
        If the first step that OpenColorIO cannot express takes other than scene light.
    """
    return [transform for piece in pieces(chain, known) for transform in piece.transforms]


def pieces(
    chain: Sequence[Op], known: Known | None = None, say: Say = lambda op: op.lower()
) -> list[Piece]:
    """Return `chain` as pieces: what is analytic, and at most one lattice.

    Parameters
    ----------
    known
        Where lattices are looked up, and kept for the next chain with the same steps.
    say
        What each step becomes; a file format may be able to say less than OpenColorIO.

    Raises
    ------
    LookkitError
        As `lower`.
    """
    lowered = [say(op) for op in chain]
    opaque = [place for place, transforms in enumerate(lowered) if transforms is None]
    if not opaque:
        return [_analytic(chain, lowered)] if chain else []
    first, last = opaque[0], opaque[-1] + 1
    steps = tuple(chain[first:last])
    known = {} if known is None else known
    if steps not in known:
        known[steps] = lattice_piece(steps)
    parts = [
        _analytic(chain[:first], lowered[:first]),
        known[steps],
        _analytic(chain[last:], lowered[last:]),
    ]
    return [part for part in parts if part.transforms]


def _analytic(chain: Sequence[Op], lowered: Sequence[list[OcioTransform] | None]) -> Piece:
    transforms = tuple(one for transforms in lowered for one in transforms or ())
    return Piece(labels(chain), transforms)
