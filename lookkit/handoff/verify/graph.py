"""What a file must equal: the part of the recipe's graph that its format declares.

A format declares it in `Written.part`; the manifest keeps it. `PARTS` is the other half: for
each word, the exact steps, the colours to compare on and the light in which differences are
seen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lookkit.deliver import amf, clf
from lookkit.deliver.clf import ClfFile
from lookkit.errors import InputError
from lookkit.lattice.audit import Audited
from lookkit.lattice.of_graph import Baking
from lookkit.lattice.samples import AUDIT_SEED, SetName, audit_sets
from lookkit.lattice.truth import steady
from lookkit.spaces.working import Array

if TYPE_CHECKING:
    from lookkit.look import Look

PARTS: Final[Mapping[str, Callable[[Look, str, str, str | None], ClfFile]]] = {
    "input": lambda look, camera, output, scene: clf.input_file(look, camera, scene),
    "look": lambda look, camera, output, scene: clf.look_file(look, scene),
    "camera-to-look": lambda look, camera, output, scene: clf.camera_file(look, camera, scene),
    "chain": lambda look, camera, output, scene: clf.chain_file(look, camera, output, scene),
    "output": lambda look, camera, output, scene: amf.output_file(look, output, scene),
}
"""What a file of operations declares to be: its exact function, colours and light."""
_NEEDS: Final = {
    "input": ("camera",),
    "camera-to-look": ("camera",),
    "chain": ("camera", "output"),
    "output": ("output",),
}
SETS: Final[tuple[SetName, ...]] = ("neutral-ramp", "image-like", "skin", "saturated-emitters")
"""The colours that a budget speaks of."""
_CLOSE: Final = 4000


@dataclass(frozen=True)
class Chain:
    """Everything from a camera's codes to an output's signal: the part "chain"."""

    look: Look
    camera: str
    output: str
    scene: str | None

    @cached_property
    def baking(self) -> Baking:
        """The exact chain with the colours and the light to judge it in."""
        graph = self.look.graph
        chain = graph.chain(self.camera, self.output, self.scene)
        step = graph.decoding(self.camera, self.scene)
        return Baking.of(chain, step, graph.output(self.output))

    @cached_property
    def exact(self) -> Callable[[Array], Array]:
        """Codes (n, 3) to signal (n, 3), float64; a copy that may be called from threads."""
        return steady(self.baking.exact)

    @cached_property
    def audited(self) -> Mapping[str, Audited]:
        """The audited sets of a certificate, with what the graph makes of them."""
        sets = audit_sets(self.baking.space, AUDIT_SEED)
        return {
            name: Audited(sets[name], self.exact(sets[name]), self.baking.light) for name in SETS
        }

    def codes(self) -> Array:
        """Return colours of every kind, (n, 3): what a camera's file may hold."""
        rng = np.random.default_rng(AUDIT_SEED)
        drawn = [self.audited[name].code[::17] for name in SETS]
        return np.concatenate([*drawn, rng.random((_CLOSE, 3))])


@dataclass
class Truths:
    """The graph's parts, each made once, for the recipe of a folder."""

    look: Look

    def __post_init__(self) -> None:
        self._chains: dict[tuple[str, str, str | None], Chain] = {}

    def chain(self, camera: str, output: str, scene: str | None = None) -> Chain:
        """Return the chain of a camera, output and scene.

        Raises
        ------
        InputError
            If the recipe has none such.
        """
        key = (camera, output, scene)
        if key not in self._chains:
            self.look.graph.chain(camera, output, scene)
            self._chains[key] = Chain(self.look, camera, output, scene)
        return self._chains[key]

    def chain_of(self, entry: Mapping[str, Any]) -> Chain:
        """Return the chain that a manifest's entry names.

        Raises
        ------
        InputError
            If it names none, or one that the recipe does not have.
        """
        camera, output, scene = _names(entry, ("camera", "output"))
        return self.chain(camera, output, scene)

    def declared(self, entry: Mapping[str, Any]) -> ClfFile | None:
        """Return what a file of operations must do, or None if its part is not known here.

        Raises
        ------
        InputError
            If its entry names a camera, output or scene that the recipe does not have.
        """
        part = entry.get("part")
        if not isinstance(part, str) or part not in PARTS:
            return None
        return PARTS[part](self.look, *_names(entry, _NEEDS.get(part, ())))


def _names(entry: Mapping[str, Any], needed: tuple[str, ...]) -> tuple[str, str, str | None]:
    """Return camera, output and scene of an entry; "" where none is needed."""
    found = {key: entry.get(key) for key in ("camera", "output", "scene")}
    for key, name in found.items():
        if name is None and key in needed:
            raise InputError(f"its entry names no {key}")
        if name is not None and not isinstance(name, str):
            raise InputError(f"its entry names a {key} that is no text")
    return found["camera"] or "", found["output"] or "", found["scene"]
