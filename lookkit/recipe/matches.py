"""The match files that a recipe's cameras name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from lookkit.errors import InputError, Problem, RecipeError, UnknownNameError
from lookkit.matchfile.model import UNKNOWN, MatchFile
from lookkit.matchfile.steps import Match
from lookkit.recipe.extend import Joined
from lookkit.recipe.lines import Path as KeyPath
from lookkit.recipe.match_file import WANTED, read_match
from lookkit.recipe.named_files import named_files
from lookkit.recipe.tables import Own
from lookkit.spaces.encodings import encoding

Lights = Mapping[str, Match]
"""A camera's matches by light, the first that its files hold first."""


@dataclass(frozen=True)
class Matches:
    """What was read, by camera, and what is wrong with it; `complete` if all was read."""

    by_camera: Mapping[str, Lights]
    problems: tuple[Problem, ...] = ()
    complete: bool = True

    @property
    def lights(self) -> frozenset[str]:
        """The names of all lights."""
        return frozenset(light for lights in self.by_camera.values() for light in lights)


def read_matches(joined: Joined, folder: Path, own: Own) -> Matches:
    """Read every match file that cameras name; `folder` is the recipe's."""
    problems: list[Problem] = []
    by_camera: dict[str, dict[str, Match]] = {}
    for path, name in named_files(joined.data):
        if path[0] != "cameras" or "match" not in path[2:3]:
            continue
        camera = str(path[1])
        leads = f" (the match of camera {camera}, {joined.place(path)})"
        try:
            file = read_match(folder / name, leads)
        except RecipeError as error:
            problems += error.problems
            continue
        except (InputError, ValueError) as error:
            found = str(error).partition(", expected")[0]
            problems.append(joined.problem(path, found, WANTED))
            continue
        lights = by_camera.setdefault(camera, {})
        problems += _unfit(joined, path, file, lights, own)
        lights.update({one.light: Match(file, one) for one in file.lights})
    return Matches(by_camera, tuple(problems), complete=not problems)


def _unfit(
    joined: Joined, path: KeyPath, file: MatchFile, before: Lights, own: Own
) -> list[Problem]:
    """Return what is wrong with a match for the camera that names it."""
    camera = str(path[1])
    found = []
    if file.camera != camera:
        found.append((f"the match of camera {file.camera}", f"one of camera {camera}"))
    for one in file.lights:
        if one.light in before:
            found.append((f"a second match for the light {one.light!r}", "one for each light"))
    try:
        described = encoding(str(joined.data["cameras"][camera].get("encoding")), own.encodings)
    except UnknownNameError:
        described = None
    if described is not None and file.encoding not in (UNKNOWN, described.name):
        found.append((f"a match for the encoding {file.encoding!r}", f"one for {described.name!r}"))
    if described is not None and file.encoding == UNKNOWN and described.scene_linear:
        found.append(
            (
                "a match with a curve of its own for a scene-linear camera",
                f"one for {described.name!r}",
            )
        )
    return [joined.problem(path, *words) for words in found]
