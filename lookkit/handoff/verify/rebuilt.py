"""A hand-off against the same folder built again from its own recipe.

What was changed in a file and consistently in its certificate and the manifest comes out here:
nothing of the folder but its recipe, and the scenes and date of its manifest, is believed. With the
same version on the same machine architecture every byte must be the same. Otherwise the words of
a text must be the same and each number within 1e-3 of the line's largest, or of 1 where that is
less: fits and searches end elsewhere by their last digits.

What cannot be built again is told: sheets, whose frames are not in the folder, and a config merged
over one that is not there. The report is made again by every run (`pages.py`).
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, Final

from lookkit.deliver.amf import UNDATED
from lookkit.errors import LookkitError
from lookkit.handoff.manifest import NAME, sha256_of
from lookkit.handoff.pages import NOTES
from lookkit.handoff.readme import SHEET
from lookkit.handoff.verify.listing import Listing, inside
from lookkit.handoff.verify.report import Row
from lookkit.progress import Progress, silent

if TYPE_CHECKING:
    from lookkit.look import Look

READER: Final = "rebuilt"
WITHIN: Final = 1e-3
_NUMBER: Final = re.compile(rb"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_HASH: Final = re.compile(rb"\b[0-9a-f]{40,64}\b|lookkit \d[\w.+-]*")
_TEXTS: Final = (".cube", ".clf", ".cc", ".ccc", ".cdl", ".amf", ".ocio", ".txt", ".json", ".toml")
_STAMP: Final = re.compile(r"_(\d{4}-\d\d-\d\d_\d{6}Z)\.amf$")
_WITH_FRAMES: Final = (
    SHEET, f"  sheet.png\n    {NOTES['sheet.png']}\n"
)  # fmt: skip
"""What pages tell of a sheet, which is built of frames alone."""


def rebuilt_rows(listing: Listing, look: Look, progress: Progress = silent) -> Iterator[Row]:
    """Yield a row for each file that differs from the one built again, and one for all others.

    Parameters
    ----------
    look
        Of the folder's recipe, with the scenes it was built for.
    """
    from lookkit.handoff.build import build

    said, same = listing.manifest, listing.same
    with TemporaryDirectory() as place:
        try:
            made = build(as_dated(look, said), Path(place), progress).folder
        except LookkitError as error:
            yield Row("", READER, "faulty", f"its recipe cannot be built again: {error}")
            return
        agreeing = 0
        for name in sorted((_files(made) | set(listing.entries)) - {"report.html"}):
            row = _row(listing, made, name, same=same)
            agreeing += row is None
            if row is not None:
                yield row
    how = "byte for byte" if same else f"within {WITHIN:g}, by another version or architecture"
    yield Row("", READER, "agrees", f"{agreeing} files are as built again, {how}")


def _row(listing: Listing, made: Path, name: str, *, same: bool) -> Row | None:
    there, again = listing.folder / name, made / name
    if listing.entries.get(name, {}).get("part") == "merged config" or name == "sheet.png":
        return Row(name, READER, "absent", "depends on frames or a config that are not here")
    if not there.is_file() or not inside(listing.folder, there):
        return Row(name, READER, "faulty", "the recipe makes this file, and it is not here")
    if not again.is_file():
        return Row(name, READER, "faulty", "the recipe does not make this file")
    if sha256_of(there) == sha256_of(again):
        return None
    if "sheet.png" in listing.entries and name in ("README.txt", "ACCURACY.txt"):
        text = there.read_text(encoding="utf-8", errors="replace")
        for told in _WITH_FRAMES:
            text = text.replace(told, "")
        if text == again.read_text(encoding="utf-8"):
            return None
    if same:
        return Row(name, READER, "faulty", f"other bytes than built again{_where(there, again)}")
    return _by_figures(there, again, name)


def _by_figures(there: Path, again: Path, name: str) -> Row | None:
    if there.suffix.lower() == ".ocioz":
        try:
            with zipfile.ZipFile(there) as one, zipfile.ZipFile(again) as other:
                if sorted(one.namelist()) != sorted(other.namelist()):
                    return Row(name, READER, "faulty", "other files in it than built again")
        except (zipfile.BadZipFile, OSError, ValueError) as error:
            return Row(name, READER, "faulty", f"cannot be read ({error})")
        return Row(name, READER, "reads", "an archive: its files are compared beside it")
    if there.suffix.lower() not in _TEXTS:
        return Row(name, READER, "absent", "a picture of other bytes: not compared")
    with there.open("rb") as one_file, again.open("rb") as other_file:
        for number, (one_line, other_line) in enumerate(_paired(one_file, other_file), start=1):
            fault = unlike(one_line, other_line)
            if fault:
                return Row(name, READER, "faulty", f"line {number}: {fault}")
    return None


def _paired(one: Any, other: Any) -> Iterator[tuple[bytes, bytes]]:
    from itertools import zip_longest

    yield from zip_longest(one, other, fillvalue=b"")


def unlike(one: bytes, other: bytes, within: float | None = None) -> str:
    """Return how two lines differ by more than numbers may; nothing where they do not.

    Parameters
    ----------
    within
        As a share of each number, or of 1e-3 where that is less; None for 1e-3 of the line's
        largest number, or of 1 where that is less.
    """
    if one == other:
        return ""
    if within is not None and _HASH.findall(one) != _HASH.findall(other):
        return "another hash or version"
    ours, theirs = _HASH.sub(b"", one), _HASH.sub(b"", other)
    if _NUMBER.sub(b"#", ours) != _NUMBER.sub(b"#", theirs):
        return "other words than built again"
    found = [float(text) for text in _NUMBER.findall(ours)]
    wanted = [float(text) for text in _NUMBER.findall(theirs)]
    largest = max([1.0, *(abs(value) for value in wanted)])
    for value, aim in zip(found, wanted, strict=True):
        most = WITHIN * largest if within is None else within * max(abs(aim), 1e-3)
        if not abs(value - aim) <= most:
            return f"a number {abs(value - aim):.3g} away from the one built again"
    return ""


def _where(there: Path, again: Path) -> str:
    """Return the first line in which two texts differ, in words."""
    if there.suffix.lower() not in _TEXTS:
        return ""
    with there.open("rb") as one, again.open("rb") as other:
        for number, (found, wanted) in enumerate(_paired(one, other), start=1):
            if found != wanted:
                return f", first in line {number}"
    return ""


def _files(folder: Path) -> set[str]:
    return {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and path.name != NAME
    }


def as_dated(look: Look, manifest: Mapping[str, Any]) -> Look:
    """Return the look as it was delivered: its date is in the manifest alone."""
    deliver = manifest.get("deliver")
    said = deliver.get("date") if isinstance(deliver, dict) else None
    stamps = (_STAMP.search(name) for name in manifest.get("files", {}))
    stamp = next((one[1] for one in stamps if one), None)
    try:
        if isinstance(said, str):
            return look.delivering(None, datetime.fromisoformat(said))
        if stamp is not None:
            # From the environment, at that time.
            when = datetime.strptime(stamp, "%Y-%m-%d_%H%M%SZ").replace(tzinfo=UTC)
            return look if when == UNDATED else look.delivering(None, when)
    except ValueError:
        pass
    return look
