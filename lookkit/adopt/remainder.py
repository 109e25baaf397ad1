"""What the steps cannot say, as a small lattice of displacements before them.

The lattice moves a colour's code in a wide log encoding a little, so that the steps behind it show
what the source shows. At each of many colours the wanted move is what the steps' slopes say; the
lattice is the smooth one that comes closest to all of them:

    sum w |J (d - wanted)|^2 + stiff sum |d''|^2 + still sum |d|^2

J is how the picture moves with the code, d'' the second differences along each axis. Where the
source said nothing, `still` lets d fade to nothing within a few points. A difference counts only as
far as it is above what the source itself leaves open between its points.

Sources: least squares with differences as the measure of smoothness, E. Whittaker (1923); solved by
conjugate gradients, Hestenes and Stiefel (1952).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import Any, Final

import numpy as np

from lookkit.accuracy.interpolate import READERS, tetrahedral
from lookkit.accuracy.sampling import grid
from lookkit.accuracy.truth import in_chunks
from lookkit.adopt.between import Between, Shown
from lookkit.adopt.colours import Asked, many_colours
from lookkit.adopt.source import Source
from lookkit.progress import Progress
from lookkit.spaces.encodings import encoding
from lookkit.spaces.working import MID_GREY, Array

WIDE: Final = "LogC4"
"""The code that is moved: it holds what pictures have of any camera."""
SIZE: Final = 33
COUNT: Final = 30000
_STIFF: Final = (3.0, 30.0, 300.0)
_REACH: Final = 3.0
"""Points within which the lattice fades where nothing is known."""
_ROUNDS: Final = 3
_STEP: Final = 1e-3
_WHOLE_CUBE: Final = 0.15
"""What a colour of the whole cube counts beside one of a picture."""
_SOLVED: Final = 4e-3
_SCALE: Final = 2e3
"""What makes the weights of smoothness numbers around one."""
_FAR: Final = 6.0
"""Delta E from which a difference pulls less and less."""
_SMALL: Final = 100.0
"""Delta E squared that a move costs, by the square of its code: where the picture hardly moves with
the code, a large move would be wanted for a small difference."""
_STEEPEST: Final = 0.6
"""The most that neighbouring points may move against each other, in distances between them."""


@dataclass(frozen=True, eq=False)
class Remainder:
    """Codes at the points of a lattice over the wide log encoding, shape (n, n, n, 3)."""

    lattice: Array

    def moved(self, scene: Array) -> Array:
        """Return the scene light that goes into the steps."""
        wide = encoding(WIDE)
        return wide.decode(tetrahedral(self.lattice, np.clip(wide.encode(scene), 0.0, 1.0)))


def remainder_of(
    source: Source, shown: Shown, progress: Progress, between: Between | None = None
) -> Remainder | None:
    """Return the lattice for what the steps `shown` lack of a source.

    With `between`, of what the source is between its points. It is the least stiff that is sound;
    None where each would fold colours, or let greys fall.
    """
    sought = _wanted(source, shown, between)
    for place, stiff in enumerate(_STIFF):
        progress("adopt: what the steps cannot say", place, len(_STIFF))
        made = Remainder(_solved(source, shown, sought, stiff))
        if _smooth(made.lattice) and _rises(source, shown, made):
            return made
    return None


def _rises(source: Source, shown: Shown, remainder: Remainder) -> bool:
    """Say whether greys rise through remainder and steps as they do through the steps alone."""
    stops = np.linspace(-9.0, 9.0, 1441)
    grey = MID_GREY * np.exp2(stops)[:, None].repeat(3, axis=1)
    steps, whole = (source.light.lab(shown(one))[:, 0] for one in (grey, remainder.moved(grey)))
    return bool(np.diff(whole).min() > min(np.diff(steps).min(), 0.0) - 1e-4)


@dataclass(frozen=True, eq=False)
class _Sought:
    code: Array
    lab: Array
    weight: Array


def _wanted(source: Source, shown: Shown, between: Between | None) -> _Sought:
    """Return wide codes, the L*a*b* wanted there, and what each counts."""
    asked: Asked = many_colours(source, COUNT)
    pictures = len(asked.code) - (COUNT - COUNT // 2 - COUNT // 10)
    weight = np.where(np.arange(len(asked.code)) < pictures, 1.0, _WHOLE_CUBE)
    code = encoding(WIDE).encode(asked.scene)
    inside = ((code >= 0.0) & (code <= 1.0)).all(axis=1)
    now = source.light.lab(in_chunks(shown, asked.scene))
    if between is None:
        there = asked.lab
        other = source.light.lab(source.signal(asked.code, "trilinear"))
    else:
        there, other = (between.lab(asked.scene, one) for one in READERS)
    off = np.linalg.norm(there - now, axis=1)
    open_ = np.linalg.norm(there - other, axis=1)
    counted = np.maximum(0.0, 1.0 - (open_ / np.maximum(off, 1e-6)) ** 2)
    lab = now + counted[:, None] * (there - now)
    ends = ((asked.signal <= 0.0) | (asked.signal >= 1.0)).any(axis=1)
    at_edge = (asked.code <= source.function.low) | (asked.code >= source.function.high)
    weight = np.where(ends, 0.3 * weight, weight)
    weight = np.where(at_edge.any(axis=1), 0.1 * weight, weight)
    return _Sought(code[inside], lab[inside], weight[inside])


def _solved(source: Source, shown: Shown, sought: _Sought, stiff: float) -> Array:
    from scipy.sparse import block_diag, bmat, diags
    from scipy.sparse.linalg import cg

    places = _places(sought.code)
    smooth = stiff * (_bending() + _REACH**-4 * diags(np.ones(SIZE**3)))
    smooth = _SCALE * block_diag([smooth] * 3, format="csr")
    moves = np.zeros((SIZE**3, 3))
    chroma = np.hypot(sought.lab[:, 1], sought.lab[:, 2])
    cost = np.stack([np.ones_like(chroma), 1.0 / (1.0 + 0.045 * chroma),
                     1.0 / (1.0 + 0.03 * chroma)], axis=-1)  # fmt: skip
    wide = encoding(WIDE)

    def seen(code: Array) -> Array:
        return source.light.lab(shown(wide.decode(code)))

    for _ in range(_ROUNDS):
        there = places @ moves
        code = sought.code + there
        now = in_chunks(seen, code)
        slopes = np.empty((len(code), 3, 3))
        for channel in range(3):
            step = np.zeros(3)
            step[channel] = _STEP
            slopes[:, :, channel] = (in_chunks(seen, code + step) - now) / _STEP
        slopes *= cost[:, :, None]
        off = cost * (sought.lab - now)
        # A colour that is far off, as clipped ones are, pulls no harder than one a little off.
        size = np.linalg.norm(off, axis=1)
        weight = sought.weight / (1.0 + (size / _FAR) ** 2)
        metric = np.einsum("nki,nkj->nij", slopes, slopes) + _SMALL * np.eye(3)
        metric *= weight[:, None, None]
        pull = weight[:, None] * (np.einsum("nki,nk->ni", slopes, off) - _SMALL * there)
        blocks = [[places.T @ diags(metric[:, i, j]) @ places for j in range(3)] for i in range(3)]
        matrix = (bmat(blocks, format="csr") + smooth).tocsr()
        flat = moves.T.ravel()
        right = (places.T @ pull).T.ravel() - smooth @ flat
        steps, _ = cg(matrix, right, rtol=_SOLVED, maxiter=70, M=diags(1.0 / matrix.diagonal()))
        moves = moves + steps.reshape(3, -1).T
    return grid(SIZE) + moves.reshape(SIZE, SIZE, SIZE, 3)


def _places(code: Array) -> Any:
    """Return how much each colour takes of each point, sparse (n, points): trilinear."""
    from scipy.sparse import csr_matrix

    at = np.clip(code, 0.0, 1.0) * (SIZE - 1)
    low = np.minimum(at.astype(int), SIZE - 2)
    part = at - low
    rows, columns, values = [], [], []
    for corner in product((0, 1), repeat=3):
        index = low + np.array(corner)
        share = np.where(np.array(corner) == 1, part, 1.0 - part).prod(axis=1)
        rows.append(np.arange(len(code)))
        columns.append((index[:, 0] * SIZE + index[:, 1]) * SIZE + index[:, 2])
        values.append(share)
    shape = len(code), SIZE**3
    return csr_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=shape
    )


@cache
def _bending() -> Any:
    """Return what takes moves to the gradient of their second differences' squares, by half."""
    from scipy.sparse import diags, identity, kron

    along = diags([1.0, -2.0, 1.0], [0, 1, 2], shape=(SIZE - 2, SIZE))
    one, same = along.T @ along, identity(SIZE)
    return (
        kron(kron(one, same), same) + kron(kron(same, one), same) + kron(kron(same, same), one)
    ).tocsr()


def _smooth(lattice: Array) -> bool:
    """Say whether neighbours keep their order, with room: nothing folds."""
    moves = (lattice - grid(SIZE)) * (SIZE - 1)
    return all(float(np.abs(np.diff(moves, axis=axis)).max()) < _STEEPEST for axis in range(3))
