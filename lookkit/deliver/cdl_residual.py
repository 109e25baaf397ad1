"""ASC CDLs, and what completes them.

For the look, and for each scene that is delivered: the CDL that comes nearest, as .cc, and
together in one .ccc and one .cdl; and the residual, which takes what that CDL gives and makes the
rest of the look, as .cube and as CLF. So a colourist keeps ten numbers to turn. A scene's own
trims get the same, where it has any. Everything is in ACEScct, without clamps.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.interpolate import tetrahedral
from lookkit.accuracy.truth import Light
from lookkit.deliver import acescct
from lookkit.deliver.agreement import scene_colours
from lookkit.deliver.best_cdl import best_cdl
from lookkit.deliver.cdl import Correction, write_cdl
from lookkit.deliver.certified import certified
from lookkit.deliver.clf import clf_head, has_lattice, in_words, transforms_of, write_measured
from lookkit.deliver.clf_steps import clf_pieces
from lookkit.deliver.names import look_stem, shown_look
from lookkit.deliver.written import Job, Written
from lookkit.evaluate import evaluator
from lookkit.lower import Lattices
from lookkit.lutfile.clf_write import Clf, ClfHead
from lookkit.nodes.base import Op
from lookkit.piece import Piece
from lookkit.spaces.encodings import encoding
from lookkit.spaces.working import Array, OcioTransform

if TYPE_CHECKING:
    from lookkit.look import Look

FOLDER: Final = "cdl"
_NOTHING: Final = 0.01
"""Delta E 2000 of 99 % of pictures below which a CDL needs no residual."""


@dataclass(frozen=True)
class Change:
    """What a CDL is made for: all that a scene does to the light, or its trims alone."""

    stem: str
    part: str
    what: str
    steps: tuple[Op, ...]
    scene: str | None = None


@dataclass(frozen=True)
class Difference:
    """Delta E 2000 of pictures against the exact change."""

    mean: float
    p99: float

    def __str__(self) -> str:
        return f"mean {self.mean:.2f} / 99 % {self.p99:.2f}"


def changes(look: Look) -> list[Change]:
    """Return the look, and for each delivered scene its look and its trims."""
    found = []
    for scene in (None, *look.recipe.deliver.scenes):
        trims, steps = look.graph.trims(scene), look.graph.look(scene)
        stem, shown = look_stem(look, scene), shown_look(look, scene)
        found.append(Change(stem, "look", shown, (*trims, *steps), scene))
        if trims:
            what = f"the trims of {shown}, before the look"
            found.append(Change(f"{stem}_trims", "trims", what, trims, scene))
    return found


def jobs(look: Look) -> list[Job]:
    """Return one job per change, and one for the collections."""
    made: list[Correction] = []

    def one(change: Change) -> Job:
        def write(folder: Path) -> list[Written]:
            correction, written = write_change(look, change, folder)
            made.append(correction)
            return written

        return Job(f"cdl {change.stem}", write)

    def collections(folder: Path) -> list[Written]:
        paths = [folder / FOLDER / f"{look_stem(look)}{suffix}" for suffix in (".ccc", ".cdl")]
        for path in paths:
            write_cdl(made, path)
        note = "all of the .cc files in one"
        return [Written(path, "cdl", "cdl-collection", note=note) for path in paths]

    return [*(one(change) for change in changes(look)), Job("cdl collections", collections)]


def write_change(look: Look, change: Change, folder: Path) -> tuple[Correction, list[Written]]:
    """Write the CDL of a change and, where one is needed, its residual.

    Raises
    ------
    LookkitError
        If the disk fails.
    """
    place = folder / FOLDER
    place.mkdir(parents=True, exist_ok=True)
    light = viewing_light(look, change)
    correction = best_cdl(evaluator(change.steps), light, change.stem)

    code, aim = pictures(change)
    alone = difference(light, aim, correction.apply(code))
    figures = {"CDL alone mean": round(alone.mean, 4), "CDL alone 99 %": round(alone.p99, 4)}
    written: list[Written] = []
    if alone.p99 > _NOTHING:
        residual = Residual(look, change, correction, light)
        made = residual.baking.bake(acescct.SIZE, fit=look.recipe.deliver.fit)
        both = difference(light, aim, tetrahedral(made, np.clip(correction.apply(code), 0, 1)))
        figures |= {
            "CDL + residual mean": round(both.mean, 4), "CDL + residual 99 %": round(both.p99, 4),
        }  # fmt: skip
        told = figures_told(look, figures)
        written = [residual.write_cube(made, place, told), residual.write_clf(place)]
    told = figures_told(look, figures)
    correction = replace(correction, description=described(change, told))
    cc = place / f"{change.stem}.cc"
    write_cdl([correction], cc)
    note = f"{change.what}: the nearest CDL, in ACEScct, without clamps"
    cdl = Written(
        cc, "cdl", f"cdl-{change.part}", scene=change.scene, note=note,
        figures=figures, accuracy=(told,),
    )  # fmt: skip
    return correction, [cdl, *written]


def figures_told(look: Look, figures: Mapping[str, float]) -> str:
    """Return the figures of a CDL, and of its residual where it has one, in words."""
    where = look.graph.output(acescct.viewing_output(look)).name
    told = "; ".join(
        f"{what}: {Difference(figures[f'{what} mean'], figures[f'{what} 99 %'])}"
        for what in ("CDL alone", "CDL + residual")
        if f"{what} mean" in figures
    )
    needless = "" if "CDL + residual mean" in figures else ": no residual is needed"
    return f"{told} (Delta E 2000 of pictures, seen on {where}){needless}"


def described(change: Change, told: str) -> str:
    """Return what a CDL says of itself; `told` is of `figures_told`."""
    return f"{change.what}. In ACEScct, without clamps. {told}."


class Residual:
    """What is left of a change behind its CDL: ACEScct to ACEScct."""

    def __init__(self, look: Look, change: Change, correction: Correction, light: Light) -> None:
        self.look, self.change, self.correction = look, change, correction
        self.light = light
        self.part = f"residual-{change.part}"
        self.takes = f"ACEScct after the CDL {correction.id}"
        self.gives = f"ACEScct after {change.what}"
        self.baking = acescct.baking(self.exact, light, correction.apply, correction.undo)
        name, graph = acescct.viewing_output(look), look.graph
        self._changed = evaluator(change.steps)
        self._shown = evaluator((*graph.rendering(name, change.scene), *graph.output_steps(name)))

    def signal(self, code: Array) -> Array:
        """Return the signal of the display on which ACEScct codes are judged."""
        return self._shown(acescct.decode(code))

    def exact(self, code: Array) -> Array:
        """Return the change's code for a code that the CDL gave."""
        before = acescct.decode(self.correction.undo(code))
        return acescct.encode(self._changed(before))

    def write_cube(self, made: Array, place: Path, told: str) -> Written:
        """Write the lattice, and its certificate as read back."""
        look, change = self.look, self.change
        path = place / f"{change.stem}_residual_ACEScct_{acescct.SIZE}.cube"
        values = acescct.write_lattice(look, made, path, *self.head(told))
        found = certified(look.recipe.deliver, self.baking, values, path)
        note = f"{self.takes}, 0-1, in; {self.gives}, out"
        return Written(
            path, "cdl", self.part, None, None, change.scene, note,
            found.figures, (told,), found.over_budget,
        )  # fmt: skip

    def head(self, told: str) -> tuple[str, tuple[str, ...]]:
        """Return the title and the comments of the .cube; `told` is of `figures_told`."""
        return f"{self.change.what}: residual", (
            f"takes: {self.takes}", f"gives: {self.gives}", told,
        )  # fmt: skip

    def write_clf(self, place: Path) -> Written:
        """Write the CDL undone, and then the change's own steps."""
        look, change = self.look, self.change
        path = place / f"{change.stem}_residual_ACEScct.clf"
        clf, head, pieces = self.made(look.lattices)
        measured = write_measured(look, clf, path, head, self, lattices=has_lattice(pieces))
        note = f"{self.takes}, in; {self.gives}, out; {in_words(pieces)}"
        return Written(path, "cdl", self.part, None, None, change.scene, note, *measured)

    def made(self, known: Lattices) -> tuple[Clf, ClfHead, list[Piece]]:
        """Return the operations of the CLF, its head before it is measured, and their pieces.

        Parameters
        ----------
        known
            Where its lattices are made and kept.
        """
        pieces = clf_pieces(self.change.steps, known)
        head = clf_head(
            self.look, self.change.scene, self.takes, self.gives, in_words(pieces, steps=True)
        )
        return Clf(self._behind_the_cdl(pieces)), head, pieces

    def transforms(self, known: Lattices) -> list[OcioTransform]:
        """Return the operations of the CLF, as OpenColorIO has them."""
        return self._behind_the_cdl(clf_pieces(self.change.steps, known))

    def _behind_the_cdl(self, pieces: list[Piece]) -> list[OcioTransform]:
        space = encoding(acescct.SPACE)
        steps = transforms_of(pieces)
        return [undone(self.correction), *space.lower(), *steps, *space.lower_inverse()]

    def colours(self) -> dict[str, Array]:
        """Return the audited scenes as the CDL leaves them."""
        return {
            name: self.correction.apply(acescct.encode(light))
            for name, light in scene_colours().items()
        }


def undone(correction: Correction) -> OcioTransform:
    """Return the inverse of a no-clamp CDL."""
    from lookkit.spaces.ocio_ops import inverted

    return inverted(correction.transform())


def viewing_light(look: Look, change: Change) -> Light:
    """Return what a viewer sees of ACEScct codes: on the first output in SDR, or on any."""
    name = acescct.viewing_output(look)
    return acescct.viewed(look.graph.rendering(name, change.scene), look.graph.output(name))


def pictures(change: Change) -> tuple[Array, Array]:
    """Return the ACEScct codes of pictures, and what the change makes of them, (n, 3) each."""
    code = acescct.encode(scene_colours()["image-like"])
    return code, acescct.encode(evaluator(change.steps)(acescct.decode(code)))


def difference(light: Light, aim: Array, found: Array) -> Difference:
    """Return Delta E 2000 between two sets of ACEScct codes."""
    wrong = delta_e_2000(light.lab(aim), light.lab(found))
    return Difference(float(wrong.mean()), float(np.quantile(wrong, 0.99)))
