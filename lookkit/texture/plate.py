r"""A plate: the print's grain on mid-grey, for those who lay it over a finished picture.

It is laid over with the blend that is `overlay` or like it everywhere: of a picture b and a plate
s, each 0-1,

    out = 2 b s              where b < 0.5
    out = 1 - 2 (1 - b)(1 - s)   elsewhere

so out - b = (2 s - 1) min(b, 1 - b), and s = 0.5 changes nothing. A plate is right on mid-grey; on
other light it is `ratio` times as strong as the true grain.

Source of the blend: W3C, Compositing and Blending, hard light with its layers changed over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lookkit.graph import Graph
from lookkit.kernel import numpy_engine
from lookkit.kernel.formula import Call
from lookkit.nodes.print_formula import film_exposure, film_negative
from lookkit.recipe.texture import Numbers
from lookkit.spaces.working import MID_GREY, Array
from lookkit.texture.compiled import Planes, wide_of
from lookkit.texture.film import Grain, layers_of, print_of

STOPS = tuple(range(-5, 6))


@dataclass(frozen=True)
class Match:
    """How strong a plate's grain is on a grey: `ratio` by channel, 1 where it is the true one."""

    stop: int
    ratio: tuple[float, float, float]


class Plate:
    """The grain of mid-grey on one output.

    Parameters
    ----------
    graph, output
        What it is made for.
    numbers
        The texture.
    height, width
        Of the plate, in pixels.
    """

    def __init__(
        self, graph: Graph, output: str, numbers: Numbers, height: int, width: int
    ) -> None:
        self._film, self._densities = print_of(graph, output)
        self._numbers = layers_of(self._film, numbers)
        self._pixel = numbers.gate * 1000.0 / max(height, width)
        self.height, self.width = height, width
        grey = self._densities.signal(np.zeros((1, 3)))[0]
        self._room = np.minimum(grey, 1.0 - grey)
        self._grey = grey.astype(np.float32)

    def frame(self, number: int) -> npt.NDArray[np.float32]:
        """Return a frame, float32 (height, width, 3), 0.5 where there is no grain."""
        signal = self._flat(self._grey, self.height, self.width)
        density = np.zeros(signal.shape, np.float32)
        self._grain(number).add(signal, density, 0, self.width)
        made = np.moveaxis(signal[:, :, : self.width], 0, -1) - self._grey
        return np.asarray(0.5 + made * (0.5 / self._room).astype(np.float32))

    @staticmethod
    def _flat(value: npt.ArrayLike, height: int, width: int) -> Planes:
        planes = np.empty((3, height, wide_of(width)), np.float32)
        planes[...] = np.asarray(value)[:, None, None]
        return planes

    def _grain(self, number: int) -> Grain:
        is_grey = self._film.film.filter is not None
        side = self._pixel
        return Grain(self._densities, self._numbers, side, side, "plate", number, grey=is_grey)

    def matches(self) -> list[Match]:
        """Return how strong it is on greys of `STOPS` over mid-grey, measured on 64 x 64 pixels."""
        p = self._film.numbers
        light = MID_GREY * 2.0 ** np.repeat(np.array(STOPS, float)[:, None], 3, axis=1)
        density = numpy_engine.run((Call(film_exposure, p), Call(film_negative, p)), light)
        grain = self._grain(0)
        made = []
        plate = self._spread(grain, np.zeros(3)) / self._room
        for stop, n in zip(STOPS, density, strict=True):
            signal = self._densities.signal(n[None])[0]
            laid = plate * np.minimum(signal, 1.0 - signal)
            r, g, b = laid / np.maximum(self._spread(grain, n), 1e-9)
            made.append(Match(stop, (float(r), float(g), float(b))))
        return made

    def _spread(self, grain: Grain, density: Array) -> Array:
        """Return the deviation of the signal of a flat patch, shape (3,)."""
        signal = self._flat(self._densities.signal(density), 64, 64)
        made = signal.copy()
        grain.add(made, self._flat(density, 64, 64), 0, 64)
        return np.asarray((made - signal).std(axis=(1, 2), dtype=np.float64))
