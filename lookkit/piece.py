"""A run of steps as one lattice, for what OpenColorIO cannot say step by step.

Where its points lie and how it holds what comes out is `coordinates`. It has as many points as
it needs to be as close as `GOALS` on colours that its fit did not see, as few as that takes, and is
sampled where sampling is close enough.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import takewhile
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.accuracy.interpolate import tetrahedral
from lookkit.coordinates import Held, Places, held_by, placed_by
from lookkit.errors import LookkitError
from lookkit.evaluate import evaluate, evaluator
from lookkit.nodes.base import Op
from lookkit.ocio import lattice_transform
from lookkit.piece_fit import TEN_BIT, Drawn, drawn, fitted
from lookkit.spaces.working import Array, OcioTransform, State

SIZES: Final = (17, 33, 41, 49, 53)
"""Points an edge: the fewest that reach the goals, else the last."""


@dataclass(frozen=True)
class Goal:
    """What a lattice should keep to on a set of colours: a share of them, within so many codes."""

    quantile: float
    codes: float
    share: float
    """How much the set counts in a fit."""


GOALS: Final[Mapping[str, Goal]] = {
    "image-like": Goal(0.999, 1.0, 1.0),
    "skin": Goal(0.99, 0.5, 0.3),
    "saturated-emitters": Goal(0.99, 3.0, 0.8),
    "over-range": Goal(0.99, 12.0, 0.4),
}
"""By set of colours: the largest error of a signal in ten-bit codes."""

_MARGIN: Final = 0.9
"""What is left of a goal: colours differ from one draw to the next."""
_FIT_GAINS: Final = 1.5
"""How many times the goal sampling may be off where a fit is still worth while."""
_JUDGED: Final = 4
"""One colour in so many judges and is not fitted."""
_NEUTRAL: Final = 1e-9


@dataclass(frozen=True, eq=False)
class View:
    """Whom a lattice is made for.

    Attributes
    ----------
    colours
        Scene light, AP1, by set, shape (n, 3).
    signal
        Scene light after the look to the signal of the display on which it is judged.
    """

    colours: Mapping[str, Array]
    signal: Callable[[Array], Array]


@dataclass(frozen=True, eq=False)
class Piece:
    """A part of a chain as OpenColorIO transforms.

    Attributes
    ----------
    label
        The steps it stands for.
    transforms
        What it is lowered to.
    size
        Points an edge of its lattice; 0 if it is analytic.
    decimals
        Of a lattice: how many decimals its numbers have, by channel.
    """

    label: str
    transforms: tuple[OcioTransform, ...]
    size: int = 0
    decimals: tuple[int, int, int] = (0, 0, 0)


def labels(chain: Sequence[Op]) -> str:
    """Return the names of the steps."""
    return ", ".join(op.label for op in chain)


def lattice_piece(
    steps: Sequence[Op],
    before: Sequence[Op] = (),
    after: Sequence[Op] = (),
    view: View | None = None,
    *,
    peak: float = 1.0,
    most: int | None = None,
) -> Piece:
    """Return steps that take scene or display light as one lattice.

    Parameters
    ----------
    before, after
        What of the chain comes before and after them: it says where pictures lie and how an error
        is seen.
    view
        Without one the lattice is sampled, with the most points.
    peak
        The most display light, 1.0 = 100 cd/m2.
    most
        Points an edge that it may have; None for as many as `SIZES` says.

    Raises
    ------
    LookkitError
        If they take anything else.
    """
    sizes = [size for size in SIZES if size <= (most or SIZES[-1])] or [SIZES[0]]
    size = sizes[-1]
    if view is None:
        return sampled_piece(steps, size, peak)
    placed, held = _placed(steps, peak), held_by(steps, peak)
    problem = _Problem(steps, held, before, after, view, peak)
    made, off = problem.lattice(placed(size), size, gains=np.inf)
    # Where the most points do not reach the goals, fewer do not.
    for fewer in sizes[:-1] if off <= _MARGIN else ():
        smaller, off = problem.lattice(placed(fewer), fewer, gains=_FIT_GAINS)
        if off <= _MARGIN:
            made = smaller
            break
    return _piece(steps, placed, held, made)


def sampled_piece(steps: Sequence[Op], size: int, peak: float = 1.0) -> Piece:
    """Return the piece of `lattice_piece` with `size` points, sampled.

    Raises
    ------
    LookkitError
        If the steps take anything else than scene or display light.
    """
    placed, held = _placed(steps, peak), held_by(steps, peak)
    return _piece(steps, placed, held, _sampled(steps, size, placed(size), held))


def hollow_piece(steps: Sequence[Op], size: int, peak: float = 1.0) -> Piece:
    """Return the piece of `lattice_piece` with `size` points, and nothing in its lattice.

    What stands around a lattice does not depend on what a fit put into it.

    Raises
    ------
    LookkitError
        If the steps take anything else than scene or display light.
    """
    empty = np.zeros((size, size, size, 3))
    return _piece(steps, _placed(steps, peak), held_by(steps, peak), empty)


def _placed(steps: Sequence[Op], peak: float) -> Callable[[int], Places]:
    placed = placed_by(steps, peak)
    if placed is None:
        raise LookkitError(f"{labels(steps)!r} cannot be expressed as OpenColorIO operations")
    return placed


def _piece(steps: Sequence[Op], placed: Callable[[int], Places], held: Held, made: Array) -> Piece:
    size = len(made)
    transforms = (*placed(size).to_place(), lattice_transform(made), *held.from_held())
    return Piece(labels(steps), transforms, size, held.decimals)


def _sampled(steps: Sequence[Op], size: int, coordinates: Places, held: Held) -> Array:
    return _rounded(held.hold(evaluate(steps, coordinates.values_at(_points(size)))), held)


def _points(size: int) -> Array:
    place = np.linspace(0.0, 1.0, size)
    return np.stack(np.meshgrid(place, place, place, indexing="ij"), axis=-1)


def _rounded(made: Array, held: Held) -> Array:
    """Return a lattice as its files will have it, so that all forms hold the same numbers."""
    tens = 10.0 ** np.array(held.decimals)
    return np.asarray(np.rint(made * tens) / tens)


class _Problem:
    """The colours that a lattice meets, and how its errors are seen."""

    def __init__(
        self,
        steps: Sequence[Op],
        held: Held,
        before: Sequence[Op],
        after: Sequence[Op],
        view: View,
        peak: float,
    ) -> None:
        self.steps = tuple(steps)
        self.held = held
        self.peak = peak
        self.look = evaluator(tuple(takewhile(lambda op: op.gives == State.SCENE, after)))
        self.view = view
        enter = evaluator(
            [op for op in before if op.takes != State.CODE and op.gives != State.CODE]
        )
        self.colours = {name: enter(light) for name, light in view.colours.items() if name in GOALS}
        run = evaluator(steps)
        self.exact = {name: run(light) for name, light in self.colours.items()}
        self.judged = {name: self.signal(exact[::_JUDGED]) for name, exact in self.exact.items()}

    def signal(self, values: Array) -> Array:
        """Return what the viewer's display gets for what the steps give."""
        if self.steps[-1].gives == State.SCENE:
            return self.view.signal(self.look(values))
        if self.steps[-1].gives == State.DISPLAY:
            return np.asarray(np.maximum(values / self.peak, 0.0) ** (1.0 / 2.4))
        return values

    def lattice(self, coordinates: Places, size: int, gains: float) -> tuple[Array, float]:
        """Return a lattice and its `worst`; fitted where sampling is off, by `gains` at most."""
        made = _sampled(self.steps, size, coordinates, self.held)
        off = self.worst(made, coordinates)
        if _MARGIN < off <= gains:
            fitting = _rounded(self.fitted(made, coordinates), self.held)
            closer = self.worst(fitting, coordinates)
            if closer < off:
                return fitting, closer
        return made, off

    def worst(self, made: Array, coordinates: Places) -> float:
        """Return the largest error on colours that no fit saw, goals being 1."""
        found = 0.0
        for name, goal in GOALS.items():
            read = tetrahedral(made, coordinates.place(self.colours[name][::_JUDGED]))
            got = self.signal(self.held.release(read))
            off = TEN_BIT * np.abs(got - self.judged[name]).max(axis=-1)
            found = max(found, float(np.quantile(off, goal.quantile)) / goal.codes)
        return found

    def fitted(self, made: Array, coordinates: Places) -> Array:
        """Return a lattice fitted to the other colours."""
        places = [coordinates.place(light) for light in self.fitted_to]
        values = coordinates.values_at(_points(len(made)))
        size = np.maximum(np.abs(values).max(axis=-1), _NEUTRAL)
        neutral = np.ptp(values, axis=-1) <= 1e-6 * size
        return fitted(made, np.concatenate(places), self.drawn, neutral)

    @cached_property
    def fitted_to(self) -> list[Array]:
        """The colours of each set that do not judge."""
        return [light[_fitted(light)] for light in self.colours.values()]

    @cached_property
    def drawn(self) -> Drawn:
        """What a lattice of any size should hold for them."""
        held = [self.held.hold(exact[_fitted(exact)]) for exact in self.exact.values()]
        goals = [GOALS[name] for name in self.exact]
        return drawn(
            np.concatenate(held),
            np.concatenate([np.full(len(one), goal.share / len(one))
                            for one, goal in zip(held, goals, strict=True)]),
            np.concatenate([np.full(len(one), goal.codes)
                            for one, goal in zip(held, goals, strict=True)]),
            lambda one: self.signal(self.held.release(one)),
        )  # fmt: skip


def _fitted(colours: Array) -> npt.NDArray[np.bool_]:
    return np.asarray(np.arange(len(colours)) % _JUDGED != 0)
