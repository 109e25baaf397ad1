"""README.txt: who needs which file; ACCURACY.txt: what goes in, comes out, how exact it is."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lookkit.deliver.cube import scenes_of
from lookkit.deliver.names import camera_stem
from lookkit.deliver.written import Written
from lookkit.files import safe_name
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

RECIPIENTS: Final = {
    "cube": ("Editor, monitor", "cube/CAMERA/: the .cube of your camera, scene and display."),
    "config": ("Compositing, review", "ocio/: config.ocio with luts/, or config.ocioz alone."),
    "clf": (
        "Colourist",
        "clf/: the look; clf/CAMERA/: _input before it, each output behind it. Load the three.",
    ),
    "clf-chain": (
        "Colourist, for one file",
        "clf/CAMERA/: the camera's codes through the look to an output.",
    ),
    "cdl": (
        "Colourist, for numbers to turn",
        "cdl/: the nearest ASC CDL in ACEScct, and the residual behind it.",
    ),
    "stills": (
        "Stills photographer",
        "stills/: a 3D LUT as a picture, for finished sRGB photographs; no ICC profile.",
    ),
    "aces": (
        "Finishing in ACES",
        "aces/: the look (_lmt) before the ACES 2 output.",
    ),
    "report": ("Everybody", "report.html: the look in curves and colours{sheet}."),
    "amf": (
        "Finishing in ACES",
        "*.amf: which files of clf/ make each picture.",
    ),
}
"""For each format: who needs it, and what it is, in a line."""
SHEET: Final = "; sheet.png: frames"
"""What is added to the report's line where there is a sheet."""

CAUTIONS: Final = (
    "Full-range files in legal-range paths, or the reverse, are the commonest fault: check with a",
    "  ramp before you trust a monitor. A viewing LUT is no exposure meter: expose by the camera's",
    "  own measures. For broadcast, the delivery specification decides about levels.",
)
_MOST: Final = 16
"""Rows of cameras and scenes in README.txt; with more of them, 40 lines would not do."""


def readme(look: Look, written: Sequence[Written]) -> str:
    """Return the text for a hand-off that holds the files `written`: at most 40 lines.

    How exact each file is stands in ACCURACY.txt (`certificates`).
    """
    recipe = look.recipe
    present = {one.format for one in written}
    sheet = SHEET if any(one.path.name == "sheet.png" for one in written) else ""
    lines = [f"{recipe.name}, version {recipe.version}, for {recipe.show}", ""]
    lines += ["Which files for which shot (their names go on with the output):"]
    lines += _table(look)
    lines += [
        "",
        "Use one way alone: a .cube, the config, CLF, or a CDL with its residual.",
        *_texture(look),
        "",
    ]
    for name, (who, text) in RECIPIENTS.items():
        if name in present:
            lines.append(f"{who}: {text.format(sheet=sheet)}")
    lines += [
        "Everybody: recipe.toml is the look itself, as text; ACCURACY.txt says how exact each",
        "  file is, and what goes in and comes out; manifest.json has every file's hash.",
        "",
        *CAUTIONS,
        f"Made by lookkit {__version__}.",
    ]
    return "\n".join([*lines, ""])


def _texture(look: Look) -> list[str]:
    """Return what is said of a texture, which no file here but a sheet of frames can carry."""
    if not any(look.has_texture(name) for name in look.outputs):
        return []
    return [
        "The look has a texture: halation, softness, grain. No LUT, CLF, CDL or config carries it:",
        "  `lookkit apply` draws it, `lookkit texture recipe.toml` makes a plate of its grain.",
    ]


def _table(look: Look) -> list[str]:
    """Return a line for each camera and scene.

    Where these are too many, a line for each scene; where scenes are too, how names are made.
    """
    rows = []
    for camera in look.cameras:
        linear = look.graph.input_transform(camera).encoding.scene_linear
        for scene in scenes_of(look, camera):
            stem = camera_stem(look, camera, scene)
            where = "ocio/ alone (scene-linear)" if linear else f"{stem}_to_*"
            rows.append((f"camera {camera}, {scene or 'any other scene'}", where))
    scenes = look.recipe.deliver.scenes
    if len(rows) > _MOST:
        rows = [(f"{len(look.cameras)} cameras, any other scene", "CAMERA_ENCODING_..._to_*")]
        rows += [(f"scene {scene}", f"CAMERA_{safe_name(scene)}_..._to_*") for scene in scenes]
    if len(rows) > _MOST:
        rows[1:] = [(f"any of {len(scenes)} scenes", "CAMERA_SCENE_..._to_*")]
    wide = max(len(what) for what, _ in rows)
    return [f"  {what:{wide}}  {where}" for what, where in rows]


def certificates(look: Look, folder: Path, written: Sequence[Written]) -> str:
    """Return every file of the hand-off with what it takes, gives, and how exact it is."""
    recipe = look.recipe
    lines = [f"{recipe.name}, version {recipe.version}, for {recipe.show}", ""]
    for camera in look.cameras:
        step = look.graph.input_transform(camera)
        lines.append(f"Camera {camera}: {step.encoding.name}, {step.signal_range} range.")
        if step.encoding.scene_linear:
            lines.append("  Scene-linear: only through the OCIO config, no .cube can carry it.")
        lines += _files(folder, [one for one in written if one.camera == camera])
        lines.append("")
    rest = [one for one in written if one.camera is None]
    if rest:
        lines += ["For all cameras", *_files(folder, rest), ""]
    return "\n".join(lines)


def _files(folder: Path, written: Sequence[Written]) -> list[str]:
    lines = []
    for one in written:
        lines.append(f"  {one.path.relative_to(folder).as_posix()}")
        lines += [f"    {line}" for line in map(one_line, (one.note, *one.accuracy)) if line]
    return lines


def one_line(text: str) -> str:
    """Return a text on one line: names of a recipe may hold any sign that ends one."""
    return " ".join(text.split())
