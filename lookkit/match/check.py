"""How far a recipe's cameras land from each other after match and look."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from lookkit.accuracy.difference import lab
from lookkit.errors import InputError, UnknownNameError
from lookkit.look import Look
from lookkit.match.consistency import Consistency, consistency
from lookkit.match.frames import Footage
from lookkit.match.make import Reading, main_reading, read_all
from lookkit.match.promise import promise_words
from lookkit.match.run import Settings, footage_of
from lookkit.matchfile.steps import Match
from lookkit.progress import Progress, silent
from lookkit.spaces import ranges
from lookkit.spaces.outputs import Output
from lookkit.spaces.working import Array

FEWEST = 12
"""Patches that all cameras must have seen."""


@dataclass(frozen=True)
class Checked:
    """The cameras compared in one light.

    `left_out` are the recipe's cameras of which nothing was seen; `matches` are those in use, each
    of which may promise what it misses by on other colours.
    """

    light: str
    scene: str | None
    consistency: Consistency
    left_out: tuple[str, ...] = ()
    matches: tuple[Match, ...] = ()

    def heading(self) -> str:
        """Return what was compared: light, scene and number of patches."""
        where = "without a scene" if self.scene is None else f"scene {self.scene}"
        light = f"light {self.light}, " if self.light else ""
        return f"{light}{where}, {self.consistency.count} patches of the chart"

    def text(self) -> str:
        """Return the matrix under a line that says what it is."""
        rest = f"\nnot compared: {', '.join(self.left_out)}" if self.left_out else ""
        return f"{self.heading()}\n{self.consistency.table()}{rest}{self._promises()}"

    def _promises(self) -> str:
        """Return what the matches promise on colours that are not the chart's."""
        lines = [
            f"  {one.file.camera}: {promise_words(one.one.statistics.promise)}"
            for one in self.matches
            if one.one.statistics.promise is not None
        ]
        if not lines:
            return ""
        return "\n".join(
            ["\nthe matches were fitted to these patches; on other colours of a scene, before the "
             "look, expect", *lines]
        )  # fmt: skip


def check_matches(look: Look, output: str | None = None) -> tuple[Checked, ...]:
    """Send the chart that each match was made from through the recipe, for each light.

    Every match file holds what its camera and the main camera saw. The colours are those that
    the fit saw too, so this shows that match and look hold together, not how the match
    does on other colours: the file's `left-out` says that.

    Parameters
    ----------
    output
        One of the recipe's outputs; default the first.

    Raises
    ------
    InputError
        If no camera has a match with a chart, or the recipe has no such output.
    """
    matches = [one for camera in look.cameras for one in look.recipe.matches_of(camera)]
    held = [one for one in matches if one.one.chart and one.file.reference in look.cameras]
    if not held:
        raise InputError(
            f"{look.source}: no camera has a match from a chart that the recipe's main camera "
            "saw too, expected one, or frames of the chart: --camera A:FRAMES --camera B:FRAMES"
        )
    lights = dict.fromkeys(one.one.light for one in held)
    return tuple(
        _of_light(look, light, [one for one in held if one.one.light == light], output)
        for light in lights
    )


def check_frames(
    cameras: Sequence[str],
    look: Look,
    *,
    scene: str | None = None,
    output: str | None = None,
    settings: Settings | None = None,
    progress: Progress = silent,
) -> Checked:
    """Send the chart as each camera shot it through the recipe, and compare.

    Parameters
    ----------
    cameras
        CAMERA:FRAMES of each of the recipe's cameras, the chart in the same light.
    scene
        One of the recipe's scenes; it picks the match.
    output
        One of the recipe's outputs; default the first.

    Raises
    ------
    InputError
        If a chart is not found, or a camera, scene or output is not in the recipe.
    """
    settings = settings or Settings()
    if scene is not None and scene not in look.scenes:
        raise UnknownNameError("scene", scene, look.scenes)
    read: dict[str, tuple[Footage, Reading]] = {}
    for text in cameras:
        footage = footage_of([text], look, settings, progress, [])
        if footage.camera in read:
            raise InputError(f"camera {footage.camera} is given twice")
        if footage.main.stops:
            raise InputError(f"{text!r}: a check takes main exposures only, without @STOPS")
        read[footage.camera] = footage, main_reading(read_all(footage, progress))
    usable = np.logical_and.reduce([reading.usable for _, reading in read.values()])
    codes = {
        camera: _as_recipe(look, footage, reading.patches.codes[usable])
        for camera, (footage, reading) in read.items()
    }
    return _compared(look, codes, "", scene, output)


def _as_recipe(look: Look, footage: Footage, codes: Array) -> Array:
    """Return codes of frames on the scale on which the recipe reads the camera's files."""
    step = look.graph.input_transform(footage.camera)
    span = footage.range or footage.exposures[0].range or step.signal_range
    bits = step.bits or step.encoding.bits
    return ranges.convert(codes, span, step.signal_range, bits)


def _of_light(look: Look, light: str, held: Sequence[Match], output: str | None) -> Checked:
    scenes = [scene for scene in look.scenes if _takes(look, held, scene)]
    scene = scenes[0] if scenes else None
    if scene is None and not _takes(look, held, None):
        raise InputError(
            f"{look.source}: no scene takes the match for the light {light!r}, expected one with "
            f'light = "{light}"'
        )
    common = set.intersection(*(set(one.one.chart.patches) for one in held if one.one.chart))
    codes: dict[str, Array] = {}
    for one in held:
        chart = one.one.chart
        if chart is None:
            continue
        rows = [place for place, number in enumerate(chart.patches) if number in common]
        seen = np.array(chart.camera).reshape(-1, 3)[rows]
        scene_light = np.array(chart.reference).reshape(-1, 3)[rows]
        step = look.graph.input_transform(one.file.camera)
        if one.one.curve is None:
            codes[one.file.camera] = step.inverse(seen)
        else:
            bits = step.bits or step.encoding.bits
            codes[one.file.camera] = ranges.convert(seen, "full", step.signal_range, bits)
        main = look.graph.input_transform(one.file.reference)
        codes.setdefault(one.file.reference, main.inverse(scene_light))
    ordered = {camera: codes[camera] for camera in look.cameras if camera in codes}
    return _compared(look, ordered, light, scene, output)


def _takes(look: Look, held: Sequence[Match], scene: str | None) -> bool:
    """Whether a scene was taken by all the cameras of some matches, and takes these."""
    took = look.recipe.cameras_of(scene)
    return all(
        one.file.camera in took
        and one.file.reference in took
        and look.recipe.match_of(one.file.camera, scene) == one
        for one in held
    )


def _compared(
    look: Look, codes: dict[str, Array], light: str, scene: str | None, output: str | None
) -> Checked:
    if not look.outputs:
        raise InputError(f"{look.source}: the recipe has no output, expected at least one")
    count = min((len(one) for one in codes.values()), default=0)
    if count < FEWEST:
        raise InputError(f"only {count} of 24 patches are usable in all cameras' frames")
    name = output or look.outputs[0]
    chains = {
        camera: partial(look.evaluate, camera=camera, output=name, scene=scene) for camera in codes
    }
    found = consistency(codes, chains, _seen_on(look.graph.output(name)))
    took = look.recipe.cameras_of(scene)
    used = [look.recipe.match_of(camera, scene) for camera in codes]
    return Checked(
        light,
        scene,
        found,
        tuple(one for one in took if one not in codes),
        tuple(one for one in used if one is not None),
    )


def _seen_on(display: Output) -> Callable[[Array], Array]:
    """From a display's signal to L*a*b*, against its paper white."""
    to_xyz = 100.0 * display.limiting.to_xyz()
    white = display.reference_white / 100.0 * to_xyz.sum(axis=1)

    def seen(signal: Array) -> Array:
        return lab(display.decode(signal) @ to_xyz.T, white)

    return seen
