"""The shot list: which files are whose, by the patterns of their names, and their trims."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path, PurePosixPath
from typing import Annotated, Final

from pydantic import AfterValidator, Field, StringConstraints
from pydantic_core import PydanticCustomError

from lookkit.nodes.base import Table
from lookkit.recipe.kinds import AnyLookNode

RAW: Final = (
    ".dng", ".cr2", ".cr3", ".crw", ".nef", ".nrw", ".arw", ".srf", ".sr2", ".raf", ".orf", ".rw2",
    ".pef", ".srw", ".x3f", ".3fr", ".fff", ".iiq", ".mos", ".mrw", ".erf", ".kdc", ".dcr",
)  # fmt: skip
"""The extensions that are taken for raw stills."""


def _names_a_file(pattern: str) -> str:
    if not PurePosixPath(pattern).name:
        raise PydanticCustomError(
            "no_file", "'{pattern}' names no file, expected a pattern of file names",
            {"pattern": pattern},
        )  # fmt: skip
    return pattern


Pattern = Annotated[
    str,
    StringConstraints(pattern=r"^[^\s\\][^\\]*$", max_length=200),
    AfterValidator(_names_a_file),
]


class Shot(Table):
    """One line of the shot list; the first line whose pattern a file's name fits is taken.

    `match` is compared with the file's name, letter case aside: `*` is any text, `?` any one
    letter, `[ab]` one of those. A pattern with a slash is compared with the name and as
    many folders above it: `night/*`.
    """

    match: Pattern = Field(description="pattern of file names: `*` any text, `?` any letter")
    camera: str = Field(description="which of the recipe's cameras took them")
    scene: str | None = Field(default=None, description="which of the recipe's scenes they are of")
    trims: tuple[AnyLookNode, ...] = Field(
        default=(),
        description="nodes that run after those of the scene and before the look, in a graph of "
        "their own; `lookkit balance` writes them",
    )
    note: str = Field(default="", description="for people")

    @property
    def is_trimmed(self) -> bool:
        """Whether it has trims of its own."""
        return bool(self.trims)

    @property
    def setting(self) -> str:
        """What its trims are called where a scene is named: scene and pattern, kiln/A003.mov."""
        return f"{self.scene or ''}/{self.match}"

    @property
    def graded_in(self) -> str | None:
        """Its setting where it has trims, else its scene."""
        return self.setting if self.is_trimmed else self.scene

    def fits(self, path: Path) -> bool:
        """Say whether a file's name fits the pattern."""
        name = PurePosixPath(path.as_posix().casefold())
        return name.match(self.match.casefold())

    @property
    def raw(self) -> bool:
        """Whether it means camera raw alone, by the ending of its pattern."""
        return self.match.casefold().endswith(RAW)


def shot_for(shots: Sequence[Shot], path: Path) -> Shot | None:
    """Return the first line of the list that a file's name fits, or None."""
    return next((shot for shot in shots if shot.fits(path)), None)
