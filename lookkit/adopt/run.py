"""Adopting a look: from a LUT to a recipe, with what it says of itself."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.adopt.between import Shown
from lookkit.adopt.checks import (
    grey_warnings,
    is_grey_only,
    mix_warnings,
    range_warnings,
    refuse_what_is_no_look,
)
from lookkit.adopt.colours import Asked, fitted_colours, judged_colours, left_out
from lookkit.adopt.digits import Digits, digits_of
from lookkit.adopt.grow import WORTH, Error, Grown, Task, error_of, grown
from lookkit.adopt.remainder import WIDE, Remainder, remainder_of
from lookkit.adopt.solve import Solved, Wanted
from lookkit.adopt.source import Source, open_source
from lookkit.adopt.text import REMAINDER_SAYS, recipe_text
from lookkit.errors import InputError
from lookkit.evaluate import Runner
from lookkit.files import check_new, write_beside
from lookkit.look import Look, loads
from lookkit.lutfile.cube import write_cube
from lookkit.progress import Progress, silent
from lookkit.spaces.encodings import Encoding
from lookkit.spaces.outputs import Output
from lookkit.spaces.outputs import output as named
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.working import Array

CAMERA: Final = "source"
OUTPUT: Final = "main"
_SEEN: Final = 0.05
"""What a remainder must better at least, in Delta E: less is never seen."""
_FAR: Final = 3.0
"""Delta E of a mean above which a recipe is not the look."""


@dataclass(frozen=True, eq=False)
class Adopted:
    """A look as a recipe.

    Attributes
    ----------
    recipe
        Where it was written.
    look
        The recipe, loaded again from its text.
    bare
        The same without the remainder.
    nodes, whole
        How far it is from the source without and with the remainder, on colours that no fit has
        seen; `whole` is None where there is no remainder.
    open
        How far the source's own two common readings lie apart on the same colours.
    told
        What the user should know.
    """

    recipe: Path
    look: Look
    bare: Look
    source: Source
    nodes: Error
    whole: Error | None
    open: Error
    steps: int
    told: tuple[str, ...]
    grey_only: bool = False


def adopt_lut(
    path: str | os.PathLike[str],
    target: str | os.PathLike[str],
    *,
    camera: str,
    shown: str,
    camera_range: SignalRange | None = None,
    shown_range: SignalRange | None = None,
    nodes_only: bool = False,
    progress: Progress = silent,
) -> Adopted:
    """Write a recipe that does what a LUT does, from steps that one can read and change.

    Parameters
    ----------
    path
        The LUT, of any format that `lookkit inspect` reads.
    target
        The recipe to write. One that is there already is left as it is.
    camera, shown
        The encoding that the LUT takes and the output that it is for: they cannot be seen in it.
    camera_range, shown_range
        The ranges of both; None is that of the encoding or the output.
    nodes_only
        Leave out the remainder, the `lut` step for what the other steps cannot say.

    Raises
    ------
    InputError
        If the LUT or a name cannot be used, it is no look, or `target` is there already.
    """
    place = Path(target)
    check_new(place)
    if not nodes_only and beside_name(place).exists():
        raise InputError(f"{beside_name(place)}: is there already; name another recipe (-o)")
    source = open_source(path, camera, shown, camera_range, shown_range)
    asked = fitted_colours(source)
    refuse_what_is_no_look(source, asked)
    told = [*grey_warnings(source), *range_warnings(source), *mix_warnings(source)]
    grey_only = is_grey_only(asked)
    if grey_only:
        told.append("the LUT shows no colour: the recipe is black and white")
    task = task_for(source, asked, grey_only)
    fit, task = grown(task, progress)
    digits = rounded(task, fit)
    judged = judged_colours(source)
    steps, rendering = fit.found.chain.tables(fit.found.values, digits)
    tables = tables_of(source.camera, source.camera_range, source.shown)

    def written(lines: list[str], remainder: dict[str, Any] | None, says: str) -> str:
        return recipe_text(
            source.path.stem, {CAMERA: tables[0]}, tables[1], steps, rendering,
            fit.found.chain.parts, lines, remainder, says,
        )  # fmt: skip

    bare = loads(written([], None, ""))
    nodes = _measured(bare, judged, source)
    open_ = open_error(source, judged)
    lines = [
        f"Made by lookkit adopt from {source.path.name}, taken as a look from "
        f"{source.camera.name} to {source.shown.name}.",
        f"Delta E 2000 from it on colours of pictures that the fit has not seen: {nodes}.",
    ]
    made = None if nodes_only else _worthy(source, bare, task, progress)
    whole = None
    if made is not None:
        whole = _measured_behind(bare, made, judged, source)
        lines[-1] = f"{lines[-1][:-1]} without the first step, {whole} with it."
    if (whole or nodes).mean > _FAR:
        told.append(
            f"the recipe is far from the LUT ({whole or nodes}): it is no look that these steps "
            "can say, or not one for the encoding, the output and the ranges that were given"
        )
    lines.append(f"The source's own two common readings lie apart by {open_}.")
    table = {"kind": "lut", "id": "remainder", "file": beside_name(place).name,
             "expects": WIDE, "returns": WIDE}  # fmt: skip
    text = written(lines, table if made is not None else None, REMAINDER_SAYS)
    if made is not None:
        write_cube(
            beside_name(place), made.lattice, title=f"{source.path.stem}, remainder",
            comments=[f"moves codes of {WIDE} before the steps of {place.name}"],
        )  # fmt: skip
    look = written_recipe(place, text, told)
    return Adopted(
        place, look, bare, source, nodes, whole, open_, len(steps) + 1, tuple(told), grey_only
    )


def beside_name(place: Path) -> Path:
    """Return where the remainder of a recipe lies."""
    return place.with_name(f"{place.stem}-remainder.cube")


def _steps_of(look: Look) -> Shown:
    """Return what the steps behind the camera's decoding make of scene light."""
    runner = Runner(look.graph.chain(CAMERA, OUTPUT)[1:])
    return lambda scene: runner.run(scene).astype(np.float64)


def _worthy(source: Source, bare: Look, task: Task, progress: Progress) -> Remainder | None:
    """Return the remainder where it betters the colours left out by what is worth a step."""
    shown = _steps_of(bare)
    task = (task.nearer(shown) if task.between is not None else None) or task

    def error(scene: Array) -> Error:
        return error_of(delta_e_2000(source.light.lab(shown(scene)), task.tried.lab))

    before = error(task.tried.scene)
    least = max(WORTH * before.score, task.fine, _SEEN)
    if before.score <= least:
        return None
    made = remainder_of(source, shown, progress, task.between)
    if made is None or before.score - error(made.moved(task.tried.scene)).score <= least:
        return None
    return made


def _measured_behind(look: Look, remainder: Remainder, judged: Asked, source: Source) -> Error:
    shown = _steps_of(look)(remainder.moved(judged.scene))
    return error_of(delta_e_2000(source.light.lab(shown), judged.lab))


def task_for(source: Source, asked: Asked, grey_only: bool) -> Task:
    """Return what a fit to a source has to meet."""
    near = asked.only(asked.near_grey)
    tried = left_out(source)
    return Task(
        Wanted(asked.scene, asked.lab, source.light),
        Wanted(near.scene, near.lab, source.light),
        tried, source.light, source.shown, grey_only, open_error(source, tried), source,
    )  # fmt: skip


def open_error(source: Source, asked: Asked) -> Error:
    """Return how far the source's two common readings lie apart."""
    other = source.signal(asked.code, "trilinear")
    return error_of(delta_e_2000(source.light.lab(other), asked.lab))


def rounded(task: Task, fit: Grown) -> Digits:
    """Return how many decimals each number needs."""
    for more in (0, 1, 2):
        digits = digits_of(fit.found, more)
        rounded = _error_rounded(task, fit.found, digits)
        if rounded is not None and rounded.score <= 1.02 * fit.error.score + 0.01:
            return digits
    return {}


def _error_rounded(task: Task, found: Solved, digits: Digits) -> Error | None:
    numbers = [(part, one) for part in found.chain.parts for one in part.numbers]
    values = np.array([
        round(float(value), digits[part.step][one.name])
        for value, (part, one) in zip(found.values, numbers, strict=True)
    ])  # fmt: skip
    try:
        return task.error_with(found.chain, values)
    except ValueError:
        return None


def _measured(look: Look, judged: Asked, source: Source) -> Error:
    return error_of(difference(look, judged, source))


def difference(look: Look, judged: Asked, source: Source) -> Array:
    """Return Delta E 2000 between a recipe and its source at some colours, shape (n,)."""
    made = look.evaluate(judged.code, camera=CAMERA, output=OUTPUT)
    return delta_e_2000(source.light.lab(made), judged.lab)


def tables_of(
    takes: Encoding, way: SignalRange | None, shown: Output
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the tables of a camera, with its range where one was given, and of an output."""
    camera: dict[str, Any] = {"encoding": takes.name}
    if way is not None:
        camera["range"] = way
    output: dict[str, Any] = {"output": shown.name}
    if shown.range != named(shown.name).range:
        output["range"] = shown.range
    return camera, output


def written_recipe(place: Path, text: str, told: list[str]) -> Look:
    """Write a recipe and return its look; what its steps warn of is added to `told`."""
    with write_beside(place) as beside:
        beside.write_text(text, encoding="utf-8", newline="\n")
    look = loads(text, folder=place.parent)
    for node in (*look.recipe.look, look.recipe.rendering):
        told += [f"{node.label}: {one}" for one in node.warnings()]
    return look
