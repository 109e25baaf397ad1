"""The print of a negative, and the grain of one frame of it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from lookkit.errors import InputError
from lookkit.graph import Graph
from lookkit.kernel.formula import triple
from lookkit.nodes.base import Op
from lookkit.nodes.film_print import ShownPrint
from lookkit.nodes.print_formula import NegativeNumbers
from lookkit.recipe.texture import Numbers
from lookkit.texture.compiled import Planes
from lookkit.texture.grain import UNIT, Field, field_taps, shot_key
from lookkit.texture.granularity import sigma_of_pixel
from lookkit.texture.odd import Densities


def print_of(graph: Graph, output: str) -> tuple[ShownPrint, Densities]:
    """Return the film print of an output, and the signal of its negative's densities.

    Raises
    ------
    InputError
        If the output's rendering has no negative.
    """
    film, ends = graph.rendering(output)[0], graph.output_steps(output)
    if not isinstance(film, ShownPrint):
        raise InputError(f"output {output!r}: {film.label} has no negative, expected film-print")
    return film, densities_of(negative_of(film), tuple(ends))


def negative_of(film: ShownPrint) -> NegativeNumbers:
    """Return what the print of a negative needs."""
    r, g, b = (triple(row) for row in np.linalg.inv(np.array(film.numbers.taking)))
    return NegativeNumbers(film.numbers, (r, g, b))


@lru_cache(maxsize=8)
def densities_of(negative: NegativeNumbers, ends: tuple[Op, ...]) -> Densities:
    """Return the signal of densities, made once; `ends` are the steps from display light."""
    return Densities(negative, ends)


def layers_of(film: ShownPrint, n: Numbers) -> Numbers:
    """Return a texture as a film has it: one layer, the green-sensitive, in black and white."""
    if film.film.filter is None:
        return n

    def thrice(value: tuple[float, float, float]) -> tuple[float, float, float]:
        return value[1], value[1], value[1]

    return n._replace(
        halation=thrice(n.halation), softness=thrice(n.softness),
        granularity=thrice(n.granularity), grain=thrice(n.grain),
    )  # fmt: skip


class Grain:
    """The grain of one frame.

    Parameters
    ----------
    densities
        The print.
    numbers, shot, frame
        What it is, and what it is drawn for.
    high, broad
        A pixel's sides in micrometres.
    grey
        Whether all layers have the same grain: a black-and-white film's.
    """

    def __init__(
        self,
        densities: Densities,
        numbers: Numbers,
        high: float,
        broad: float,
        shot: str,
        frame: int,
        *,
        grey: bool = False,
    ) -> None:
        n, self._densities = numbers, densities
        self._layers = (1, 1, 1) if grey else (0, 1, 2)
        pairs = zip(n.granularity, n.grain, strict=True)
        sigmas = [sigma_of_pixel(g, r, high, broad) * UNIT for g, r in pairs]
        down, across = field_taps(n.grain, high), field_taps(n.grain, broad)
        self._field = Field(n.seed, shot_key(shot), frame, down, across)
        self._table = densities.table(sigmas, n.by_density)

    def add(self, signal: Planes, density: Planes, start: int, width: int) -> None:
        """Add it to the signal of rows, in place; `start` is the first row."""
        field = self._field.part(start, signal.shape[1], 0, width)
        self._densities.add(signal, density, field, self._table, self._layers)
