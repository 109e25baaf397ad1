"""What a format gives the hand-off: jobs to be done, and a record of each file they wrote."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

LATTICE_DECIMALS: Final = 7
CURVE_DECIMALS: Final = 8
"""Decimals of a .cube's numbers."""
SOURCE: Final = "source"
"""The part of files that the recipe takes: they are held against the manifest alone."""


@dataclass(frozen=True)
class Written:
    """One file of a hand-off.

    Attributes
    ----------
    path
        Where it was written.
    format
        The name of its format, a key of `formats.FORMATS`.
    part
        What of the graph it stands for, so that `verify` knows what it must equal: "chain" is
        all from a camera's codes to an output's signal, "look" is the look alone, and so on.
    camera, output, scene
        Names from the recipe, where they apply.
    note
        A line for people: what goes in, what comes out.
    figures
        What was measured, ready for JSON.
    accuracy
        The same in lines for people.
    over_budget
        Where it exceeds the budget, in words.
    """

    path: Path
    format: str
    part: str
    camera: str | None = None
    output: str | None = None
    scene: str | None = None
    note: str = ""
    figures: Mapping[str, Any] = field(default_factory=dict)
    accuracy: tuple[str, ...] = ()
    over_budget: tuple[str, ...] = ()

    def described(self) -> dict[str, Any]:
        """Return its entry in the manifest, without hash and size."""
        named = {"camera": self.camera, "output": self.output, "scene": self.scene}
        entry = {"format": self.format, "part": self.part, "note": self.note}
        entry |= {key: value for key, value in named.items() if value is not None}
        return {**entry, "figures": dict(self.figures)} if self.figures else entry


@dataclass(frozen=True)
class Job:
    """One step of a build: it writes below the folder it is given, and tells what.

    A step that is `apart` shares no work with others, so another process may as well do it. One
    that is `last` reads what the others have written.
    """

    label: str
    write: Callable[[Path], Sequence[Written]]
    apart: bool = False
    last: bool = False
