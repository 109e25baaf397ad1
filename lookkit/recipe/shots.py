"""The shot list: which files are whose, by the patterns of their names."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path, PurePosixPath
from typing import Annotated

from pydantic import Field, StringConstraints

from lookkit.errors import Problem, expected_one_of
from lookkit.nodes.base import Table

Pattern = Annotated[str, StringConstraints(pattern=r"^[^\s\\][^\\]*$", max_length=200)]


class Shot(Table):
    """One line of the shot list; the first line whose pattern a file's name fits is taken.

    `match` is compared with the file's name, letter case aside: `*` is any text, `?` any one
    letter, `[ab]` one of those. A pattern with a slash is compared with the name and as
    many folders above it: `night/*`.
    """

    match: Pattern = Field(description="pattern of file names: `*` any text, `?` any letter")
    camera: str = Field(description="which of the recipe's cameras took them")
    scene: str | None = Field(default=None, description="which of the recipe's scenes they are of")
    note: str = Field(default="", description="for people")

    def fits(self, path: Path) -> bool:
        """Say whether a file's name fits the pattern."""
        name = PurePosixPath(path.as_posix().casefold())
        return name.match(self.match.casefold())


def shot_for(shots: Sequence[Shot], path: Path) -> Shot | None:
    """Return the first line of the list that a file's name fits, or None."""
    return next((shot for shot in shots if shot.fits(path)), None)


def shot_problems(
    shots: Sequence[Shot], cameras: Collection[str], scenes: Collection[str], file: str
) -> list[Problem]:
    """Return what names a camera or scene that the recipe does not have; lines are 0."""
    return [
        Problem(file, 0, f"shots[{row}].{key}", f"unknown {key} {name!r}",
                expected_one_of(name, known))
        for row, shot in enumerate(shots, 1)
        for key, name, known in (
            ("camera", shot.camera, cameras),
            ("scene", shot.scene, scenes),
        )
        if name is not None and name not in known
    ]  # fmt: skip
