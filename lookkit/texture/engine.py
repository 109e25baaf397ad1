"""From a camera's codes to an output's signal with the texture of film, band by band.

    code -> scene -> layers' light -> halation -> softness -> densities -> edges -> print -> signal
                                                                            grain ->

Halation needs the whole picture, reduced. So the layers' light is made first and kept, as far as
`_KEPT` pixels; a larger picture is read twice. All else works on bands of rows, so that memory does
not grow with the picture but for the reduced one. Which bands, and on how many threads, changes no
bit of the result. A black-and-white film has one layer: it takes the numbers of the
green-sensitive one.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from math import prod

import numpy as np
import numpy.typing as npt

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
from lookkit.texture.compiled import Planes, wide_of
from lookkit.texture.film import Grain, densities_of, layers_of, negative_of
from lookkit.texture.filters import Edge, blur, mirrored, soft_taps
from lookkit.texture.halation import Reduced
from lookkit.texture.planes import joined, parted

Pixels = npt.NDArray[np.float32]
Rows = Callable[[int, int, Planes], object]
"""Puts what the chain takes of a picture's rows, from the first to before the last, into planes."""
Put = Callable[[int, Planes], object]
"""Takes the signal of rows, and the first one's number."""

_BAND = 1 << 19
"""Pixels of a band."""
_KEPT = 9_000_000
"""Pixels of which the light is kept, with those that make rows whole vectors: 108 MB."""
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
        self._lock = threading.Lock()
        self._kept: Planes | None = None

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
        aspect: float = 1.0,
    ) -> None:
        """Make a picture: read its rows, some of them again, and give them away, each once.

        Parameters
        ----------
        rows, put
            Called from several threads at once.
        shot, frame
            What the grain is drawn for, beside the recipe's seed.
        whole
            Of the longer side, as many pixels' heights, where this is a part of a larger picture.
        aspect
            A pixel's width over its height.
        """
        if height == 0 or width == 0:
            return
        longer = whole or max(height, width * aspect)
        made = _Picture(self, rows, height, width, shot, frame, longer, aspect)
        list(_workers().map(lambda start: put(start, made.band(start)), made.starts))
        made.end()

    def apply(
        self,
        codes: Pixels,
        *,
        shot: str = "",
        frame: int = 0,
        whole: float | None = None,
        aspect: float = 1.0,
    ) -> Pixels:
        """Return the signal of a picture, shape (height, width, 3); the rest as of `picture`."""
        out = np.empty(codes.shape, np.float32)
        height, width = codes.shape[:2]
        self.picture(
            lambda first, last, planes: parted(codes[first:last], planes),
            lambda start, planes: joined(planes, out[start : start + planes.shape[1]]),
            height, width, shot=shot, frame=frame, whole=whole, aspect=aspect,
        )  # fmt: skip
        return out

    def room(self, shape: tuple[int, ...]) -> Planes:
        """Return memory for the light of a picture, that of the last one where it fits."""
        with self._lock:
            kept, self._kept = self._kept, None
        return kept if kept is not None and kept.shape == shape else np.empty(shape, np.float32)

    def free(self, room: Planes) -> None:
        """Take the memory back, for the next picture."""
        with self._lock:
            self._kept = room


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
        aspect: float,
    ) -> None:
        self.of, self.rows, self.height, self.width = of, rows, height, width
        self.wide = wide_of(width)
        n = of.numbers
        high = n.gate * 1000.0 / whole
        broad = high * aspect
        self.down, self.across = soft_taps(n.softness, high), soft_taps(n.softness, broad)
        self.edge = Edge.of(n.edge, n.reach, high, broad) if n.edge > 0.0 else None
        self.reduced = Reduced.of(height, width, high, broad)
        by = self.reduced.boxes.high * (self.edge.boxes.high if self.edge else 1)
        self.each = -(-max(_LEAST, _BAND // width) // by) * by
        self.starts = range(0, height, self.each)
        self.grain = None
        if any(n.granularity):
            self.grain = Grain(of._densities, n, high, broad, shot, frame, grey=of.is_grey)
        self.share = np.array(n.halation, np.float32)
        self.low = self.kept = None
        if self.share.any():
            if height * self.wide <= _KEPT:
                self.kept = of.room((3, height, self.wide))
            planes = self.reduced.empty()

            def reduce(start: int) -> None:
                light = self._light(start, min(start + self.each, height), self.kept)
                self.reduced.add(planes, light, start, width)

            list(_workers().map(reduce, self.starts))
            self.low = self.reduced.spread(planes, high, broad, n.base, self.share)

    def _light(self, first: int, last: int, kept: Planes | None) -> Planes:
        """Return the layers' light of rows, in `kept` or in this thread's memory."""
        codes = _spare("codes", (3, last - first, self.wide))
        self.rows(first, last, codes)
        light = _spare("light", codes.shape) if kept is None else kept[:, first:last]
        self.of._exposure.run_planes(codes, light)
        return light

    def band(self, start: int) -> Planes:
        """Return the signal of the band that begins with a row; it holds until the next one."""
        of, end, wide = self.of, min(start + self.each, self.height), self.wide
        beside = self.edge.around if self.edge else 0
        # The last band's boxes may reach beyond the picture.
        under = end + beside + (-(end - start) % self.edge.boxes.high if self.edge else 0)
        reach = self.down.shape[1] - 1
        top, bottom = start - beside - reach, under + reach
        first, last = max(top, 0), min(bottom, self.height)
        light = _spare("mixed", (3, bottom - top, wide))
        inside = light[:, first - top : last - top]
        if self.low is not None:
            plain = self.kept[:, first:last] if self.kept is not None else None
            plain = self._light(first, last, None) if plain is None else plain
            self.reduced.mix(plain, first, self.low, self.share, inside)
        else:
            inside[...] = self._light(first, last, None)
        for missing in (range(top, first), range(last, bottom)):
            if missing:
                at = mirrored(missing.start, missing.stop, self.height) - top
                light[:, missing.start - top : missing.stop - top] = light[:, at]
        if reach or self.across.shape[1] > 1:
            soft = _spare("soft", (3, under - start + beside, wide))
            light = blur(light, self.width, self.down, self.across, soft)
        density = _spare("density", light.shape)
        of._negative.run_planes(light, density)
        signal = _spare("signal", (3, end - start, wide))
        if self.edge is not None:
            light = light[:, beside : beside + end - start]
            raised = _spare("edge", signal.shape)
            density = self.edge.raised(density, start, raised, self.width)
        of._print.run_planes(density, signal, light)
        if self.grain is not None:
            self.grain.add(signal, density, start, self.width)
        return signal

    def end(self) -> None:
        """Leave the memory to the next picture."""
        if self.kept is not None:
            self.of.free(self.kept)


_kept = threading.local()


def _spare(name: str, shape: tuple[int, ...]) -> Planes:
    """Return memory of this thread that is used again: fresh memory costs more than the work."""
    size = prod(shape)
    buffers: dict[str, Planes] = _kept.__dict__
    if name not in buffers or buffers[name].size < size:
        buffers[name] = np.empty(size, np.float32)
    return buffers[name][:size].reshape(shape)


@cache
def _workers() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=cores(), thread_name_prefix="lookkit-texture")
