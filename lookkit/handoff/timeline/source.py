"""Where the CDL and the AMF of a shot come from: a hand-off folder, or a recipe alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Protocol

from lookkit.deliver import amf
from lookkit.deliver.best_cdl import best_cdl
from lookkit.deliver.cdl import Correction, read_cc
from lookkit.deliver.cdl_residual import Change, changes, viewing_light
from lookkit.errors import InputError
from lookkit.evaluate import evaluator
from lookkit.lutfile.faults import Faults
from lookkit.lutfile.source import read_source
from lookkit.lutfile.xmltree import parse
from lookkit.recipe.shots import Shot

if TYPE_CHECKING:
    from lookkit.look import Look

Cdl = Literal["look", "trims", "none"]
"""What the CDL stands for: trims and look, the trims of scene and shot alone, or no CDL at all."""
_LARGEST = 4 << 20


@dataclass(frozen=True)
class Marks:
    """What an event gets."""

    cdl: Correction | None
    amf_name: str
    amf_uuid: str

    def comments(self) -> list[str]:
        """Return the comment lines of an edit decision list."""
        lines = []
        if self.cdl is not None:
            groups = (self.cdl.slope, self.cdl.offset, self.cdl.power)
            shown = ("(" + " ".join(f"{one:.6f}" for one in group) + ")" for group in groups)
            lines += [f"*ASC_SOP {''.join(shown)}", f"*ASC_SAT {self.cdl.saturation:.6f}"]
        return [*lines, f"* AMF_NAME {self.amf_name}", f"* AMF_UUID {self.amf_uuid}"]


class Source(Protocol):
    """Gives what a shot gets, or raises InputError."""

    look: Look

    def marks(self, shot: Shot) -> Marks:
        """Return what a shot gets."""


def source_of(path: Path, shots: Sequence[Shot] | None, output: str | None, cdl: Cdl) -> Source:
    """Return the source for a hand-off folder or a recipe.

    Parameters
    ----------
    shots
        The shot list; None takes the recipe's own.
    output
        For which output the AMFs are; None takes the recipe's first.

    Raises
    ------
    InputError
        If there is none, or it has no such output.
    """
    from lookkit.look import Look, load

    recipe = path / "recipe.toml" if path.is_dir() else path
    look = load(recipe)
    name = output or look.first_output
    look.graph.output(name)
    if path.is_dir():
        return _Folder(look, path, name, cdl)
    listed = look.recipe.shots if shots is None else tuple(shots)
    look = Look(look.recipe.model_copy(update={"shots": listed}), look.text, look.source)
    used = {shot.scene for shot in listed if shot.scene}
    scenes = [one for one in look.scenes if one in used]
    return _Recipe(look.delivering(scenes, shots=True), name, cdl)


def _named(look: Look, shot: Shot, output: str) -> amf.AmfFile:
    for one in amf.files(look):
        if (one.camera, one.output, one.scene) == (shot.camera, output, shot.graded_in):
            return one
    raise InputError(f"scene {shot.scene!r} was not taken by camera {shot.camera!r}")


def _change(look: Look, shot: Shot, cdl: Cdl) -> Change | None:
    for one in changes(look):
        if (one.part, one.scene) == (cdl, shot.graded_in):
            return one
    return None


class _Recipe:
    """Names and ids follow from the recipe; the CDLs are found anew."""

    def __init__(self, look: Look, output: str, cdl: Cdl) -> None:
        self.look = look
        self.output = output
        self.cdl = cdl
        self._found: dict[str, Correction] = {}

    def marks(self, shot: Shot) -> Marks:
        """Return what a shot gets."""
        one = _named(self.look, shot, self.output)
        change = _change(self.look, shot, self.cdl)
        correction = Correction("none") if change is None else self._correction(change)
        given = None if self.cdl == "none" else correction
        return Marks(given, one.name, amf.amf_uuid(self.look, one))

    def _correction(self, change: Change) -> Correction:
        if change.stem not in self._found:
            self._found[change.stem] = best_cdl(
                evaluator(change.steps),
                viewing_light(self.look, change),
                change.stem,
            )
        return self._found[change.stem]


class _Folder:
    """Everything as the files of a hand-off say it."""

    def __init__(self, look: Look, folder: Path, output: str, cdl: Cdl) -> None:
        from lookkit.handoff.verify.listing import read_listing

        self.look = look
        self.folder = folder
        self.output = output
        self.cdl = cdl
        self.listing = read_listing(folder)

    def marks(self, shot: Shot) -> Marks:
        """Return what a shot gets."""
        name = self._file("amf", "chain", shot.graded_in, camera=shot.camera, output=self.output)
        if name is None:
            raise InputError(
                f"{self.folder}: no AMF of camera {shot.camera}, output {self.output}, "
                f"{_scene(shot)}; expected one: build with it{_asking(shot)}"
            )
        return Marks(self._correction(shot), Path(name).name, uuid_of(self.folder / name))

    def _correction(self, shot: Shot) -> Correction | None:
        if self.cdl == "none":
            return None
        name = self._file("cdl", f"cdl-{self.cdl}", shot.graded_in)
        if name is not None:
            return read_cc(self.folder / name)
        if self.cdl == "trims":
            return Correction("none")
        raise InputError(
            f"{self.folder}: no CDL of the look, {_scene(shot)}; expected one: build with it"
            f"{_asking(shot)}"
        )

    def _file(self, format: str, part: str, scene: str | None, **names: str) -> str | None:
        wanted = {"format": format, "part": part, **names}
        for name, entry in self.listing.entries.items():
            if entry.get("scene") == scene and wanted.items() <= entry.items():
                return name
        return None


def uuid_of(amf_file: Path) -> str:
    """Return the uuid that an AMF states.

    Raises
    ------
    InputError
        If it cannot be read, or states none.
    """
    root = parse(read_source(amf_file, _LARGEST), Faults())
    info = None if root is None else root.first("amfInfo")
    found = None if info is None else info.first("uuid")
    if found is None:
        raise InputError(f"{amf_file}: no AMF with a uuid")
    return found.text.strip()


def _scene(shot: Shot) -> str:
    if shot.is_trimmed:
        return f"shot {shot.setting}"
    return f"scene {shot.scene}" if shot.scene else "without a scene"


def _asking(shot: Shot) -> str:
    return " (--shots)" if shot.is_trimmed else ""
