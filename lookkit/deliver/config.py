"""The OCIO config: alone, as one archive, and merged over a config that exists."""

from __future__ import annotations

import zipfile
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from lookkit.deliver.config_files import files_named
from lookkit.deliver.config_ground import Ground
from lookkit.deliver.config_parts import Parts
from lookkit.deliver.written import Job, Written
from lookkit.errors import InputError, LookkitError
from lookkit.files import safe_name, write_beside
from lookkit.ocio import library

if TYPE_CHECKING:
    from lookkit.look import Look

CONFIG_NAME = "config.ocio"
LUTS = "luts"


def jobs(look: Look) -> list[Job]:
    """Return the job that writes the config into `ocio/`."""

    def write(folder: Path) -> list[Written]:
        path = write_config(look, folder / "ocio")
        note = "every camera a colour space, every output a display, the look as a view"
        files = (path, path.with_suffix(".ocioz"))
        found = _measured(look, path)
        return [Written(one, "config", "config", None, None, None, note, *found) for one in files]

    return [Job("OCIO config", write)]


def merged_job(look: Look, base: str) -> Job:
    """Return the job that writes the look merged over the config `base` into `ocio_merged/`."""

    def write(folder: Path) -> list[Written]:
        path = merge_config(look, base, folder / "ocio_merged")
        note = f"the look added to the config {Path(base).name}, in which nothing is renamed"
        found = _measured(look, path)
        return [Written(path, "config", "merged config", None, None, None, note, *found)]

    return Job("OCIO config, merged", write)


def _measured(look: Look, path: Path) -> tuple[dict[str, float], tuple[str, ...]]:
    """Return the figures of a config and a line of them, where certificates are wanted."""
    from lookkit.deliver.config_measured import measured, told, worst_of

    if not look.recipe.deliver.certify or not look.cameras or not look.outputs:
        return {}, ()
    found = measured(look, library().Config.CreateFromFile(str(path)))
    return worst_of(found), (told(found),)


def write_config(look: Look, folder: Path) -> Path:
    """Write the config, its LUT files and one archive of both into `folder`.

    Scene reference is ACES2065-1, display reference CIE XYZ D65 with 1.0 = 100 cd/m2.

    Returns
    -------
    Path
        The config's path, `folder/config.ocio`; the archive is `folder/config.ocioz`.

    Raises
    ------
    LookkitError
        If OpenColorIO does not accept what was made.
    """
    ground = Ground.empty()
    recipe = look.recipe
    ground.config.setName(safe_name(f"{recipe.show}_{recipe.name}"))
    ground.config.setDescription(
        f"{recipe.name}: one look for {', '.join(recipe.cameras) or 'any camera'}."
    )
    Parts(look, ground, folder / LUTS).add()
    path = _write(ground.config, folder, lowest=(2, 0))
    _write_archive(folder)
    return path


def merge_config(look: Look, base: str, folder: Path) -> Path:
    """Write the look merged over an existing config into `folder`, with the LUT files of both.

    A thin layer: the cameras become colour spaces, the looks looks, the outputs displays. What
    the base has keeps its name and its pixels; a name of ours that is taken there gets the
    film's and the look's name behind it. Roles and rules stay the base's own.

    Parameters
    ----------
    base
        Path of a `.ocio` or `.ocioz` file, or the `ocio://` name of one built into OpenColorIO.

    Returns
    -------
    Path
        The merged config, `folder/config.ocio`.

    Raises
    ------
    InputError
        If the base cannot be read, is of version 1, lacks the interchange roles, or needs a
        file that is missing or lies outside its folder.
    LookkitError
        If OpenColorIO does not accept what was made.
    """
    ocio = library()
    with TemporaryDirectory() as unpacked:
        config = _read_base(base, Path(unpacked))
        folder.mkdir(parents=True, exist_ok=True)
        _copy_files(config, base, folder)
        ground = Ground.over(config, base)
        luts = folder / f"{LUTS}_{safe_name(f'{look.recipe.show}_{look.recipe.name}')}"
        Parts(look, ground, luts).add()
        ground.config.setWorkingDir(str(folder))
        at_least = (config.getMajorVersion(), config.getMinorVersion())
        path = _write(ground.config, folder, at_least)
    ocio.ClearAllCaches()
    return path


def check_base(base: str) -> None:
    """Check that the look can be merged over a config, before long work.

    Raises
    ------
    InputError
        If it cannot be read, is of version 1 or lacks the interchange roles.
    """
    with TemporaryDirectory() as unpacked:
        Ground.over(_read_base(base, Path(unpacked)), base)


def _read_base(base: str, unpacked: Path) -> Any:
    ocio = library()
    try:
        if base.endswith(".ocioz"):
            ocio.ExtractOCIOZArchive(base, str(unpacked))
            return ocio.Config.CreateFromFile(str(unpacked / CONFIG_NAME))
        return ocio.Config.CreateFromFile(base)
    except (ocio.Exception, ocio.ExceptionMissingFile) as error:
        raise InputError(f"{base}: cannot be read as an OCIO config ({error})") from error


def _copy_files(config: Any, base: str, folder: Path) -> None:
    """Copy the files that a config's transforms name, at the same places below `folder`."""
    ocio = library()
    context = config.getCurrentContext()
    home = Path(config.getWorkingDir()).resolve()
    missing, outside = [], []
    for source in files_named(config):
        try:
            found = Path(context.resolveFileLocation(source)).resolve()
        except (ocio.Exception, ocio.ExceptionMissingFile):
            missing.append(source)
            continue
        if not found.is_relative_to(home):
            outside.append(source)
            continue
        target = folder / found.relative_to(home)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(found.read_bytes())
    if missing:
        raise InputError(f"{base}: its files are not found: {', '.join(missing)}")
    if outside:
        raise InputError(
            f"{base}: its files lie outside its folder, expected below it, so that a hand-off "
            f"can hold them: {', '.join(outside)}"
        )


def _write(config: Any, folder: Path, lowest: tuple[int, int]) -> Path:
    ocio = library()
    path = folder / CONFIG_NAME
    try:
        _set_version(config, lowest)
        with write_beside(path) as beside:
            beside.write_text(config.serialize(), encoding="utf-8")
        ocio.Config.CreateFromFile(str(path)).validate()
    except (ocio.Exception, ocio.ExceptionMissingFile) as error:
        raise LookkitError(f"{path}: not accepted by OpenColorIO ({error})") from error
    return path


def _write_archive(folder: Path) -> None:
    """Pack the config and its LUTs as OpenColorIO's own archive: a zip, the config at its root.

    Written here rather than by OpenColorIO so that it is the same bytes every time.
    """
    names = [CONFIG_NAME, *(f"{LUTS}/{path.name}" for path in sorted((folder / LUTS).iterdir()))]
    with (
        write_beside(folder / "config.ocioz") as beside,
        zipfile.ZipFile(beside, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        for name in names:
            entry = zipfile.ZipInfo(name)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, (folder / name).read_bytes())


def _set_version(config: Any, lowest: tuple[int, int]) -> None:
    """Set the lowest config version from `lowest` on that validates and writes."""
    ocio = library()
    major, first = lowest
    for minor in range(first, 6):
        config.setVersion(major, minor)
        try:
            config.validate()
            config.serialize()
        except (ocio.Exception, ocio.ExceptionMissingFile):
            continue
        return
    config.validate()
