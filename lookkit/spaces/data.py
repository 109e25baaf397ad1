"""Where the tables that users may read and extend are found, and their parsed content."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import lookkit
from lookkit.errors import LookkitError


@cache
def configs_folder() -> Path:
    """Return the folder with the tables and ready recipes.

    An installed lookkit carries it inside the package; a checkout has it beside the package.

    Raises
    ------
    LookkitError
        If the installation is not complete.
    """
    package = Path(lookkit.__file__ or "").parent
    for folder in (package / "configs", package.parent / "configs"):
        if (folder / "encodings.toml").is_file():
            return folder
    raise LookkitError(f"{package}: the folder 'configs' is missing; install lookkit again")


@cache
def shipped_table(name: str) -> dict[str, Any]:
    """Return the parsed content of a shipped TOML table, read once; not to be changed."""
    with (configs_folder() / f"{name}.toml").open("rb") as file:
        return tomllib.load(file)
