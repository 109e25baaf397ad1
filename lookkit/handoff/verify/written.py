"""The words of a hand-off's files, and the numbers that no fit chose, as this version writes them.

A file's head and its analytic operations follow from the recipe at once; only lattices take time.
So each file is written again around an empty lattice of the file's own size, and what stands
outside of lattices is compared, line by line: words are the same, and each number within a share
of 1e-8 of itself, 1e-6 on another machine architecture. Where the recipe wants no fit, lattices
are compared too.

What a file says of how exact it is follows from measures and is compared with the certificate.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import zip_longest
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lookkit.deliver import aces, acescct, amf, clf, cube, cube_1d
from lookkit.deliver.cdl import read_cc
from lookkit.deliver.cdl_residual import FOLDER as CDLS
from lookkit.deliver.cdl_residual import Residual, changes, figures_told, viewing_light
from lookkit.deliver.config import CONFIG_NAME, LUTS, write_config
from lookkit.deliver.written import CURVE_DECIMALS, LATTICE_DECIMALS
from lookkit.errors import LookkitError
from lookkit.handoff.verify.listing import Listing, figure, leaves
from lookkit.handoff.verify.rebuilt import as_dated, unlike
from lookkit.handoff.verify.report import Row
from lookkit.lower import Asked, Lattices
from lookkit.lutfile.clf_write import Clf, ClfHead
from lookkit.lutfile.cube import head_lines
from lookkit.piece import Piece, hollow_piece, sampled_piece
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

READER: Final = "as written"
WITHIN: Final = {True: 1e-8, False: 1e-6}
"""By whether the folder was made on this machine architecture."""
_ID: Final = re.compile(r"urn:uuid:[0-9a-f-]{36}")
_LATTICE: Final = re.compile(r"(<LUT3D\b.*?<Array dim=\"(\d+)[^>]*>)([^<]*)(</Array>)", re.DOTALL)
_SAID: Final = "    <Description>"
_MEASURED: Final = 20
"""Lines of a head in which a look modification transform says what was measured."""
_HEAD: Final = 1 << 16
"""Bytes of a .cube in which its head lies."""


class _Sized(Lattices):
    """Lattices of given sizes, in the order in which they are asked for: empty, or sampled."""

    def __init__(self, sizes: Sequence[int], *, empty: bool) -> None:
        super().__init__()
        self._sizes = list(sizes)
        self._empty = empty

    def _make(self, asked: Asked) -> Piece:
        if not self._sizes:
            raise LookkitError("fewer lattices than its recipe needs")
        size = self._sizes.pop(0) if len(self._sizes) > 1 else self._sizes[0]
        make = hollow_piece if self._empty else sampled_piece
        return make(asked.steps, size, asked.peak)


def written_rows(listing: Listing, look: Look) -> Iterator[Row]:
    """Yield a row for each file in other words or numbers, and one for all others.

    Parameters
    ----------
    look
        Of the folder's recipe, with the scenes it was built for.
    """
    if not listing.same_version:
        return
    count = 0
    for name, fault in _Again(listing, as_dated(look, listing.manifest)).faults():
        count += 1
        if fault:
            yield Row(name, READER, "faulty", fault)
    text = f"{count} files compared with the words and numbers that lookkit {__version__} writes"
    yield Row("", READER, "agrees" if count else "reads", text)


class _Again:
    """Writes the texts of a folder's files again, and says how they differ."""

    def __init__(self, listing: Listing, look: Look) -> None:
        self.listing = listing
        self.folder = listing.folder
        self.look = look
        self.fitted = look.recipe.deliver.fit
        self.within = WITHIN[listing.same]

    def faults(self) -> Iterator[tuple[str, str]]:
        """Yield each file that is compared, and how it differs; "" where it does not."""
        look = self.look
        clfs = {file.path.as_posix(): file for file in (*clf.files(look), *clf.chain_files(look))}
        amfs = {one.name: one for one in amf.files(look)}
        for name, entry in self.listing.entries.items():
            try:
                if name in clfs:
                    yield name, self._of_clf(clfs[name], self.folder / name)
                elif name in amfs:
                    yield name, self._of_amf(amfs[name])
                elif str(entry.get("part")).startswith("residual-"):
                    yield name, self._of_residual(entry, self.folder / name)
                elif entry.get("part") == "lmt":
                    yield name, self._of_look_transform(entry, self.folder / name)
                elif entry.get("format") == "cube" and name.endswith(".cube"):
                    yield name, self._of_cube(entry, self.folder / name)
                elif name.endswith(f"ocio/{CONFIG_NAME}") and entry.get("part") == "config":
                    yield from self._of_config(name)
            except (LookkitError, OSError, ValueError) as error:
                yield name, f"cannot be written again: {error}"

    def _of_cube(self, entry: Mapping[str, Any], path: Path) -> str:
        camera, output, scene = (entry.get(key) for key in ("camera", "output", "scene"))
        if path.name.endswith("_1d.cube"):
            return _rounded(_head_of(path), CURVE_DECIMALS) or self._of_curves(entry, path)
        if not isinstance(camera, str) or not isinstance(output, str):
            return _rounded(_head_of(path), LATTICE_DECIMALS)
        return self._of_lattice(path, *cube.head(self.look, camera, output, scene))

    def _of_lattice(self, path: Path, title: str, comments: Sequence[str], spare: int = 0) -> str:
        """Return how the head of a .cube differs; `spare` is how many lines may be measures."""
        wanted, lines = head_lines(title, comments), _head_of(path)
        fault = _rounded(lines, LATTICE_DECIMALS)
        said = [line for line in lines if line.startswith("#")]
        if spare and 0 < len(said) + 1 - len(wanted) <= spare:
            extra = [line for line in said if line not in wanted]
            lines = [line for line in lines if line not in extra]
        return fault or _unlike_lines(lines[: len(wanted)], wanted, self.within)

    def _of_curves(self, entry: Mapping[str, Any], path: Path) -> str:
        camera, output, scene = (entry.get(key) for key in ("camera", "output", "scene"))
        if entry.get("part") == "look-acescct":
            job = cube_1d.look_job(self.look, scene)
        elif isinstance(camera, str) and isinstance(output, str):
            job = cube_1d.chain_job(self.look, camera, output, scene)
        else:
            return ""
        if job is None:
            return "curves of a recipe that mixes channels"
        with TemporaryDirectory() as place:
            (made,) = job.write(Path(place))
            theirs, ours = (one.read_text(encoding="ascii") for one in (path, made.path))
        return _unlike_lines(theirs.splitlines(), ours.splitlines(), self.within)

    def _of_residual(self, entry: Mapping[str, Any], path: Path) -> str:
        part, scene = str(entry["part"]).removeprefix("residual-"), entry.get("scene")
        for change in changes(self.look):
            if (change.part, change.scene) != (part, scene):
                continue
            correction = read_cc(path.parent / f"{change.stem}.cc")
            residual = Residual(self.look, change, correction, viewing_light(self.look, change))
            if path.suffix == ".clf":
                return self._around(path, residual.made)
            beside = self.listing.entries.get(f"{CDLS}/{change.stem}.cc", {})
            try:
                stated = {key: figure(value) for key, value in beside["figures"].items()}
                told = figures_told(self.look, stated)
            except (KeyError, TypeError, ValueError, AttributeError):
                return ""  # Told as a fault of the CDL.
            title, comments = residual.head(told)
            return self._of_lattice(path, title, (*comments, *acescct.words(self.look)))
        return "of no change of the recipe"

    def _of_look_transform(self, entry: Mapping[str, Any], path: Path) -> str:
        scene = entry.get("scene")
        if path.suffix == ".cube":
            title, comments = aces.cube_head(self.look, scene)
            said = (*comments, *acescct.words(self.look))
            return self._of_lattice(path, title, said, _MEASURED)
        transform = aces.LookTransform(self.look, scene)
        empty = np.zeros((*[aces.SIZE] * 3, 3))

        def make(known: Lattices) -> tuple[Clf, ClfHead, list[Piece]]:
            for space, made, head in aces.clfs(self.look, transform, empty, known):
                if path.stem.endswith(f"_{space}"):
                    return made, head, []
            raise LookkitError("it has no form that is written")

        return self._around(path, make, _MEASURED, empty=not transform.is_the_look_alone)

    def _of_clf(self, file: clf.ClfFile, path: Path) -> str:
        return self._around(path, lambda known: clf.made_of(self.look, file, known))

    def _around(
        self,
        path: Path,
        make: Callable[[Lattices], tuple[Clf, ClfHead, list[Piece]]],
        measures: int = 1,
        *,
        empty: bool = False,
    ) -> str:
        """Return how a CLF differs from itself made again around its lattices.

        Parameters
        ----------
        measures
            Descriptions that may have come by measures.
        empty
            Whether lattices are made empty though the recipe wants no fit.
        """
        theirs = path.read_text(encoding="utf-8")
        namespace = self.look.recipe.deliver.clf_namespace
        there = _sizes(theirs)
        # Which lattices are made, and which are LUTs of the recipe's own, shows by a strange size.
        strange = next(size for size in range(2, len(there) + 3) if size not in there)
        made, head, _ = make(_Sized([strange], empty=True))
        here = _sizes(made.text(head, namespace))
        sizes = [size for size, mark in zip(there, here, strict=False) if mark == strange]
        made, head, _ = make(_Sized(sizes, empty=self.fitted))
        ours = made.text(head, namespace)
        return self._unlike_texts(_without_measures(theirs, ours, measures), ours, empty=empty)

    def _unlike_texts(self, theirs: str, ours: str, *, empty: bool = False) -> str:
        """Return how two texts differ, ids aside, and lattices where they are fitted or empty."""
        theirs, ours = _ID.sub("", theirs), _ID.sub("", ours)
        if self.fitted or empty:
            theirs, ours = _LATTICE.sub(r"\1\4", theirs), _LATTICE.sub(r"\1\4", ours)
        return _unlike_lines(theirs.splitlines(), ours.splitlines(), self.within)

    def _of_amf(self, one: amf.AmfFile) -> str:
        theirs = (self.folder / one.name).read_text(encoding="utf-8")
        ours = amf.amf_text(self.look, one, self.folder)
        return _unlike_lines(theirs.splitlines(), ours.splitlines(), self.within)

    def _of_config(self, name: str) -> Iterator[tuple[str, str]]:
        folder = (self.folder / name).parent
        luts = sorted((folder / LUTS).glob("*.clf"))
        sizes = {size for path in luts for size in _sizes(path.read_text(encoding="utf-8"))}
        yield f"{name}z", _packed(folder)
        if len(sizes) > 1:
            return  # Which lattice has which size is not said; their figures still speak.
        again = type(self.look)(self.look.recipe, self.look.text, self.look.source)
        again.lattices = _Sized(sorted(sizes), empty=self.fitted)
        with TemporaryDirectory() as place:
            made = write_config(again, Path(place, folder.name)).parent
            for path in [made / CONFIG_NAME, *sorted((made / LUTS).iterdir())]:
                there = folder / path.relative_to(made)
                where = there.relative_to(self.folder).as_posix()
                if not there.is_file():
                    continue  # Told as a link of the config that leads nowhere.
                theirs, ours = (one.read_text(encoding="utf-8") for one in (there, path))
                yield where, self._unlike_texts(theirs, ours)


def _sizes(text: str) -> list[int]:
    """Return the points an edge of the lattices in a CLF, in order."""
    return [int(found[2]) for found in _LATTICE.finditer(text)]


def _without_measures(theirs: str, ours: str, most: int) -> str:
    """Return the text of a file without the descriptions that measures added, at most so many."""
    lines = theirs.splitlines()
    said = [number for number, line in enumerate(lines) if line.startswith(_SAID)]
    more = len(said) - ours.count(f"\n{_SAID}")
    for number in reversed(said[len(said) - more :] if 0 < more <= most else []):
        del lines[number]
    return "\n".join(lines)


def _head_of(path: Path) -> list[str]:
    """Return the first lines of a .cube: its head, and some of its numbers."""
    with path.open("rb") as file:
        return file.read(_HEAD).decode("ascii", "replace").splitlines()[:-1]


def _rounded(lines: Sequence[str], decimals: int) -> str:
    """Return a fault where numbers of a .cube have not the decimals that lookkit writes."""
    numbers = [line.split() for line in lines if line[:1] in "-0123456789"]
    if any(len(one.partition(".")[2]) != decimals for row in numbers for one in row):
        return f"numbers without their {decimals} decimals: saved again by another program?"
    return ""


def _packed(folder: Path) -> str:
    """Return how an archive differs from the config and the LUT files beside it."""
    try:
        with zipfile.ZipFile(folder / f"{CONFIG_NAME}z") as archive:
            for name in archive.namelist():
                if leaves(name) or not (folder / name).is_file():
                    continue  # Told by the config's own rows.
                if archive.read(name) != (folder / name).read_bytes():
                    return f"its {name} is not the one beside it"
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError) as error:
        return f"no archive that can be read ({error})"
    return ""


def _unlike_lines(theirs: Sequence[str], ours: Sequence[str], within: float) -> str:
    for number, (one, other) in enumerate(zip_longest(theirs, ours, fillvalue=""), start=1):
        fault = unlike(one.encode(), other.encode(), within)
        if fault:
            told = one.strip()[:60] or "nothing"
            return f"line {number} is not as written from its recipe ({fault}): {told}"
    return ""
