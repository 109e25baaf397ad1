"""The manifest against the folder: what is missing, changed, unlisted, or leads out of it."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any, Final

from lookkit.errors import InputError
from lookkit.handoff.manifest import FORMAT, NAME, machine, sha256_of
from lookkit.handoff.timeline.reading import ENDINGS
from lookkit.handoff.verify.report import Row
from lookkit.version import __version__

_LARGEST: Final = 64 << 20
"""Bytes of a manifest that is read at all; real ones have some kilobytes."""


@dataclass(frozen=True)
class Listing:
    """A folder as its manifest describes it.

    Attributes
    ----------
    format
        The number of its layout.
    manifest
        The manifest's tables.
    entries
        What the manifest says of each file that is there, a regular file inside the folder,
        and unchanged; in the order of their names. Of format 1 only hash and size are known.
    added
        Timelines that were put into the folder after it was built.
    rows
        A row for each file: it is as listed, or what is wrong with it.
    """

    folder: Path
    format: int
    manifest: Mapping[str, Any]
    entries: Mapping[str, Mapping[str, Any]]
    added: tuple[str, ...]
    rows: tuple[Row, ...]

    @property
    def same_version(self) -> bool:
        """Whether this very version of lookkit made the folder."""
        return bool(self.manifest.get("lookkit") == __version__)

    @property
    def same(self) -> bool:
        """Whether this version made it on this machine architecture: it builds the same bytes."""
        return self.same_version and bool(self.manifest.get("machine") == machine())


def read_listing(folder: Path) -> Listing:
    """Read a folder's manifest and compare it with what is there.

    Raises
    ------
    InputError
        If the folder is none, or has no manifest that can be read.
    """
    manifest = _manifest(folder)
    number = manifest.get("format", 1)
    if type(number) is not int or not 1 <= number <= FORMAT:
        raise InputError(
            f"{folder / NAME}: format {number!r}, expected 1 to {FORMAT}: made by a later lookkit?"
        )
    listed = manifest.get("files")
    if not isinstance(listed, dict):
        raise InputError(f"{folder / NAME}: no table 'files', expected the manifest of a hand-off")
    entries: dict[str, Mapping[str, Any]] = {}
    rows: list[Row] = []
    for name in sorted(listed):
        row = _compared(folder, name, listed[name])
        rows.append(row)
        if not row.bad:
            entries[name] = listed[name]
    unlisted = list(_unlisted(folder, listed))
    rows += unlisted
    added = tuple(row.file for row in unlisted if not row.bad)
    return Listing(folder, number, manifest, entries, added, tuple(rows))


def _manifest(folder: Path) -> dict[str, Any]:
    path = folder / NAME
    if not folder.is_dir():
        what = "is not a folder" if folder.exists() else "does not exist"
        raise InputError(f"{folder}: {what}, expected a hand-off folder")
    if not path.is_file() or path.is_symlink():
        raise InputError(f"{folder}: no {NAME} in it, expected a hand-off folder")
    if path.stat().st_size > _LARGEST:
        raise InputError(f"{path}: larger than {_LARGEST >> 20} MiB")
    try:
        found = json.loads(path.read_bytes().decode("utf-8"))
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: byte {error.start} is not UTF-8") from error
    except json.JSONDecodeError as error:
        raise InputError(f"{path}:{error.lineno}: no JSON ({error.msg})") from error
    except ValueError as error:  # Python reads no whole number of over 4300 digits.
        raise InputError(f"{path}: a number that cannot be read ({error})") from error
    except RecursionError as error:
        raise InputError(f"{path}: nested too deeply") from error
    if not isinstance(found, dict):
        raise InputError(f"{path}: expected a table")
    return found


def leaves(name: str) -> bool:
    """Whether a path of a manifest or a link could lead out of the folder, on any system."""
    posix, windows = PurePosixPath(name), PureWindowsPath(name)
    return (
        not name
        or "\\" in name
        or "\0" in name
        or posix.is_absolute()
        or bool(windows.drive or windows.root)
        or any(part in ("..", ".") for part in name.split("/"))
        or "" in name.split("/")
    )


def inside(folder: Path, path: Path) -> bool:
    """Whether a path, with every link followed, lies in the folder."""
    return path.resolve().is_relative_to(folder.resolve())


def figure(value: Any) -> float:
    """Return a number that a manifest or a certificate states.

    Raises
    ------
    ValueError
        If it is none, or not finite.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{value!r} is no number")
    try:
        found = float(value)
    except OverflowError as error:
        raise ValueError("a number beyond any measure") from error
    if not math.isfinite(found):
        raise ValueError(f"{found} is no figure")
    return found


def _compared(folder: Path, name: str, entry: Any) -> Row:
    try:
        return _held(folder, name, entry)
    except (OSError, ValueError) as error:  # Too long for the disk, no Unicode, not to be read.
        reason = getattr(error, "strerror", None) or "its name is none for a file here"
        return Row(name, NAME, "faulty", f"cannot be read ({reason})")


def _held(folder: Path, name: str, entry: Any) -> Row:
    if leaves(name):
        return Row(name, NAME, "faulty", "the manifest's path leads out of the folder")
    if not isinstance(entry, dict):
        return Row(name, NAME, "faulty", "its entry in the manifest is no table")
    path = folder / name
    if path.is_symlink() or not inside(folder, path):
        return Row(name, NAME, "faulty", "a link to elsewhere, expected a file")
    if not path.is_file():
        return Row(name, NAME, "faulty", "missing: listed in the manifest, not in the folder")
    size, wanted = path.stat().st_size, entry.get("bytes")
    if size != wanted:
        return Row(name, NAME, "faulty", f"changed: {size} bytes, the manifest says {wanted}")
    if sha256_of(path) != entry.get("sha256"):
        return Row(name, NAME, "faulty", "changed: its sha256 is not the manifest's")
    return Row(name, NAME, "agrees", "size and sha256 as listed")


def _unlisted(folder: Path, listed: Mapping[str, Any]) -> Iterator[Row]:
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if name == NAME or name in listed or (path.is_dir() and not path.is_symlink()):
            continue
        plain = path.is_file() and not path.is_symlink() and inside(folder, path)
        if plain and path.suffix.lower() in ENDINGS:
            yield Row(name, NAME, "reads", "a timeline that was added: not in the manifest")
        else:
            yield Row(name, NAME, "faulty", "unlisted: in the folder, not in the manifest")
