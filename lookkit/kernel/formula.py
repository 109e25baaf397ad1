"""A formula, its parameters, and the program that a chain of them makes.

A formula is a function of planes, `(r, g, b, p) -> (r, g, b)`. With six planes,
`(er, eg, eb, r, g, b, p)`, it also sees light that entered earlier. `p` is a NamedTuple of
numbers, of triples and rows of them, and of tuples of such NamedTuples. The recorder runs it
once for each length that such a tuple may have; so nodes fill theirs up with items that
change nothing (`padded`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from inspect import signature
from typing import Any, NamedTuple, TypeVar, get_type_hints

from lookkit.kernel.maths import Plane, clip

T = TypeVar("T")

Triple = tuple[float, float, float]
Rows = tuple[Triple, Triple, Triple]
Planes = tuple[Plane, Plane, Plane]

FORMULAS: dict[str, Formula] = {}
"""Every formula by name; a module's are here once it is imported."""


@dataclass(frozen=True)
class Formula:
    """One formula: its text, and the lengths of tuples that it is compiled for."""

    name: str
    text: Callable[..., Planes]
    lengths: tuple[int, ...]
    single: Callable[[Plane, Any], Plane] | None = None
    """What it does to one channel, where it does the same to each."""

    @cached_property
    def parameters(self) -> type:
        """The NamedTuple that its last argument is."""
        last = list(signature(self.text).parameters)[-1]
        found: type = get_type_hints(self.text)[last]
        return found

    @cached_property
    def planes(self) -> int:
        """How many planes it sees: 3, or 6 with the light that entered earlier."""
        return len(signature(self.text).parameters) - 1

    def one(self, x: Plane, p: Any) -> Plane:
        """Run it on one channel; only of a formula that does the same to each."""
        assert self.single is not None
        return self.single(x, p)

    def __call__(self, *values: Any) -> Planes:
        """Run its text."""
        return self.text(*values)


def formula(lengths: Sequence[int] = ()) -> Callable[[Callable[..., Planes]], Formula]:
    """Make a formula of a function.

    Parameters
    ----------
    lengths
        How long the tuples of its parameters may be, where they have no fixed length.
    """

    def made(text: Callable[..., Planes]) -> Formula:
        name = text.__name__.strip("_")
        if name in FORMULAS and FORMULAS[name].text.__module__ != text.__module__:
            raise ValueError(f"two formulas are called {name}")
        FORMULAS[name] = Formula(name, text, tuple(lengths))
        return FORMULAS[name]

    return made


def each_channel(text: Callable[[Plane, Any], Plane]) -> Formula:
    """Make a formula that runs a text of one plane, `(x, p) -> x`, on each channel."""
    hints = get_type_hints(text)

    def over(r: Plane, g: Plane, b: Plane, p: Any) -> Planes:
        return text(r, p), text(g, p), text(b, p)

    over.__annotations__["p"] = hints["p"]
    over.__name__, over.__module__ = text.__name__, text.__module__
    made = formula()(over)
    object.__setattr__(made, "single", text)
    return made


class Call(NamedTuple):
    """A formula with its parameters, working in place on the planes of a slot.

    `other` is the slot of the light that entered, for formulas of six planes.
    """

    formula: Formula
    p: tuple[Any, ...]
    slot: int = 0
    other: int = 0


Program = tuple[Call, ...]
"""Calls in their order; light comes in and goes out in slot 0."""


def moved(program: Sequence[Call], slots: int) -> list[Call]:
    """Return the same program in slots that many higher."""
    return [call._replace(slot=call.slot + slots, other=call.other + slots) for call in program]


def slots_of(program: Sequence[Call]) -> int:
    """Return how many slots a program uses."""
    return 1 + max((max(call.slot, call.other) for call in program), default=0)


def padded(items: Sequence[T], nothing: T, lengths: Sequence[int]) -> tuple[T, ...]:
    """Return the items, filled up to the next of the lengths with items that do nothing.

    More items than the largest length stay as they are: only numpy runs them.
    """
    wanted = next((length for length in lengths if length >= len(items)), len(items))
    return (*items, *[nothing] * (wanted - len(items)))


class Nothing(NamedTuple):
    """Nothing to set."""


@formula()
def take_entering(
    er: Plane, eg: Plane, eb: Plane, r: Plane, g: Plane, b: Plane, p: Nothing
) -> Planes:
    """Take a copy of the light of another slot."""
    return er + 0.0, eg + 0.0, eb + 0.0


class Affine(NamedTuple):
    """A matrix and an offset."""

    rows: Rows
    offset: Triple


@formula()
def affine(r: Plane, g: Plane, b: Plane, p: Affine) -> Planes:
    """Mix the channels and add."""
    (rr, rg, rb), (gr, gg, gb), (br, bg, bb) = p.rows
    return (
        rr * r + rg * g + rb * b + p.offset[0],
        gr * r + gg * g + gb * b + p.offset[1],
        br * r + bg * g + bb * b + p.offset[2],
    )


def triple(values: Any) -> Triple:
    """Return three numbers, of an array or a list, as parameters take them."""
    first, second, third = map(float, values)
    return first, second, third


def affine_call(matrix: Any, offset: Any = (0.0, 0.0, 0.0)) -> Call:
    """Return the call that mixes channels by a 3x3 and adds an offset (one number or three)."""
    first, second, third = matrix
    added = triple(offset if hasattr(offset, "__len__") else [offset] * 3)
    return Call(affine, Affine((triple(first), triple(second), triple(third)), added))


class Ends(NamedTuple):
    """Two ends."""

    low: float
    high: float


@formula()
def hold(r: Plane, g: Plane, b: Plane, p: Ends) -> Planes:
    """Hold each channel between two ends."""
    return clip(r, p.low, p.high), clip(g, p.low, p.high), clip(b, p.low, p.high)
