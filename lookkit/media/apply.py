"""Stills through the look."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from lookkit.errors import InputError, LookkitError, UnknownNameError
from lookkit.files import safe_name
from lookkit.media.stills import FORMATS, read_still, write_still
from lookkit.progress import Progress, silent
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look


@dataclass(frozen=True)
class Graded:
    """What became of one file: where the result is, or why there is none."""

    source: Path
    target: Path | None
    not_finite: int = 0
    problem: str = ""


def apply_to_stills(
    look: Look,
    files: Sequence[Path],
    *,
    camera: str,
    output: str,
    scene: str | None = None,
    into: Path | None = None,
    extension: str | None = None,
    bits: int | None = None,
    overwrite: bool = False,
    progress: Progress = silent,
) -> list[Graded]:
    """Grade pictures and write each beside its source, or into a folder.

    A picture's result is named after it, the look and the output. A file that cannot be
    graded is reported and the others go on; the sources are never overwritten.

    Parameters
    ----------
    scene
        One of the recipe's scenes; default the plain look.
    extension
        Format of the results; default that of the source, TIFF for formats that only read.
    bits
        Bit depth of integer results; default by format.
    overwrite
        Replace results that are there already.

    Raises
    ------
    InputError
        If the camera, the output or the extension is unknown, or `into` cannot be made.
    """
    for what, name, known in (
        ("camera", camera, look.cameras),
        ("output", output, look.outputs),
        ("scene", scene, look.scenes),
    ):
        if name is not None and name not in known:
            raise UnknownNameError(what, name, known)
    if extension is not None and f".{extension.lstrip('.').lower()}" not in FORMATS:
        raise UnknownNameError("format", extension, [name[1:] for name in FORMATS])
    if into is not None:
        try:
            into.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError(f"{into}: cannot be made ({error.strerror})") from error
    done = []
    for count, source in enumerate(files):
        progress(source.name, count, len(files))
        target = target_for(look, source, output, into, extension)
        try:
            done.append(_grade(look, source, target, camera, output, scene, bits, overwrite))
        except LookkitError as error:
            done.append(Graded(source, None, problem=str(error)))
    progress("done", len(files), len(files))
    return done


def target_for(
    look: Look, source: Path, output: str, into: Path | None, extension: str | None
) -> Path:
    """Return where the result of `source` goes."""
    suffix = f".{extension.lstrip('.').lower()}" if extension else source.suffix.lower()
    if suffix not in FORMATS:
        suffix = ".tif"
    stem = f"{source.stem}_{safe_name(look.recipe.name)}_{safe_name(output)}"
    return (into or source.parent) / f"{stem}{suffix}"


def _grade(
    look: Look,
    source: Path,
    target: Path,
    camera: str,
    output: str,
    scene: str | None,
    bits: int | None,
    overwrite: bool,
) -> Graded:
    if target.exists() and (not overwrite or target.samefile(source)):
        raise InputError(f"{target}: exists already, and is left as it is")
    still = read_still(source)
    graded = look.apply(still.pixels, camera=camera, output=output, scene=scene)
    display = look.graph.output(output)
    if bits is None and target.suffix == source.suffix.lower() and still.bits in (8, 16):
        bits = still.bits
    recipe = look.recipe
    write_still(
        target,
        graded,
        still,
        bits=bits,
        interop_id=display.interop_id,
        note=f"lookkit {__version__}: {recipe.name} v{recipe.version}, camera {camera}, "
        + (f"scene {scene}, " if scene else "")
        + f"to {display.name}",
    )
    return Graded(source, target, still.not_finite)
