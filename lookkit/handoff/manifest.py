"""manifest.json: what a hand-off holds, so that anybody can check it."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lookkit.deliver.written import Written
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

FORMAT: Final = 2
"""The version of the folder's layout. 1 had no `format`, `part` and names in its entries."""
NAME: Final = "manifest.json"


def manifest(look: Look, folder: Path, written: Sequence[Written]) -> dict[str, Any]:
    """Return the manifest of `folder`, which holds the files `written` and others."""
    described = {one.path.relative_to(folder).as_posix(): one.described() for one in written}
    files = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and name != NAME:
            files[name] = {
                "sha256": sha256_of(path),
                "bytes": path.stat().st_size,
                **described.get(name, {}),
            }
    recipe = look.recipe
    drawn = {"drawn_by": drawn_by()} if any(one.format == "report" for one in written) else {}
    return {
        "format": FORMAT,
        "lookkit": __version__,
        "machine": machine(),
        **drawn,
        "look": recipe.name,
        "show": recipe.show,
        "version": recipe.version,
        "recipe_sha256": look.recipe_hash,
        "deliver": recipe.deliver.model_dump(mode="json"),
        "files": files,
    }


def machine() -> str:
    """Return the architecture by which a build repeats byte for byte."""
    return platform.machine().lower()


def drawn_by() -> str:
    """Return the library, with its version, by which a page's drawings repeat."""
    return f"matplotlib {version('matplotlib')}"


def sha256_of(path: Path) -> str:
    """Return the sha256 of a file's bytes, as hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def write_manifest(look: Look, folder: Path, written: Sequence[Written]) -> None:
    """Write the manifest into `folder`."""
    text = json.dumps(manifest(look, folder, written), indent=2, sort_keys=True) + "\n"
    (folder / NAME).write_text(text, encoding="utf-8")
