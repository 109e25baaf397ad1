"""The hand-off: one folder in which each recipient finds the file that fits."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from lookkit.deliver.config import write_config
from lookkit.deliver.cube import Baked, write_look_cube
from lookkit.errors import InputError
from lookkit.files import build_beside, safe_name
from lookkit.progress import Progress, silent
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

Size = Literal[17, 33, 65, "auto"]

FORMAT = 1
"""The version of the folder's layout, kept in its manifest."""


def handoff_name(look: Look) -> str:
    """Return the name of the folder: show, look and version."""
    recipe = look.recipe
    return f"{safe_name(recipe.show)}_{safe_name(recipe.name)}_v{recipe.version:03d}"


@dataclass(frozen=True)
class Handoff:
    """A written hand-off folder, and where its files exceed the default budget."""

    folder: Path
    over_budget: tuple[str, ...] = ()


def build(look: Look, into: Path, progress: Progress = silent) -> Handoff:
    """Write the hand-off folder below `into`.

    The folder appears under its name only when it is whole.

    Raises
    ------
    InputError
        If the recipe has no camera or no output, or the folder exists or cannot be written.
    LookkitError
        If the disk fails, a file exceeds the recipe's budget, or OpenColorIO refuses the
        config.
    """
    recipe = look.recipe
    if not recipe.cameras or not recipe.outputs:
        what = "cameras" if not recipe.cameras else "outputs"
        raise InputError(f"{look.source}: no {what}, expected at least one to build for")
    jobs = [(camera, *job) for camera in look.cameras for job in _cubes_of(look, camera)]
    total = len(jobs) + 2
    with build_beside(into / handoff_name(look)) as folder:
        baked: list[Baked] = []
        for done, (camera, output, size, scene) in enumerate(jobs):
            progress(f"cube {camera} to {output}", done, total)
            place = folder / "cube" / safe_name(camera)
            place.mkdir(parents=True, exist_ok=True)
            baked.append(write_look_cube(look, camera, output, size, place, scene))
        if recipe.deliver.config:
            progress("OCIO config", len(jobs), total)
            write_config(look, folder / "ocio")
        progress("manifest", total - 1, total)
        (folder / "recipe.toml").write_text(look.text, encoding="utf-8")
        (folder / "README.txt").write_text(_readme(look, folder, baked), encoding="utf-8")
        _write_manifest(look, folder)
        progress("done", total, total)
    over = [f"{one.path.name}: {text}" for one in baked for text in one.over_budget]
    return Handoff(into / handoff_name(look), tuple(over))


def _cubes_of(look: Look, camera: str) -> list[tuple[str, Size, str | None]]:
    """Return output, size and scene of each .cube of a camera: what the recipe asks for."""
    recipe = look.recipe
    if look.graph.input_transform(camera).encoding.scene_linear:
        return []
    scenes = [scene for scene in recipe.deliver.scenes if camera in recipe.cameras_of(scene)]
    return [
        (output, size, scene)
        for scene in (None, *scenes)
        for output in look.outputs
        for size in recipe.deliver.sizes
    ]


def _accuracy(one: Baked) -> list[str]:
    """Return how exact a file is, in a line for each kind of reader."""
    if one.certificate is None:
        return []
    lines = []
    for reading in one.certificate.readings:
        pictures = reading.sets["image-like"].delta_e_2000
        lights = reading.sets["saturated-emitters"].delta_e_2000
        lines.append(
            f"    read {reading.reader}: pictures Delta E 2000 mean {pictures.mean:.2f}, 99.9 % "
            f"{pictures.p999:.2f}; coloured lights 99 % {lights.p99:.2f}"
        )
    return lines


def _readme(look: Look, folder: Path, baked: Sequence[Baked]) -> str:
    recipe = look.recipe
    lines = [
        f"{recipe.name}, version {recipe.version}, for {recipe.show}",
        "",
        "cube/CAMERA/  one .cube per output: load the one of your camera and display.",
        "              Its name says encoding and range in, output and range out, and size.",
        "              Beside it (.txt, .json): how far it is from the exact look, and where.",
        "ocio/         an OCIO config (config.ocio with luts/, or config.ocioz alone).",
        "recipe.toml   the look itself, as text.",
        "",
    ]
    for camera in look.cameras:
        step = look.graph.input_transform(camera)
        lines.append(f"Camera {camera}: {step.encoding.name}, {step.signal_range} range.")
        if step.encoding.scene_linear:
            lines.append("  Scene-linear: only through the OCIO config, no .cube can carry it.")
        for one in baked:
            if one.path.parent == folder / "cube" / safe_name(camera):
                lines.append(f"  {one.path.relative_to(folder).as_posix()}")
                lines += _accuracy(one)
    lines += [
        "",
        "A full-range file in a legal-range path, or the reverse, is the commonest fault:",
        "check black and white with a ramp before you trust a monitor.",
        "A viewing LUT is no exposure meter: expose by the camera's own measures.",
        "For broadcast, the delivery specification decides about levels.",
        "",
        f"Made by lookkit {__version__}.",
        "",
    ]
    return "\n".join(lines)


def _write_manifest(look: Look, folder: Path) -> None:
    files = {
        path.relative_to(folder).as_posix(): {
            "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
            "bytes": path.stat().st_size,
        }
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
    manifest = {
        "format": FORMAT,
        "lookkit": __version__,
        "look": look.recipe.name,
        "show": look.recipe.show,
        "version": look.recipe.version,
        "recipe_sha256": look.recipe_hash,
        "files": files,
    }
    text = json.dumps(manifest, indent=2, sort_keys=True) + "\n"
    (folder / "manifest.json").write_text(text, encoding="utf-8")
