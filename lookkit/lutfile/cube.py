"""The .cube format: the one file that every monitor, editor and grader loads.

`write_cube` keeps to the dialect that every reader we know reads alike: one plain 3D
lattice (or one plain curve), quoted ASCII TITLE, whole-line comments, LF, no byte order
mark, no range keywords (the domain is the default, 0-1), red fastest, fixed decimals.
"""

from __future__ import annotations

import os
import textwrap
import unicodedata
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np

from lookkit.errors import LookkitError
from lookkit.files import write_beside
from lookkit.lutfile.cube_scan import LINE_BYTES, SIZES, scan_cube
from lookkit.lutfile.model import LutFile, accepted
from lookkit.spaces.working import Array

CubeFile = LutFile
"""A .cube file as read: `.lattice` or `.curve` (a mixed file is refused), `.title`, ..."""

WRITTEN_SIZES_3D: Final = (2, 129)
"""Sizes that are written: OpenColorIO reads no lattice above 129 points."""
LARGEST_VALUE: Final = 1e30
_ROWS_AT_ONCE: Final = 1 << 15

Domain = tuple[tuple[float, float, float], tuple[float, float, float]]
"""Lowest and highest input of each channel."""


def write_cube(
    path_or_file: str | os.PathLike[str] | BinaryIO,
    lattice: Array,
    *,
    title: str,
    comments: Sequence[str],
    decimals: int = 8,
    domain: Domain | None = None,
) -> None:
    """Write a 3D lattice as a plain .cube file.

    Parameters
    ----------
    path_or_file
        Where to; a path is replaced in one step when all is written. A file object must
        take bytes.
    lattice
        Shape (n, n, n, 3), 2 <= n <= 129, indexed [red, green, blue]. Values are code
        values; negatives and values above 1 are written as they are.
    title, comments
        Folded to ASCII; long or many-line comments become several `#` lines.
    decimals
        Digits after the point, 7 to 17. Each written value is within half a unit of the
        last digit.
    domain
        Only for a repaired file whose input is not 0-1: some readers ignore the keywords
        that state it.

    Raises
    ------
    ValueError
        If the shape or the number of decimals is none of the above.
    LookkitError
        If a value is not finite or beyond 1e30, naming the first; or the disk fails.
    InputError
        If the folder does not exist or cannot be written.
    """
    size = refuse_unwritable_lattice(lattice)
    rows = lattice.transpose(2, 1, 0, 3).reshape(-1, 3)
    _write(path_or_file, f"LUT_3D_SIZE {size}", rows, title, comments, decimals, domain)


def read_cube(path: str | os.PathLike[str]) -> CubeFile:
    """Read a .cube file strictly.

    Nothing is guessed: a file that breaks the format, or whose numbers could mean two
    things, is refused with every fault and its line. What the format forbids and yet leaves
    no doubt (CR LF, a TITLE without quotes) is accepted and listed in `faults`.

    Returns
    -------
    CubeFile
        `lattice.values` has shape (n, n, n, 3), indexed [red, green, blue]; `curve.table`
        has shape (n, 3); values as written, negatives and values above 1 included.

    Raises
    ------
    InputError
        If there is no such file, it is no regular file or larger than 256 MiB.
    LutFileError
        With all the faults, each with its line.
    """
    return accepted(scan_cube(Path(path)))


def write_cube_1d(
    path_or_file: str | os.PathLike[str] | BinaryIO,
    curve: Array,
    *,
    title: str,
    comments: Sequence[str],
    decimals: int = 8,
    domain: Domain | None = None,
) -> None:
    """Write a curve as a plain 1D .cube file.

    Parameters
    ----------
    curve
        Shape (n, 3), or (n,) for three equal channels; 2 <= n <= 65536. Values at evenly
        spaced inputs over the domain.

    The other parameters and the errors are those of `write_cube`.
    """
    rows = np.repeat(curve[:, None], 3, axis=1) if curve.ndim == 1 else curve
    low, high = SIZES["LUT_1D_SIZE"]
    if rows.ndim != 2 or rows.shape[1] != 3 or not low <= len(rows) <= high:
        raise ValueError(f"expected (n, 3) or (n,) with n {low} to {high}, found {curve.shape}")
    bad = first_unwritable(rows)
    if bad is not None:
        index, channel = bad
        raise LookkitError(
            f"curve point {index}: {'RGB'[channel]} is {rows[index, channel]}, "
            "which no LUT file can carry"
        )
    _write(path_or_file, f"LUT_1D_SIZE {len(rows)}", rows, title, comments, decimals, domain)


def refuse_unwritable_lattice(lattice: Array) -> int:
    """Return the size of a lattice that a file can carry; the errors are `write_cube`'s."""
    size = lattice.shape[0] if lattice.ndim == 4 else 0
    low, high = WRITTEN_SIZES_3D
    if lattice.shape != (size, size, size, 3) or not low <= size <= high:
        raise ValueError(f"expected (n, n, n, 3) with n {low} to {high}, found {lattice.shape}")
    bad = first_unwritable(lattice)
    if bad is not None:
        r, g, b, channel = bad
        raise LookkitError(
            f"point red {r}, green {g}, blue {b}: {'RGB'[channel]} is "
            f"{lattice[r, g, b, channel]}, which no LUT file can carry"
        )
    return size


def first_unwritable(values: Array) -> tuple[int, ...] | None:
    """Return where the first value is that no LUT file can carry, or None."""
    good = np.abs(values) <= LARGEST_VALUE
    if good.all():
        return None
    return tuple(int(i) for i in np.unravel_index(np.argmin(good), values.shape))


def _write(
    path_or_file: str | os.PathLike[str] | BinaryIO,
    size_line: str,
    rows: Array,
    title: str,
    comments: Sequence[str],
    decimals: int,
    domain: Domain | None,
) -> None:
    if not 7 <= decimals <= 17:
        raise ValueError(f"expected 7 to 17 decimals, found {decimals}")
    head = [*head_lines(title, comments), size_line]
    # Behind the size: FFmpeg passes over a domain that stands before it.
    if domain is not None:
        for name, values in zip(("DOMAIN_MIN", "DOMAIN_MAX"), domain, strict=True):
            head.append(" ".join([name, *(repr(float(value)) for value in values)]))
    start = ("\n".join(head) + "\n").encode("ascii")
    if isinstance(path_or_file, str | os.PathLike):
        with write_beside(Path(path_or_file)) as beside, beside.open("wb") as file:
            _write_parts(file, start, rows, decimals)
    else:
        _write_parts(path_or_file, start, rows, decimals)


def _write_parts(file: BinaryIO, start: bytes, rows: Array, decimals: int) -> None:
    file.write(start)
    form = f"%.{decimals}f %.{decimals}f %.{decimals}f\n"
    for first in range(0, len(rows), _ROWS_AT_ONCE):
        part = rows[first : first + _ROWS_AT_ONCE]
        # Rounding first and adding zero keeps "-0.00000000" out of the file.
        values = np.round(part, decimals) + 0.0
        text = (form * len(part)) % tuple(values.ravel().tolist())
        file.write(text.encode("ascii"))


def head_lines(title: str, comments: Sequence[str]) -> list[str]:
    """Return the lines of a file before its size."""
    return [_title_line(title), *_comment_lines(comments)]


def _title_line(title: str) -> str:
    plain = ascii_text(title).replace('"', "'")
    return f'TITLE "{plain[: LINE_BYTES - 10]}"'


def _comment_lines(comments: Sequence[str]) -> Iterator[str]:
    for comment in comments:
        for line in comment.splitlines() or [""]:
            parts = textwrap.wrap(ascii_text(line), LINE_BYTES - 10) or [""]
            yield from (f"# {part}".rstrip() for part in parts)


def ascii_text(text: str) -> str:
    """Return one line of printable ASCII: accents dropped, what is left over becomes `?`."""
    folded = unicodedata.normalize("NFKD", text)
    bare = "".join(letter for letter in folded if not unicodedata.combining(letter))
    printable = "".join(letter if letter.isprintable() else " " for letter in bare)
    return " ".join(printable.encode("ascii", "replace").decode("ascii").split())
