"""The .cube files: one plain 3D lattice per camera, output and size."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from lookkit.accuracy.certificate import Certificate
from lookkit.accuracy.picture import draw_certificate
from lookkit.deliver.certified import accuracy_figures, accuracy_lines, held_to_budget
from lookkit.deliver.names import chain_stem, codes_of, signal_of
from lookkit.deliver.written import LATTICE_DECIMALS, Job, Written
from lookkit.errors import InputError, LookkitError
from lookkit.files import safe_name
from lookkit.lattice.of_graph import Baking, exceeded
from lookkit.lutfile.cube import read_cube, write_cube
from lookkit.progress import Progress, silent
from lookkit.spaces.working import Array
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

SIZES: Final = (17, 33, 65)
Size = Literal[17, 33, 65, "auto"]


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
    return baking(look, camera, output, scene).bake(size, fit=False)


def baking(look: Look, camera: str, output: str, scene: str | None = None) -> Baking:
    """Return what a .cube of this camera and output is baked from.

    Raises
    ------
    InputError
        As `lattice`.
    """
    chain = look.graph.chain(camera, output, scene)
    refuse_linear(look, camera)
    return Baking.of(chain, look.graph.decoding(camera, scene), look.graph.output(output))


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
    return f"{chain_stem(look, camera, output, scene)}_{size}.cube"


@dataclass(frozen=True)
class Baked:
    """A written .cube, and how exact it is; None where it was not measured."""

    path: Path
    size: int
    certificate: Certificate | None
    over_budget: tuple[str, ...] = ()


def write_look_cube(
    look: Look,
    camera: str,
    output: str,
    size: Size,
    folder: Path,
    scene: str | None = None,
    progress: Progress = silent,
    *,
    source: Baking | None = None,
    target: Path | None = None,
) -> Baked:
    """Bake, write and certify one .cube in `folder`.

    The certificate is measured on the written file, read back; it is written beside it as
    JSON and as text, and as a picture where the recipe asks for one. With "auto", the smallest
    size that keeps to the budget stays.

    Parameters
    ----------
    source
        What it is baked from (`baking`), if that is at hand: it keeps its audits for all sizes.
    target
        The file's path, where it is not to be named by what it is.

    Raises
    ------
    LookkitError
        If the recipe has a budget and the file exceeds it, naming file, set and figure; or
        pictures are asked for and matplotlib is not installed.
    """
    deliver = look.recipe.deliver
    source = source or baking(look, camera, output, scene)
    sizes = SIZES if size == "auto" else (size,)
    for number in sizes:
        path = target or folder / cube_name(look, camera, output, number, scene)
        made = source.bake(number, fit=deliver.fit, progress=progress)
        title, comments = head(look, camera, output, scene)
        write_cube(path, made, title=title, comments=comments, decimals=LATTICE_DECIMALS)
        if not deliver.certify and size != "auto":
            return Baked(path, number, None)
        certificate = source.certify(_written(path), progress)
        if number == sizes[-1] or not exceeded(certificate, deliver.limits):
            break
        path.unlink()
    over_budget = held_to_budget(deliver, certificate, path)
    if deliver.pictures:
        draw_certificate(certificate, path.with_name(path.name + ".png"), path.name)
    return Baked(path, number, certificate, over_budget)


def write_lut(
    look: Look,
    path: Path,
    camera: str,
    output: str,
    *,
    scene: str | None = None,
    size: Size = 33,
    progress: Progress = silent,
) -> Baked:
    """Write one .cube from a camera's codes to an output's signal, with its measures beside it.

    It is the file of the hand-off of that name, fitted and measured as the recipe's `[deliver]`
    says.

    Raises
    ------
    InputError
        If a name is not in the recipe, the camera is scene-linear, or `path` is no .cube in a
        folder that exists.
    LookkitError
        As `write_look_cube`.
    """
    if path.suffix.lower() != ".cube":
        raise InputError(f"{path}: expected a name that ends in .cube; `build` writes other forms")
    if not path.parent.is_dir():
        raise InputError(f"{path.parent}: no such folder, expected one for {path.name}")
    return write_look_cube(look, camera, output, size, path.parent, scene, progress, target=path)


def _written(path: Path) -> Array:
    found = read_cube(path).lattice
    if found is None:
        raise LookkitError(f"{path}: no 3D LUT in the file that was just written")
    return found.values


def head(
    look: Look, camera: str, output: str, scene: str | None = None
) -> tuple[str, tuple[str, ...]]:
    """Return the title and the comments of a chain's .cube: whose it is, what goes in and out."""
    recipe = look.recipe
    target = look.graph.output(output)
    shown = recipe.name if scene is None else f"{recipe.name}, scene {scene}"
    comments = (
        f"look: {shown}, version {recipe.version}, show {recipe.show}",
        f"recipe: sha256 {look.recipe_hash}",
        f"made by: lookkit {__version__}",
        f"takes: camera {camera}, {codes_of(look, camera, scene)}, 0-1 = all codes of the file",
        f"gives: {signal_of(look, output)}, 0-1 = all codes of the file",
        "for viewing and finishing; not an exposure meter",
    )
    return f"{shown}: camera {camera} to {target.name}", comments


def jobs(look: Look) -> list[Job]:
    """Return one job per chain, which writes a .cube of each size into `cube/CAMERA/`.

    Where a chain, or the look in ACEScct, changes each channel by itself, it is also a 1D file.
    """
    from lookkit.deliver.cube_1d import chain_job, look_job

    curves = [chain_job(look, *one) for one in chains(look)]
    curves += [look_job(look, scene) for scene in (None, *look.recipe.deliver.scenes)]
    lattices = [_job(look, *one) for one in chains(look)]
    return [*lattices, *(job for job in curves if job is not None)]


def chains(look: Look) -> list[tuple[str, str, str | None]]:
    """Return camera, output and scene of each chain that a .cube can carry."""
    return [
        (camera, output, scene)
        for camera in look.cameras
        if not look.graph.input_transform(camera).encoding.scene_linear
        for scene in scenes_of(look, camera)
        for output in look.outputs
    ]


def scenes_of(look: Look, camera: str) -> tuple[str | None, ...]:
    """Return None for the plain look, and the delivered scenes that `camera` took."""
    recipe = look.recipe
    took = [scene for scene in recipe.deliver.scenes if camera in recipe.cameras_of(scene)]
    return (None, *took)


def _job(look: Look, camera: str, output: str, scene: str | None) -> Job:
    def write(folder: Path) -> list[Written]:
        place = folder / "cube" / safe_name(camera)
        place.mkdir(parents=True, exist_ok=True)
        source = baking(look, camera, output, scene)
        note = f"{codes_of(look, camera, scene)}, in; {signal_of(look, output)}, out"
        written: dict[int, Written] = {}
        # "auto" comes first, for it takes away the sizes that are over the budget.
        for size in sorted(look.recipe.deliver.sizes, key=lambda size: size != "auto"):
            if size in written:
                continue
            made = write_look_cube(look, camera, output, size, place, scene, source=source)
            found = made.certificate
            figures = {} if found is None else accuracy_figures(found)
            lines = () if found is None else accuracy_lines(found)
            written[made.size] = Written(
                made.path, "cube", "chain", camera, output, scene, note,
                figures, lines, made.over_budget,
            )  # fmt: skip
        return [written[size] for size in sorted(written)]

    return Job(f"cube {camera} to {output}", write, apart=True)
