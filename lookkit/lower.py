"""A chain as OpenColorIO transforms, for the forms that others open.

What OpenColorIO can say stays analytic. From the first step that it cannot say to the last
one, the chain becomes one lattice (`piece.py`): one, because every lattice costs a little
exactness, and what stands between two such steps costs less inside than a second one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from lookkit.nodes.base import Op
from lookkit.piece import Piece, View, labels, lattice_piece
from lookkit.spaces.working import OcioTransform

Say = Callable[[Op], list[OcioTransform] | None]
"""What a step is as OpenColorIO transforms, or None where they cannot say it."""


class Asked(NamedTuple):
    """Steps that are to become a lattice.

    `before` and `after` stand around them; `peak` is the most display light, 1.0 = 100 cd/m2, and
    `most` the points an edge that the lattice may have, None for as many as `piece.SIZES` says.
    """

    steps: tuple[Op, ...]
    before: tuple[Op, ...]
    after: tuple[Op, ...]
    peak: float
    most: int | None


class Lattices:
    """The lattices of a look: each made once, for all the files that carry it.

    Parameters
    ----------
    view
        Gives the view to make them for, when the first is made; None samples them.
    """

    def __init__(self, view: Callable[[], View] | None = None) -> None:
        self._view = view
        self._seen: View | None = None
        self._made: dict[tuple[tuple[Op, ...], float, int | None], Piece] = {}

    def piece(self, asked: Asked) -> Piece:
        """Return the lattice of steps; what stands around them shapes the first one made."""
        key = (asked.steps, asked.peak, asked.most)
        if key not in self._made:
            self._made[key] = self._make(asked)
        return self._made[key]

    def _make(self, asked: Asked) -> Piece:
        if self._seen is None and self._view is not None:
            self._seen = self._view()
        from threadpoolctl import threadpool_limits

        # The last digits of sums depend on how many threads share them.
        with threadpool_limits(limits=1, user_api="blas"):
            return lattice_piece(
                asked.steps, asked.before, asked.after, self._seen,
                peak=asked.peak, most=asked.most,
            )  # fmt: skip


def lower(chain: Sequence[Op], known: Lattices | None = None) -> list[OcioTransform]:
    """Return `chain` as OpenColorIO transforms.

    Raises
    ------
    LookkitError
        If the first step that OpenColorIO cannot express takes other than light.
    """
    return [transform for piece in pieces(chain, known) for transform in piece.transforms]


def pieces(
    chain: Sequence[Op],
    known: Lattices | None = None,
    say: Say = lambda op: op.lower(),
    *,
    before: Sequence[Op] = (),
    after: Sequence[Op] = (),
    peak: float = 1.0,
    most: int | None = None,
) -> list[Piece]:
    """Return `chain` as pieces: what is analytic, and at most one lattice.

    Parameters
    ----------
    known
        Where lattices are made, and kept for the next chain with the same steps.
    say
        What each step becomes; a file format may be able to say less than OpenColorIO.
    before, after
        What stands around the chain.
    peak
        The most display light, 1.0 = 100 cd/m2.
    most
        Points an edge that the lattice may have; None for as many as `piece.SIZES` says.

    Raises
    ------
    LookkitError
        As `lower`.
    """
    lowered = [say(op) for op in chain]
    found = _unsaid(lowered)
    if found is None:
        return [_analytic(chain, lowered)] if chain else []
    first, last = found
    inner = tuple(chain[first:last])
    asked = Asked(inner, (*before, *chain[:first]), (*chain[last:], *after), peak, most)
    lattice = (Lattices() if known is None else known).piece(asked)
    parts = [
        _analytic(chain[:first], lowered[:first]),
        lattice,
        _analytic(chain[last:], lowered[last:]),
    ]
    return [part for part in parts if part.transforms]


def unsayable(chain: Sequence[Op], say: Say = lambda op: op.lower()) -> list[Op]:
    """Return the steps of a chain that become its lattice; none if it is analytic."""
    found = _unsaid([say(op) for op in chain])
    return [] if found is None else list(chain[slice(*found)])


def _unsaid(lowered: Sequence[list[OcioTransform] | None]) -> tuple[int, int] | None:
    """Return the first step that cannot be said, and the one behind the last."""
    opaque = [place for place, transforms in enumerate(lowered) if transforms is None]
    return (opaque[0], opaque[-1] + 1) if opaque else None


def _analytic(chain: Sequence[Op], lowered: Sequence[list[OcioTransform] | None]) -> Piece:
    transforms = tuple(one for transforms in lowered for one in transforms or ())
    return Piece(labels(chain), transforms)
