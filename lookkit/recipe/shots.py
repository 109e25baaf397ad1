"""The shot list: which files are whose, by the patterns of their names, and their trims."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import Annotated, Final

import numpy as np
from pydantic import AfterValidator, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from lookkit.nodes.base import Table, error_at
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
    StringConstraints(pattern=r"^[^\s\\][^\\]*$", max_length=1000),
    AfterValidator(_names_a_file),
]


class Key(Table):
    """A key frame: what is added to a shot's exposure and white there."""

    frame: int = Field(ge=0, description="the frame, the file's first being 0")
    stops: float = Field(default=0.0, ge=-20.0, le=20.0, description="exposure added there",
                         json_schema_extra={"unit": "stops"})  # fmt: skip
    mired: float = Field(
        default=0.0, ge=-100.0, le=300.0,
        description="by how much warmer the light is there than the scene's: it is taken away",
        json_schema_extra={"unit": "mired"},
    )  # fmt: skip


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
    keys: tuple[Key, ...] = Field(
        default=(),
        description="key frames that follow a light that changes inside the shot, in the order of "
        "frames; between them straight lines. LUTs and still forms get the middle of the first "
        "and the last",
    )
    note: str = Field(default="", description="for people")

    @model_validator(mode="after")
    def _keys_in_order(self) -> Shot:
        frames = [key.frame for key in self.keys]
        if any(second <= first for first, second in pairwise(frames)):
            raise error_at(("keys",), "frames out of order", frames)
        return self

    @property
    def is_trimmed(self) -> bool:
        """Whether it has trims or key frames of its own."""
        return bool(self.trims or self.keys)

    def key_at(self, frame: float | None = None) -> tuple[float, float]:
        """Return the stops and mired of the key frames at a frame; None is their middle."""
        if not self.keys:
            return 0.0, 0.0
        frames = [float(key.frame) for key in self.keys]
        at = (frames[0] + frames[-1]) / 2 if frame is None else frame
        return (
            float(np.interp(at, frames, [key.stops for key in self.keys])),
            float(np.interp(at, frames, [key.mired for key in self.keys])),
        )

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


def pattern_of(place: Path, others: Sequence[Path]) -> str:
    """Return the pattern that fits a file and none of the others: its name, folders if need be."""
    parts = place.parts
    for length in range(1, len(parts) + 1):
        tail = [one.casefold() for one in parts[-length:]]
        same = [one for one in others if [p.casefold() for p in one.parts[-length:]] == tail]
        if len(same) <= 1:
            break
    name = "/".join(part for part in parts[-length:] if part != "/")
    plain = re.sub(r"[\[*?]", lambda found: f"[{found[0]}]", name)
    # A pattern has no backslash, and begins with no space.
    return re.sub(r"^\s|\\", "?", plain)
