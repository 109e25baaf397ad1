"""A chain of parts with its numbers: from scene light to the signal that it shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final, Literal

import numpy as np
import numpy.typing as npt

from lookkit.adopt.parts import STEPS, Part, film_of, node_of, numbers_of, print_table, step_table
from lookkit.evaluate import Runner
from lookkit.graph import Acting
from lookkit.nodes.aces_2 import Aces2
from lookkit.nodes.base import Node, Op
from lookkit.nodes.film_print import ShownPrint
from lookkit.nodes.print_formula import Fit
from lookkit.spaces.outputs import Output
from lookkit.spaces.working import Array

RenderingKind = Literal["film-print", "aces-2"]
_KEPT: Final = 512
_GIVES: Final = "highlights"
_HALVINGS: Final = 8


class Chain:
    """What some parts with some numbers make of light.

    Attributes
    ----------
    rendering
        The kind that shows the look.
    parts
        Those that have numbers; all others are plain.
    plain, usual, least, most
        Of each number, shape (n,); see `parts.Number`.
    """

    def __init__(self, rendering: RenderingKind, parts: Sequence[Part], shown: Output) -> None:
        order = {step: place for place, step in enumerate((*STEPS, "rendering"))}
        self.rendering = rendering
        self.parts = tuple(sorted(parts, key=lambda part: order[part.step]))
        self.shown = shown
        self._numbers = numbers_of(self.parts)
        self.plain, self.usual, self.least, self.most = (
            np.array([getattr(number, name) for _, number in self._numbers])
            for name in ("plain", "usual", "least", "most")
        )
        self._rendered = tuple(Aces2().ops_for(shown)) if rendering == "aces-2" else ()
        self._prints: dict[tuple[Any, ...], ShownPrint] = {}
        self._nodes: dict[tuple[Any, ...], Node] = {}

    def __len__(self) -> int:
        return len(self._numbers)

    @property
    def names(self) -> list[tuple[str, str]]:
        """Each number as its part's name and its own."""
        return [(part.name, number.name) for part, number in self._numbers]

    def with_parts(self, parts: Sequence[Part]) -> Chain:
        """Return a chain of other parts with the same rendering."""
        return Chain(self.rendering, parts, self.shown)

    def carried(self, other: Chain, values: Array) -> Array:
        """Return `other`'s values for this chain: plain where it has none, shape (n,)."""
        known = dict(zip(other.names, values, strict=True))
        return np.array([known.get(name, plain) for name, plain
                         in zip(self.names, self.plain, strict=True)])  # fmt: skip

    def rows_of(self, part: Part) -> npt.NDArray[np.bool_]:
        """Return which numbers are a part's, shape (n,)."""
        return np.array([one is part for one, _ in self._numbers], dtype=bool)

    def by_step(self, values: Array) -> dict[str, dict[str, float]]:
        """Return the numbers of each step by name, in the order of the recipe."""
        found: dict[str, dict[str, float]] = {}
        for (part, number), value in zip(self._numbers, values, strict=True):
            found.setdefault(part.step, {})[number.name] = float(value)
        return found

    def tables(
        self, values: Array, digits: Mapping[str, Mapping[str, int]]
    ) -> tuple[list[tuple[str, dict[str, Any]]], dict[str, Any]]:
        """Return the look's steps, each with its name, and the rendering, as a recipe holds them.

        Parameters
        ----------
        digits
            Decimals of each number, by step and name.
        """
        steps = self.by_step(values)
        film = steps.pop("rendering", {})
        look = [(name, step_table(name, own, digits.get(name, {}))) for name, own in steps.items()]
        if self.rendering == "aces-2":
            return look, {"kind": "aces-2"}
        return look, print_table(film, digits.get("rendering", {}))

    def nodes(self, values: Array) -> list[Node]:
        """Return the look's nodes.

        Raises
        ------
        ValueError
            If a recipe may not hold such numbers.
        """
        return [self._node(name, own) for name, own in self.by_step(values).items()
                if name != "rendering"]  # fmt: skip

    def _node(self, step: str, own: Mapping[str, float]) -> Node:
        key = (step, *own.values())
        if key not in self._nodes:
            if len(self._nodes) > _KEPT:
                self._nodes.clear()
            self._nodes[key] = node_of(step_table(step, own, {}))
        return self._nodes[key]

    def within(self, values: Array) -> Array:
        """Return values that no film refuses for being too steep: its lights give way.

        A step of a fit that presses against that limit slides along it, and does not stop there.
        """
        low, high = np.array(values), values
        if (
            self.rendering == "aces-2"
            or self._is_film(values)
            or ("tone", _GIVES) not in self.names
        ):
            return values
        place = self.names.index(("tone", _GIVES))
        low[place] = self.least[place]
        if not self._is_film(low):
            return values
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self._is_film(middle) else (low, middle)
        return low

    def _is_film(self, values: Array) -> bool:
        try:
            film_of(self.by_step(values).get("rendering", {}))
        except ValueError:
            return False
        return True

    def printed(self, values: Array, fit: Fit | None = None) -> tuple[Op, ...]:
        """Return the rendering's steps; a film print may borrow the fit of one close to it."""
        if self.rendering == "aces-2":
            return self._rendered
        numbers = self.by_step(values).get("rendering", {})
        key = (fit, *numbers.values())
        if key not in self._prints:
            if len(self._prints) > _KEPT:
                self._prints.clear()
            (shown,) = film_of(numbers).ops_for(self.shown)
            assert isinstance(shown, ShownPrint)
            self._prints[key] = shown if fit is None else shown.fitted_as(fit)
        return (self._prints[key],)

    def fit_of(self, values: Array) -> Fit | None:
        """Return how a film print of these values is fitted into the display's gamut."""
        (shown, *_) = self.printed(values)
        if not isinstance(shown, ShownPrint):
            return None
        with np.errstate(all="ignore"):
            return shown.numbers.fit

    def can_be_shown(self, values: Array) -> bool:
        """Say whether the print of these values is one: strong tints of black may have none."""
        fit = self.fit_of(values)
        return fit is None or bool(np.isfinite([*fit.low, *fit.high]).all())

    def signal(
        self, values: Array, scene: Array, fit: Fit | None = None, *, sound: bool = True
    ) -> Array:
        """Return the signal for scene-linear AP1, shape (n, 3).

        Parameters
        ----------
        sound
            Raise where light is no number; else it is black there.

        Raises
        ------
        ValueError
            If a recipe may not hold such numbers, or they give light that is none.
        """
        with np.errstate(all="ignore"):
            steps = [*map(Acting, self.nodes(values)), *self.printed(values, fit)]
            light = Runner(steps).run(scene).astype(np.float64)
        if not np.isfinite(light).all():
            if sound:
                raise ValueError("light that is no number")
            light = np.nan_to_num(light, nan=0.0, posinf=0.0, neginf=0.0)
        return self.shown.encode(light)
