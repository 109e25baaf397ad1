"""Whole graphs, camera code to display signal, that the lattice tests and benchmarks bake."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from lookkit.accuracy.samples import CodeSpace
from lookkit.accuracy.truth import Light
from lookkit.evaluate import evaluate
from lookkit.graph import OutputTransform
from lookkit.lattice.of_graph import Baking
from lookkit.look import Look
from lookkit.nodes.aces_2 import Aces2
from lookkit.nodes.base import Op
from lookkit.nodes.film_print import FilmPrint
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.encodings import encoding
from lookkit.spaces.outputs import output
from lookkit.spaces.primaries import between
from lookkit.spaces.working import MID_GREY, Array

MONITOR = output("Rec.709 BT.1886")
AP1_TO_BT709 = between(encoding("ACEScg").primaries, MONITOR.limiting, "bradford")
LIGHT = Light(xyz=lambda signal: 100.0 * MONITOR.decode(signal) @ MONITOR.limiting.to_xyz().T)


@dataclass(frozen=True)
class Graph:
    """A graph to bake and what is needed to judge it."""

    name: str
    exact: Callable[[Array], Array]
    codespace: CodeSpace
    light: Light = LIGHT

    @property
    def baking(self) -> Baking:
        """The same, ready to be baked."""
        return Baking(self.exact, self.codespace, self.light)


def _camera(name: str) -> CodeSpace:
    camera = encoding(name)
    return CodeSpace(encode=camera.encode, decode=camera.decode)


LOGC4 = _camera("LogC4")
SLOG3 = _camera("S-Log3/S-Gamut3.Cine")


def _rendered(name: str, space: CodeSpace, steps: Sequence[Op]) -> Graph:
    chain = (*steps, OutputTransform(MONITOR))
    return Graph(name, lambda code: evaluate(chain, space.decode(code)), space)


@cache
def print_slog3() -> Graph:
    """The shipped print from S-Log3."""
    return _rendered("print from S-Log3", SLOG3, FilmPrint().ops_for(MONITOR))


@cache
def print_logc4() -> Graph:
    """The shipped print from LogC4."""
    return _rendered("print from LogC4", LOGC4, FilmPrint().ops_for(MONITOR))


@cache
def aces() -> Graph:
    """LogC4 to ACES 2 Rec.709."""
    return _rendered("ACES 2 from LogC4", LOGC4, Aces2().ops_for(MONITOR))


@cache
def mild() -> Graph:
    """S-Log3, a matrix half-way to BT.709 and a smooth curve on stops."""
    matrix = 0.5 * np.eye(3) + 0.5 * AP1_TO_BT709

    def exact(code: Array) -> Array:
        stops = np.log2(np.maximum(SLOG3.decode(code) @ matrix.T, 1e-5) / MID_GREY)
        return 1.0 / (1.0 + np.exp(0.5 - 0.55 * stops))

    return Graph("matrix and curve", exact, SLOG3)


@cache
def clipped() -> Graph:
    """LogC4 straight to BT.709 with hard clips at black and white."""
    return Graph(
        "hard clip",
        lambda code: MONITOR.encode(LOGC4.decode(code) @ AP1_TO_BT709.T),
        LOGC4,
    )


@cache
def shipped_print(camera: str) -> Graph:
    """The shipped neutral print look, from a camera's encoding."""
    text = (
        f'schema = 1\nname = "x"\nextends = "plain-print"\n[cameras.A]\nencoding = "{camera}"\n'
        '[outputs.monitor]\noutput = "Rec.709 BT.1886"\n'
    )
    graph = Look(parse_recipe(text), text).graph
    made = Baking.of(
        graph.chain("A", "monitor"), graph.input_transform("A"), graph.output("monitor")
    )
    return Graph(f"shipped print from {camera}", made.exact, made.space, made.light)
