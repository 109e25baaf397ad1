"""What pictures become under a look: lattices while a hand moves, exact pictures when it rests."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from lookkit.evaluate import Runner
from lookkit.look import Look
from lookkit.nodes.base import Op
from lookkit.ocio import Processor
from lookkit.page.pictures import Domain, Picture, Pixels
from lookkit.report.shown import as_bytes, srgb_of
from lookkit.spaces.outputs import Output


class Shown:
    """Looks as the page's canvas shows them.

    Lattices are over scene light before a scene's trims, so that a change of a trim is a change
    like any other. Scenes whose steps are the same share one.
    """

    def __init__(self, domain: Domain) -> None:
        self.domain = domain
        self._points: dict[int, Pixels] = {}
        self._screens: dict[Output, Processor] = {}

    def chain(self, look: Look, scene: str | None, output: str) -> tuple[Op, ...]:
        """Return the steps from scene light before trims to the signal."""
        graph = look.graph
        return (
            *graph.trims(scene),
            *graph.look(scene),
            *graph.rendering(output, scene),
            *graph.output_steps(output),
        )

    def lattices(
        self, look: Look, scenes: Sequence[str | None], output: str, size: int
    ) -> tuple[list[int], list[npt.NDArray[np.float16]]]:
        """Return the lattice of each scene.

        Returns
        -------
        which
            For each of `scenes`, which lattice is its own.
        lattices
            Shape (size^3, 4): what an sRGB canvas shows, half floats, the first axis fastest.
        """
        if size not in self._points:
            self._points[size] = self.domain.points(size)
        screen = self._screen(look, output)
        known: dict[tuple[Op, ...], int] = {}
        which: list[int] = []
        made: list[npt.NDArray[np.float16]] = []
        for scene in scenes:
            chain = self.chain(look, scene, output)
            if chain not in known:
                known[chain] = len(made)
                shown = screen.apply(Runner(chain).run(self._points[size]))
                whole = np.ones((len(shown), 4), np.float16)
                whole[:, :3] = np.clip(shown, 0.0, 1.0)
                made.append(whole)
            which.append(known[chain])
        return which, made

    def exact(self, look: Look, picture: Picture, light: Pixels, output: str) -> Pixels:
        """Return the exact signal of a picture's light, as an sRGB canvas shows it, 0-1."""
        signal = Runner(self.chain(look, picture.taken.setting(look), output)).run(light)
        return np.asarray(self._screen(look, output).apply(signal), dtype=np.float32)

    def exact_bytes(
        self, look: Look, picture: Picture, light: Pixels, output: str
    ) -> npt.NDArray[np.uint8]:
        """Return the same as bytes, shape of `light`."""
        return as_bytes(self.exact(look, picture, light, output))

    def _screen(self, look: Look, output: str) -> Processor:
        target = look.graph.output(output)
        if target not in self._screens:
            self._screens[target] = srgb_of(target)
        return self._screens[target]
