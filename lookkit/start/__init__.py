"""From a folder of footage to a recipe that works."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from lookkit.errors import UnknownNameError
from lookkit.look import shipped_looks
from lookkit.progress import Progress, silent
from lookkit.recipe.load import parse_recipe
from lookkit.start.footage import read_footage
from lookkit.start.groups import Camera, Scene, cameras_of, scenes_of
from lookkit.start.text import question_of, recipe_text


@dataclass(frozen=True)
class Started:
    """A first recipe: its text, what it is made of, and what is to be known and answered."""

    text: str
    cameras: tuple[Camera, ...]
    scenes: tuple[Scene, ...]
    questions: tuple[str, ...]
    told: tuple[str, ...]


def start(
    folder: Path, *, look: str = "warm-print", show: str | None = None, progress: Progress = silent
) -> Started:
    """Return a recipe for the footage of a folder and those below it.

    Parameters
    ----------
    look
        A shipped look to extend.
    show
        The film's name; None takes the folder's.

    Raises
    ------
    UnknownNameError
        If there is no such look.
    InputError
        If the folder holds no footage that can be read.
    """
    looks = shipped_looks()
    if look not in looks:
        raise UnknownNameError("look", look, looks)
    footage = read_footage(folder, progress)
    cameras = cameras_of(footage.takes)
    scenes = scenes_of(footage.takes)
    name = look.replace("-", " ").capitalize()
    text = recipe_text(name, show or _name_of(folder), look, cameras, scenes)
    parse_recipe(text, str(folder / "film.toml"))
    questions = [
        f"camera {camera.name}: {asked}"
        for camera in cameras
        for asked in (question_of(camera), camera.alike)
        if asked
    ]
    told = list(footage.faults)
    if footage.ignored:
        many = "files are" if footage.ignored > 1 else "file is"
        told.append(f"{footage.ignored} {many} neither movie nor picture, and left out")
    untimed = sum(take.recorded is None for take in footage.takes)
    if untimed:
        told.append(
            f"{untimed} of {len(footage.takes)} files say no time of recording: their scenes are "
            "their folders"
        )
    return Started(text, cameras, scenes, tuple(questions), tuple(told))


def _name_of(folder: Path) -> str:
    """Return a folder's name as a film's: letters, digits, blanks, dots, dashes."""
    name = "".join(one if one.isascii() and (one.isalnum() or one in " ._-") else "-"
                   for one in folder.resolve().name).strip(" ._-")  # fmt: skip
    return name[:60] or "Film"
