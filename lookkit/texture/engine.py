"""From a camera's codes to an output's signal with the texture of film, band by band.

    code -> scene -> layers' light -> halation -> softness -> densities -> edges -> print -> signal
                                                                            grain ->

Halation needs the whole picture: it is read twice, first to be reduced. All else works on bands of
rows, so that memory does not grow with the picture but for the reduced one. Which bands, and on
how many threads, changes no bit of the result. A black-and-white film has one layer: it takes
the numbers of the green-sensitive one.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from math import prod

import numpy as np

from lookkit.evaluate import Runner
from lookkit.graph import Graph
from lookkit.kernel.formula import Call, Program
from lookkit.nodes.base import Op
from lookkit.nodes.film_print import ShownPrint
from lookkit.nodes.print_formula import (
    film_exposure,
    film_negative,
    negative_print,
)
from lookkit.ocio import cores
from lookkit.recipe.texture import Numbers
from lookkit.spaces.working import Array, OcioTransform, State
from lookkit.texture.film import Grain, densities_of, layers_of, negative_of
from lookkit.texture.filters import Pixels, blur, edge_taps, mirrored, soft_taps
from lookkit.texture.halation import Reduced

Rows = Callable[[int, int], Pixels]
"""What the chain takes of a picture's rows, from the first to before the last: (rows, width, 3)."""
Put = Callable[[int, Pixels], None]
"""Takes the signal of rows, and the first one's number."""

_BAND = 1 << 19
"""Pixels of a band."""
_LEAST = 16
"""Rows of a band at the least."""


@dataclass(frozen=True)
class _Step:
    """A step of a chain that is one call of a formula."""

    call: Call
    label: str = "film"
    takes: State = State.SCENE
    gives: State = State.DISPLAY

    def program(self) -> Program:
        return (self.call,)

    def evaluate(self, rgb: Array) -> Array:
        raise NotImplementedError

    def lower(self) -> list[OcioTransform] | None:
        return None


def texture_of(graph: Graph, output: str, scene: str | None = None) -> Numbers | None:
    """Return the texture that pictures get on an output, or None where they get none.

    Only the film print has a negative; other renderings have no texture.
    """
    texture = graph.recipe.texture
    if texture is None or not texture.is_on:
        return None
    ops = graph.rendering(output, scene)
    return texture.numbers if len(ops) == 1 and isinstance(ops[0], ShownPrint) else None


class Textured:
    """A chain to an output with texture, ready for pictures.

    Parameters
    ----------
    chain
        Steps to an output's signal, of a camera's codes or of light, with a film print.
    numbers
        The texture.
    """

    def __init__(self, chain: Sequence[Op], numbers: Numbers) -> None:
        at = next(place for place, op in enumerate(chain) if isinstance(op, ShownPrint))
        film, ends = chain[at], chain[at + 1 :]
        assert isinstance(film, ShownPrint)
        p, negative = film.numbers, negative_of(film)
        self.numbers = layers_of(film, numbers)
        self.is_grey = film.film.filter is not None
        self._exposure = Runner([*chain[:at], _Step(Call(film_exposure, p))])
        self._negative = Runner([_Step(Call(film_negative, p))])
        self._print = Runner([_Step(Call(negative_print, negative, 0, 1)), *ends])
        self._densities = densities_of(negative, tuple(ends))

    def picture(
        self,
        rows: Rows,
        put: Put,
        height: int,
        width: int,
        *,
        shot: str = "",
        frame: int = 0,
        whole: float | None = None,
    ) -> None:
        """Make a picture: read its rows, some of them again, and give them away, each once.

        Parameters
        ----------
        rows, put
            Called from several threads at once.
        shot, frame
            What the grain is drawn for, beside the recipe's seed.
        whole
            Pixels of the longer side, where this is a part of a larger picture.
        """
        if height == 0 or width == 0:
            return
        made = _Picture(self, rows, height, width, shot, frame, whole or max(height, width))
        list(_workers().map(lambda start: put(start, made.band(start)), made.starts))

    def apply(
        self, codes: Pixels, *, shot: str = "", frame: int = 0, whole: float | None = None
    ) -> Pixels:
        """Return the signal of a picture, shape (height, width, 3); the rest as of `picture`."""
        out = np.empty(codes.shape, np.float32)

        def put(start: int, signal: Pixels) -> None:
            out[start : start + len(signal)] = signal

        height, width = codes.shape[:2]
        self.picture(
            lambda a, b: codes[a:b], put, height, width, shot=shot, frame=frame, whole=whole
        )
        return out


class _Picture:
    """One picture at work."""

    def __init__(
        self,
        of: Textured,
        rows: Rows,
        height: int,
        width: int,
        shot: str,
        frame: int,
        whole: float,
    ) -> None:
        self.of, self.rows, self.height, self.width = of, rows, height, width
        n = of.numbers
        pixel = n.gate * 1000.0 / whole
        self.soft = soft_taps(n.softness, pixel)
        self.edge = edge_taps(n.reach, pixel) if n.edge > 0.0 else np.ones((3, 1), np.float32)
        self.reduced = Reduced.of(height, width, pixel)
        each = max(_LEAST, _BAND // width)
        self.each = -(-each // self.reduced.by) * self.reduced.by
        self.starts = range(0, height, self.each)
        self.grain = None
        if any(n.granularity):
            self.grain = Grain(of._densities, n, pixel, shot, frame, grey=of.is_grey)
        self.share = np.array(n.halation, np.float32)
        self.low = None
        if self.share.any():
            planes = self.reduced.empty()

            def reduce(start: int) -> None:
                self.reduced.add(planes, self._layers(start, start + self.each), start)

            list(_workers().map(reduce, self.starts))
            square = pixel * self.reduced.by
            self.low = self.reduced.spread(planes, square, n.base, self.share)

    def _layers(self, first: int, last: int) -> Pixels:
        codes = np.ascontiguousarray(self.rows(first, min(last, self.height)), np.float32)
        light = _spare("light", codes.shape)
        self.of._exposure.run_here(codes, light)
        return light

    def band(self, start: int) -> Pixels:
        """Return the signal of the band that begins with a row; it holds until the next one."""
        of, end = self.of, min(start + self.each, self.height)
        around = self.soft.shape[1] + self.edge.shape[1] - 2
        first, last = max(start - around, 0), min(end + around, self.height)
        light = self._layers(first, last)
        if self.low is not None:
            self.reduced.mix(light, first, self.low, self.share)
        if start - around < first or end + around > last:
            light = light[mirrored(start - around, end + around, self.height) - first]
        beside = self.edge.shape[1] - 1
        if self.soft.shape[1] > 1:
            size = (end - start + 2 * beside, self.width, 3)
            light = blur(light, self.soft, out=_spare("soft", size))
        density = _spare("density", light.shape)
        of._negative.run_here(light, density)
        signal = _spare("signal", (end - start, self.width, 3))
        if beside:
            light = light[beside : len(light) - beside]
            density = blur(density, self.edge, of.numbers.edge, _spare("edge", signal.shape))
        of._print.run_here(density, signal, light)
        if self.grain is not None:
            self.grain.add(signal, density, start)
        return signal


_kept = threading.local()


def _spare(name: str, shape: tuple[int, ...]) -> Pixels:
    """Return memory of this thread that is used again: fresh memory costs more than the work."""
    size = prod(shape)
    buffers: dict[str, Pixels] = _kept.__dict__
    if name not in buffers or buffers[name].size < size:
        buffers[name] = np.empty(size, np.float32)
    return buffers[name][:size].reshape(shape)


@cache
def _workers() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=cores(), thread_name_prefix="lookkit-texture")
