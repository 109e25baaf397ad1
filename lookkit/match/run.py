"""The match command's whole job: frames by name in, files out, all or nothing."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np

from lookkit.errors import InputError, LookkitError, UnknownNameError
from lookkit.files import check_writable, safe_name
from lookkit.look import Look
from lookkit.match import charts
from lookkit.match.find import SMALLEST
from lookkit.match.fit import Stage
from lookkit.match.frames import Footage, carried, parse_frames, read_exposure
from lookkit.match.light import with_scene
from lookkit.match.make import DEFAULT_LIGHT, Matched, main_reading, match_charts
from lookkit.match.paired import match_frames
from lookkit.match.report import write_json, write_page, write_patches
from lookkit.matchfile.model import UNKNOWN, MatchFile
from lookkit.progress import Progress, silent
from lookkit.recipe.load import read_recipe
from lookkit.recipe.match_file import read_match, write_match
from lookkit.recipe.write import toml_value
from lookkit.spaces.encodings import Encoding, encoding
from lookkit.spaces.ranges import RANGES, SignalRange

CHART: Final = "chart:"


@dataclass(frozen=True)
class Settings:
    """What is known of the cameras besides their frames; every mapping is by camera.

    Attributes
    ----------
    encodings
        Names of encodings, or "unknown"; they come before the recipe's.
    ranges
        "full" or "legal".
    corners
        Eight numbers: x and y of the four corners in turn.
    crops
        x, y, width, height.
    """

    encodings: Mapping[str, str] = field(default_factory=dict)
    ranges: Mapping[str, str] = field(default_factory=dict)
    corners: Mapping[str, Sequence[float]] = field(default_factory=dict)
    crops: Mapping[str, Sequence[float]] = field(default_factory=dict)


@dataclass(frozen=True)
class Written:
    """What was made, and the files that were written."""

    made: Matched
    file: MatchFile
    files: tuple[Path, ...]
    notes: tuple[str, ...]


def load_cameras(path: Path) -> Look:
    """Load a recipe for what it says of its cameras; the matches it names need not be there yet.

    Raises
    ------
    InputError, RecipeError
        As `lookkit.load`.
    """
    recipe, text = read_recipe(path, matches=False)
    return Look(recipe, text, str(path))


def make_match(
    reference: Sequence[str],
    camera: Sequence[str],
    target: Path,
    *,
    look: Look | None = None,
    settings: Settings | None = None,
    light: str | None = None,
    scene: str | None = None,
    scene_frames: Sequence[str] = (),
    chart: bool = True,
    stage: Stage = "auto",
    hold_white: bool = False,
    progress: Progress = silent,
) -> Written:
    """Match a camera and write the match file, its report and what was sampled.

    Parameters
    ----------
    reference, camera
        CAMERA:FRAMES[@STOPS], once for each exposure; `reference` may be chart:EDITION.
    target
        The match file. If it exists and belongs to the same two cameras, the light is
        added to it (or takes the place of the same light's old match).
    look
        Whose cameras say how the frames are encoded.
    light
        The name of the light; default that of the scene, else "main".
    scene
        The recipe's scene in whose light the frames were shot.
    scene_frames
        CAMERA:FRAME of both cameras, frames of the scene itself, to check the light on.
    chart
        False matches frames of any scene.

    Raises
    ------
    InputError
        With what is wrong; nothing is written.
    """
    settings = settings or Settings()
    notes: list[str] = []
    if target.suffix.lower() != ".toml":
        raise InputError(f"{target}: expected a name that ends with .toml")
    check_writable(target)
    light = _light_name(light, scene, look)
    theirs = footage_of(camera, look, settings, progress, notes)
    edition = _edition(reference)
    main = edition or footage_of(reference, look, settings, progress, notes, main=True)
    _all_used(settings, theirs, main)
    old = _old_match(target, theirs, main)
    frames = _scene_frames(scene_frames, main, theirs, look, settings, progress)
    if chart:
        made = match_charts(
            main, theirs, light=light, stage=stage, hold_white=hold_white, progress=progress
        )
    elif isinstance(main, str):
        raise InputError("a published chart cannot be matched to without a chart in the frames")
    else:
        made = match_frames(main, theirs, light=light, progress=progress)
    if frames is not None:
        progress("comparing the scene", 0, 1)
        made = with_scene(made, *frames)
    file = old.with_light(made.file.lights[0]) if old is not None else made.file
    written = _write(made, file, target, notes)
    if look is not None:
        notes += _still_to_do(look, file, target, light)
    return Written(made, file, written, tuple(notes))


def _light_name(light: str | None, scene: str | None, look: Look | None) -> str:
    """Return the light's name as the match file will have it."""
    if scene is None:
        return light or DEFAULT_LIGHT
    if look is None:
        raise InputError(f"scene {scene!r} is a scene of a recipe: name the recipe too")
    if scene not in look.scenes:
        raise UnknownNameError("scene", scene, look.scenes)
    own = look.recipe.light_of(scene)
    if own is None and light is None:
        raise InputError(
            f"{look.source}: scene {scene!r} names no light, expected one: light = 3200 (kelvin), "
            '"daylight", or a name of yours'
        )
    if light is not None and own is not None and light != own:
        raise InputError(f"the light of scene {scene!r} is {own}, not {light}")
    return light or str(own)


def _still_to_do(look: Look, file: MatchFile, target: Path, light: str) -> list[str]:
    """Return what the recipe has to say so that it uses the match."""
    recipe, camera = look.recipe, file.camera
    named = recipe.cameras[camera].match or ()
    names = (named,) if isinstance(named, str) else named
    todo = []
    if target.resolve() not in [(recipe.folder / name).resolve() for name in names]:
        place = os.path.relpath(target.resolve(), recipe.folder.resolve())
        todo.append(f"for {look.source}, in [cameras.{camera}]: match = {toml_value(place)}")
    took = [scene for scene in look.scenes if camera in recipe.cameras_of(scene)]
    lights = {recipe.light_of(scene) for scene in took}
    if took and light not in lights and (lights != {None} or len(file.lights) > 1):
        todo.append(
            f"for {look.source}, in the scene of this light: light = {toml_value(light)}; no scene "
            "has it yet"
        )
    return todo


def _edition(reference: Sequence[str]) -> str | None:
    names = [text[len(CHART) :] for text in reference if text.startswith(CHART)]
    if not names:
        return None
    if len(reference) > 1:
        raise InputError("the reference is either a published chart or a camera, not both")
    return charts.edition(names[0]).name


def footage_of(
    texts: Sequence[str],
    look: Look | None,
    settings: Settings,
    progress: Progress,
    notes: list[str],
    *,
    main: bool = False,
) -> Footage:
    """Read the exposures of one camera; the `main` camera's encoding is taken as it is told."""
    parsed = [parse_frames(text) for text in texts]
    names = sorted({camera for camera, _, _ in parsed})
    if len(names) != 1:
        raise InputError(
            f"frames of {len(names)} cameras ({', '.join(names)}) where one camera is expected"
        )
    camera = names[0]
    known, span, bits = _how_encoded(camera, look, settings, notes, main)
    corners = settings.corners.get(camera)
    if corners is not None and len(corners) != 8:
        raise InputError(f"corners of camera {camera}: {len(corners)} numbers, expected 8")
    crop = settings.crops.get(camera)
    if crop is not None and len(crop) != 4:
        raise InputError(f"crop of camera {camera}: {len(crop)} numbers, expected 4")
    for what, numbers in (("corners", corners), ("crop", crop)):
        if numbers is not None and not np.isfinite(numbers).all():
            raise InputError(f"{what} of camera {camera}: {list(numbers)}, expected finite numbers")
    exposures = tuple(read_exposure(paths, stops, progress) for _, paths, stops in parsed)
    for one in exposures:
        height, width = one.picture.shape[:2]
        if min(height, width) < SMALLEST:
            raise InputError(
                f"camera {camera}: {one.files[0]} has {width} x {height} pixels, expected at "
                f"least {SMALLEST} x {SMALLEST}"
            )
        if span is not None and one.range not in (None, span):
            notes.append(
                f"camera {camera}: {one.files[0]} says {one.range} range, but is read as {span}, "
                "as told"
            )
    reduced = exposures[0].reduced
    if reduced > 1:
        notes.append(
            f"camera {camera}: its frames are read small, {reduced} x {reduced} of their pixels as "
            "one: that is enough for a chart"
        )
    read_as = span or known.native_range if known is not None else span
    exposures = tuple(
        carried(one, read_as, bits or (known.bits if known is not None else None))
        for one in exposures
    )
    return Footage(
        camera,
        exposures,
        known,
        span,
        bits,
        None if corners is None else np.array(corners, dtype=np.float64).reshape(4, 2) / reduced,
        None if crop is None else _int_crop(crop, reduced),
    )


def _int_crop(crop: Sequence[float], reduced: int) -> tuple[int, int, int, int]:
    """Return the crop in pixels of a picture that was reduced."""
    x, y, wide, high = (int(one) // reduced for one in crop)
    return x, y, wide, high


def _how_encoded(
    camera: str, look: Look | None, settings: Settings, notes: list[str], main: bool
) -> tuple[Encoding | None, SignalRange | None, int | None]:
    """Return the encoding (None: unknown, a consumer gamma), and the range and bits if told."""
    known: Encoding | None = None
    span: SignalRange | None = None
    bits: int | None = None
    given = settings.encodings.get(camera)
    if given is not None:
        known = None if given == UNKNOWN else encoding(given)
    elif look is not None:
        if camera not in look.cameras:
            raise UnknownNameError("camera", camera, look.cameras)
        known = look.recipe.encoding_of(camera)
        chosen = look.recipe.cameras[camera]
        span, bits = chosen.range, chosen.bits
        if not main and not known.is_log and not known.scene_linear:
            notes.append(
                f"camera {camera}: {known.name} is only the start, the match finds the curve"
            )
            span, bits = span or known.native_range, bits or known.bits
            known = None
    told = settings.ranges.get(camera)
    if told is not None:
        if told not in RANGES:
            raise InputError(f"range of camera {camera}: {told!r}, expected 'full' or 'legal'")
        span = "full" if told == "full" else "legal"
    return known, span, bits


def _all_used(settings: Settings, theirs: Footage, main: Footage | str) -> None:
    names = {theirs.camera} | (set() if isinstance(main, str) else {main.camera})
    tables = (
        ("an encoding", settings.encodings),
        ("a range", settings.ranges),
        ("corners", settings.corners),
        ("a crop", settings.crops),
    )
    for what, table in tables:
        for camera in table:
            if camera not in names:
                listing = ", ".join(sorted(names))
                raise InputError(f"{what} is given for camera {camera}, but not its frames "
                                 f"(cameras: {listing})")  # fmt: skip


def _old_match(target: Path, theirs: Footage, main: Footage | str) -> MatchFile | None:
    """Return the match file that is there already, if the new light may join it."""
    if not target.exists():
        return None
    old = read_match(target)
    reference = f"chart {main}" if isinstance(main, str) else main.camera
    if (old.camera, old.reference) != (theirs.camera, reference):
        raise InputError(
            f"{target}: holds the match of camera {old.camera} to {old.reference}, and is left "
            "as it is; name another file"
        )
    if old.encoding != theirs.encoding_name:
        raise InputError(
            f"{target}: was made for encoding {old.encoding!r}, camera {theirs.camera} now has "
            f"{theirs.encoding_name!r}; name another file"
        )
    if theirs.encoding is None and (old.range, old.bits) != (theirs.signal_range, theirs.depth):
        raise InputError(
            f"{target}: was made for {old.bits}-bit {old.range}-range frames, these are "
            f"{theirs.depth}-bit {theirs.signal_range}-range; name another file"
        )
    return old


def _scene_frames(
    scene: Sequence[str],
    main: Footage | str,
    theirs: Footage,
    look: Look | None,
    settings: Settings,
    progress: Progress,
) -> tuple[Footage, Footage] | None:
    if not scene:
        return None
    if isinstance(main, str):
        raise InputError("a scene is compared between two cameras, not with a published chart")
    frames = {parse_frames(text)[0]: text for text in scene}
    if set(frames) != {main.camera, theirs.camera} or len(scene) != 2:
        raise InputError(
            f"the scene needs one frame of camera {main.camera} and one of camera {theirs.camera}"
        )
    plain = Settings(settings.encodings, settings.ranges)
    ours, others = (
        footage_of([frames[one.camera]], look, plain, progress, [], main=one is main)
        for one in (main, theirs)
    )
    return ours, others


def _write(made: Matched, file: MatchFile, target: Path, notes: list[str]) -> tuple[Path, ...]:
    """Write everything; the match itself last, so that it is never there without the rest."""
    name = target.stem.removesuffix(".match")
    light = safe_name(made.file.lights[0].light)
    base = target.with_name(f"{name}-{light}")
    files = []
    if made.camera:
        sides = [(made.file.camera, made.camera), (made.file.reference, made.reference)]
        for camera, readings in sides:
            if readings:
                path = base.with_name(f"{base.name}-patches-{safe_name(camera)}.png")
                write_patches(main_reading(readings), path)
                files.append(path)
    page = base.with_name(f"{base.name}.png")
    try:
        write_page(made, page)
        files.append(page)
    except LookkitError as error:
        notes.append(str(error))
    data = base.with_name(f"{base.name}.json")
    write_json(made, data)
    write_match(file, target)
    return (*files, data, target)
