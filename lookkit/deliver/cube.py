"""The .cube files: one plain 3D lattice per camera, output and size."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lookkit.errors import InputError
from lookkit.evaluate import evaluate
from lookkit.files import safe_name
from lookkit.lutfile.cube import write_cube
from lookkit.spaces.working import Array
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

DECIMALS = 8


def lattice(look: Look, camera: str, output: str, size: int, scene: str | None = None) -> Array:
    """Return the exact graph at `size`^3 evenly spaced code values.

    Returns
    -------
    array
        Shape (size, size, size, 3), indexed [r, g, b], code values of the output.

    Raises
    ------
    InputError
        If the camera's encoding is scene-linear: its highlights lie beyond the domain
        0-1 of a plain .cube, and would be lost silently.
    """
    chain = look.graph.chain(camera, output, scene)
    refuse_linear(look, camera)
    steps = np.linspace(0.0, 1.0, size)
    codes = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
    return evaluate(chain, codes)


def refuse_linear(look: Look, camera: str) -> None:
    """Raise InputError if no .cube can carry `camera`'s encoding."""
    described = look.graph.input_transform(camera).encoding
    if described.scene_linear:
        raise InputError(
            f"camera {camera!r} is scene-linear ({described.name}): a .cube covers codes 0-1 "
            "and would silently lose its highlights; deliver it through the OCIO config"
        )


def cube_name(look: Look, camera: str, output: str, size: int, scene: str | None = None) -> str:
    """Return the file name, which says camera, scene, encoding, output, size and ranges."""
    step = look.graph.input_transform(camera)
    target = look.graph.output(output)
    who = (camera,) if scene is None else (camera, scene)
    parts = (*who, step.encoding.name, step.signal_range, "to", output, target.name, target.range)
    return "_".join(safe_name(part) for part in parts) + f"_{size}.cube"


def write_look_cube(
    look: Look, camera: str, output: str, size: int, folder: Path, scene: str | None = None
) -> Path:
    """Bake and write one .cube into `folder`; return its path."""
    recipe = look.recipe
    step = look.graph.input_transform(camera)
    target = look.graph.output(output)
    path = folder / cube_name(look, camera, output, size, scene)
    shown = recipe.name if scene is None else f"{recipe.name}, scene {scene}"
    comments = (
        f"look: {shown}, version {recipe.version}, show {recipe.show}",
        f"recipe: sha256 {look.recipe_hash}",
        f"made by: lookkit {__version__}",
        f"takes: camera {camera}, {step.encoding.name}, {step.signal_range} range, "
        "0-1 = all codes of the file",
        f"gives: {target.name}, {target.range} range, 0-1 = all codes of the file",
        "for viewing and finishing; not an exposure meter",
    )
    write_cube(
        path,
        lattice(look, camera, output, size, scene),
        title=f"{shown}: camera {camera} to {target.name}",
        comments=comments,
        decimals=DECIMALS,
    )
    return path
