"""The recipe in the hand-off with the files it names, so that it loads from the folder alone."""

from __future__ import annotations

import tomllib
from collections.abc import Set
from itertools import count
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Final

from lookkit.deliver.written import SOURCE, Written
from lookkit.errors import InputError
from lookkit.files import safe_name
from lookkit.look import files_of
from lookkit.recipe.named_files import renamed
from lookkit.recipe.write import toml_text

if TYPE_CHECKING:
    from lookkit.look import Look

PLACE: Final = "files"
"""The folder of those whose own place would be outside of the hand-off, or in its way."""
_OWN: Final = ("recipe.toml", "README.txt", "ACCURACY.txt", "manifest.json", PLACE)


def write_recipe(look: Look, folder: Path) -> list[Written]:
    """Write recipe.toml and the LUTs and matches that it names into a folder of other files.

    A file keeps its name where that lies in the folder; then the recipe is the user's own text.
    One with another place (a full path, one with `..`, characters that some system cannot
    write, a place where the hand-off has its own things) goes into `files/`, and the recipe
    is written anew with that name.

    Returns
    -------
    list
        A record of each file that the recipe names.

    Raises
    ------
    InputError
        If a file is gone.
    """
    own = {name.casefold() for name in (*_OWN, *(path.name for path in folder.iterdir()))}
    places: dict[str, str] = {}
    for name, path in files_of(look):
        given = {place.casefold() for place in places.values()}
        place = name if _is_harmless(name, own, given) else _free(name, given)
        places[name] = place
        try:
            content = path.read_bytes()
        except OSError as error:
            raise InputError(f"{path}: cannot be read ({error.strerror})") from error
        target = folder / place
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    text = look.text
    if any(name != place for name, place in places.items()):
        moved = renamed(tomllib.loads(text), places.__getitem__)
        text = f"# The files that it names lie in {PLACE}/.\n{toml_text(moved)}"
    (folder / "recipe.toml").write_text(text, encoding="utf-8")
    note = "named by the recipe, which needs it"
    return [Written(folder / place, "recipe", SOURCE, note=note) for place in places.values()]


def _is_harmless(name: str, own: Set[str], given: Set[str]) -> bool:
    """Whether a file can lie under its own name in any system's folder, in nothing's way."""
    parts = name.split("/")
    plain = all(part == safe_name(part) for part in parts) and len(name) < 200
    folded = name.casefold()
    nested = any(f"{folded}/".startswith(f"{one}/") or one.startswith(f"{folded}/")
                 for one in given)  # fmt: skip
    return plain and parts[0].casefold() not in own and not nested


def _free(name: str, given: Set[str]) -> str:
    """Return a place in `files/` that no other file has."""
    last = PurePosixPath(name.replace("\\", "/"))
    stem, suffix = safe_name(last.stem)[:80], f".{safe_name(last.suffix)}"
    places = (f"{PLACE}/{stem}{f'-{n}' if n > 1 else ''}{suffix}" for n in count(1))
    return next(place for place in places if place.casefold() not in given)
