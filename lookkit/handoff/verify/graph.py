"""What a file must equal: the part of the recipe's graph that its format declares.

A format declares it in `Written.part`, with camera, output and scene; the manifest keeps it.
`Truths` is the other half: for each word, the exact function, the colours to compare on and the
light in which differences are seen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lookkit.accuracy.audit import Audited
from lookkit.accuracy.samples import AUDIT_SEED, SetName, audit_sets
from lookkit.accuracy.truth import Exact, Light, steady
from lookkit.deliver import acescct, clf, stills
from lookkit.deliver.aces import LookTransform
from lookkit.deliver.cdl import read_cc
from lookkit.deliver.cdl_residual import FOLDER as CDL_FOLDER
from lookkit.deliver.cdl_residual import Change, Residual, changes, viewing_light
from lookkit.deliver.clf import ClfFile
from lookkit.errors import InputError
from lookkit.evaluate import evaluator
from lookkit.lattice.of_graph import Baking
from lookkit.spaces.working import Array, OcioTransform

if TYPE_CHECKING:
    from lookkit.look import Look

SETS: Final[tuple[SetName, ...]] = ("neutral-ramp", "image-like", "skin", "saturated-emitters")
"""The colours that a budget speaks of."""
RESIDUALS: Final = ("residual-look", "residual-trims")


@dataclass(frozen=True)
class Judged:
    """What a lattice must be: an exact function with the colours and the light to judge it in."""

    baking: Baking

    @cached_property
    def exact(self) -> Callable[[Array], Array]:
        """Codes (n, 3) to what the lattice gives (n, 3), float64, without isolated upsets."""
        return steady(self.baking.exact)

    @cached_property
    def audited(self) -> Mapping[str, Audited]:
        """The audited sets of a certificate, with what the graph makes of them."""
        sets = audit_sets(self.baking.space, AUDIT_SEED)
        return {
            name: Audited(sets[name], self.exact(sets[name]), self.baking.light) for name in SETS
        }


@dataclass(frozen=True)
class Declared:
    """What a file of operations must be.

    Attributes
    ----------
    exact
        What it takes to what it gives, float64, shape (n, 3).
    colours
        Gives the sets it is measured on, as it takes them.
    light, signal
        What a viewer sees of what it gives, and the signal of that display.
    transforms
        Gives the operations that lookkit makes for it.
    """

    exact: Exact
    colours: Callable[[], Mapping[str, Array]]
    light: Light
    signal: Callable[[Array], Array]
    transforms: Callable[[], Sequence[OcioTransform]]


class Truths:
    """The parts of the graph of a folder's recipe, each made once.

    `same` says whether this version made the folder on this machine architecture: then figures
    that are measured again come out the same.
    """

    def __init__(self, look: Look, folder: Path, *, same: bool = False) -> None:
        self.look = look
        self.folder = folder
        self.same = same
        self._judged: dict[tuple[str, ...], Judged] = {}

    def chain(self, camera: str, output: str, scene: str | None = None) -> Judged:
        """Return everything from a camera's codes to an output's signal.

        Raises
        ------
        InputError
            If the recipe has no such camera, output or scene.
        """
        key = (camera, output, scene or "")
        if key not in self._judged:
            graph = self.look.graph
            chain = graph.chain(camera, output, scene)
            step, target = graph.decoding(camera, scene), graph.output(output)
            self._judged[key] = Judged(Baking.of(chain, step, target))
        return self._judged[key]

    def judged(self, entry: Mapping[str, Any]) -> Judged | None:
        """Return what a lattice declares to be, or None if its part is not known here.

        Raises
        ------
        InputError
            If its entry names a camera, output or scene that the recipe does not have.
        """
        part = entry.get("part")
        if part == "chain":
            return self.chain(*names(entry, ("camera", "output")))
        if part in RESIDUALS:
            return Judged(self._residual(entry).baking)
        if part == "lmt":
            return Judged(LookTransform(self.look, names(entry, ())[2]).baking())
        if part == "still":
            camera, _, scene = names(entry, ())
            _, target = stills.shown_on(self.look)
            chain = stills.chain(self.look, camera or None, scene)
            return Judged(
                Baking.of(chain, stills.decoding(self.look, camera or None, scene), target)
            )
        return None

    def curves(self, entry: Mapping[str, Any]) -> Exact | None:
        """Return what curves declare to be, or None if their part is not known here.

        Raises
        ------
        InputError
            As `judged`.
        """
        if entry.get("part") != "look-acescct":
            judged = self.judged(entry)
            return None if judged is None else judged.exact
        scene = names(entry, ())[2]
        steps = (*self.look.graph.trims(scene), *self.look.graph.look(scene))
        run = evaluator(steps)
        return lambda code: acescct.encode(run(acescct.decode(code)))

    def declared(self, entry: Mapping[str, Any]) -> Declared | None:
        """Return what a file of operations declares to be, or None if its part is not known here.

        Raises
        ------
        InputError
            If its entry names a camera, output or scene that the recipe does not have.
        """
        part = entry.get("part")
        if part in RESIDUALS:
            residual = self._residual(entry)
            return Declared(
                residual.exact,
                residual.colours,
                residual.light,
                residual.signal,
                lambda: residual.transforms(self.look.lattices),
            )
        file = self._file(entry)
        if file is None:
            return None
        known = self.look.lattices
        return Declared(
            file.exact, file.colours, file.light, file.signal, lambda: file.transforms(known)
        )

    def change(self, entry: Mapping[str, Any]) -> Change:
        """Return the change that a CDL or a residual is made for.

        Raises
        ------
        InputError
            If the recipe delivers none such.
        """
        wanted = str(entry.get("part", "")).partition("-")[2]
        _, _, scene = names(entry, ())
        for one in changes(self.look):
            if (one.part, one.scene) == (wanted, scene):
                return one
        raise InputError(f"the recipe delivers no {wanted!r} of scene {scene!r}")

    def _file(self, entry: Mapping[str, Any]) -> ClfFile | None:
        look, part = self.look, entry.get("part")
        if part == "look":
            return clf.look_file(look, names(entry, ())[2])
        if part == "input":
            camera, _, scene = names(entry, ("camera",))
            return clf.input_file(look, camera, scene)
        if part == "chain":
            return clf.chain_file(look, *names(entry, ("camera", "output")))
        if part == "output":
            _, output, scene = names(entry, ("output",))
            return clf.output_file(look, output, scene)
        return None

    def _residual(self, entry: Mapping[str, Any]) -> Residual:
        change = self.change(entry)
        correction = read_cc(self.folder / CDL_FOLDER / f"{change.stem}.cc")
        if min(*correction.slope, *correction.power, correction.saturation) <= 0.0:
            raise InputError(f"{change.stem}.cc: a CDL that nothing can undo")
        return Residual(self.look, change, correction, viewing_light(self.look, change))


def names(entry: Mapping[str, Any], needed: tuple[str, ...]) -> tuple[str, str, str | None]:
    """Return camera, output and scene of an entry; "" where none is needed."""
    found = {key: entry.get(key) for key in ("camera", "output", "scene")}
    for key, name in found.items():
        if name is None and key in needed:
            raise InputError(f"its entry names no {key}")
        if name is not None and not isinstance(name, str):
            raise InputError(f"its entry names a {key} that is no text")
    return found["camera"] or "", found["output"] or "", found["scene"]
