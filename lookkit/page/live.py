"""What pictures become under a look: lattices while a hand moves, exact pictures when it rests."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count
from typing import Final

import numpy as np
import numpy.typing as npt

from lookkit.evaluate import Runner
from lookkit.look import Look
from lookkit.nodes.base import Op
from lookkit.nodes.film_print import ShownPrint
from lookkit.nodes.print_formula import Fit
from lookkit.ocio import Processor
from lookkit.page.pictures import Domain, Picture, Pixels, Place, all_trims
from lookkit.report.shown import as_bytes, screen_of
from lookkit.spaces.outputs import Output, output
from lookkit.spaces.primaries import Primaries
from lookkit.texture.engine import Textured, texture_of

SPACES: Final = {"srgb": "sRGB", "display-p3": "Display P3"}
"""Outputs that a browser's canvas can have, by the canvas's own word for its colours."""
_KEPT = 32
_NUMBERS = count(1)
_STEPS = 65535


@dataclass(frozen=True, eq=False)
class Lattice:
    """What a canvas shows at the points of the domain.

    `values` are codes of the canvas in 0-65535, shape (size^3, 3), the first axis fastest.
    `number` is the lattice's own: who has it need not be sent it again.
    """

    number: int
    values: npt.NDArray[np.uint16]


@dataclass(frozen=True, eq=False)
class Lattices:
    """What a canvas needs to show some pictures.

    For each of them, `which` of `made` is its lattice, and whether that is over the picture's
    light after its trims (`trimmed`) or before them.
    """

    which: list[int]
    trimmed: list[bool]
    made: list[Lattice]


class Shown:
    """Looks as the page's canvas shows them.

    A canvas has a picture's light before all trims, and after those that it had when the hand
    last rested. As long as these are its trims, its lattice holds what comes after them, which is
    the same for all pictures; else, also the trims. Pictures whose steps are the same share one.
    """

    def __init__(self, domain: Domain) -> None:
        self.domain = domain
        self._points: dict[int, Pixels] = {}
        self._screens: dict[tuple[Output, str], Processor] = {}
        self._kept: OrderedDict[tuple[tuple[Op, ...], str, str, int, bool], Lattice] = OrderedDict()
        self._fits: dict[tuple[Primaries, float | None], Fit] = {}

    def chain(
        self, look: Look, place: Place, output: str, *, trimmed: bool = False
    ) -> tuple[Op, ...]:
        """Return the steps from scene light, before or after all trims, to the signal."""
        graph, (_, scene) = look.graph, place
        return (
            *(() if trimmed else all_trims(look, place)),
            *graph.look(scene),
            *graph.rendering(output, scene),
            *graph.output_steps(output),
        )

    def quick(self, op: Op) -> Op:
        """Return a step as it is shown while a hand moves.

        A print keeps the fit into the display that it had at rest.
        """
        if not isinstance(op, ShownPrint):
            return op
        kind = (op.gamut, op.peak)
        if kind not in self._fits:
            self._fits[kind] = op.numbers.fit
        return op.fitted_as(self._fits[kind])

    def lattices(
        self,
        look: Look,
        places: Sequence[Place],
        output: str,
        size: int,
        space: str = "srgb",
        *,
        trims: Sequence[tuple[Op, ...]] = (),
        moving: bool = False,
    ) -> Lattices:
        """Return the lattice of each place; those of steps that did not change are kept.

        Parameters
        ----------
        places
            Of pictures: cameras and settings.
        space
            The colours of the canvas, one of SPACES.
        trims
            For each of `places`, those after which the canvas has the picture's light too.
        moving
            As soon as can be; see `quick`.
        """
        name = look.graph.output(output).name
        had = trims or [()] * len(places)
        found: dict[tuple[Place, tuple[Op, ...]], tuple[tuple[Op, ...], bool]] = {}
        for one in zip(places, had, strict=True):
            if one not in found:
                place, after = one
                trimmed = bool(after) and after == all_trims(look, place)
                found[one] = self.chain(look, place, output, trimmed=trimmed), trimmed
        known: dict[tuple[Op, ...], int] = {}
        made: list[Lattice] = []
        for chain in dict.fromkeys(chain for chain, _ in found.values()):
            known[chain] = len(made)
            key = (chain, name, space, size, moving)
            if key not in self._kept:
                if moving:
                    chain = tuple(self.quick(op) for op in chain)
                else:
                    self._fits |= {(op.gamut, op.peak): op.numbers.fit for op in chain
                                   if isinstance(op, ShownPrint)}  # fmt: skip
                self._kept[key] = self._made(chain, look, output, size, space)
                if len(self._kept) > _KEPT:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(key)
            made.append(self._kept[key])
        each = [found[one] for one in zip(places, had, strict=True)]
        return Lattices([known[chain] for chain, _ in each], [late for _, late in each], made)

    def _made(
        self, chain: tuple[Op, ...], look: Look, output: str, size: int, space: str
    ) -> Lattice:
        if size not in self._points:
            self._points[size] = self.domain.points(size)
        shown = self._screen(look, output, space).apply(Runner(chain).run(self._points[size]))
        codes = np.clip(shown, 0.0, 1.0)
        codes *= _STEPS
        return Lattice(next(_NUMBERS), np.rint(codes, out=codes).astype(np.uint16))

    def exact(
        self,
        look: Look,
        picture: Picture,
        light: Pixels,
        output: str,
        space: str = "srgb",
        whole: float | None = None,
    ) -> Pixels:
        """Return the exact signal of a picture's light, with texture, as a canvas shows it, 0-1.

        `whole` is how many pixels the picture's longer side has where `light` is a part of it.
        """
        place = picture.place_in(look)
        chain, texture = self.chain(look, place, output), texture_of(look.graph, output, place[1])
        if texture is None:
            signal = Runner(chain).run(light)
        else:
            signal = Textured(chain, texture).apply(
                light, shot=picture.taken.place.name, whole=whole
            )
        return np.asarray(self._screen(look, output, space).apply(signal), dtype=np.float32)

    def _screen(self, look: Look, name: str, space: str) -> Processor:
        target = look.graph.output(name)
        if (target, space) not in self._screens:
            self._screens[target, space] = screen_of(target, output(SPACES[space]))
        return self._screens[target, space]


def recorded_in(before: npt.NDArray[np.uint8], space: str) -> npt.NDArray[np.uint8]:
    """Return sRGB bytes in the colours of a canvas."""
    if space == "srgb":
        return before
    screen = screen_of(output("sRGB"), output(SPACES[space]))
    return as_bytes(screen.apply(before.astype(np.float32) / np.float32(255)))
