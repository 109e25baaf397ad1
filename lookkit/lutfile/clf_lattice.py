"""A shaper and a lattice as one Common LUT Format file, written and read back.

The form is that of Academy S-2014-006 (version 3) and SMPTE ST 2136-1: a LUT1D of one
column, which every channel goes through, and a LUT3D, blue fastest, both 32-bit float.
"""

from __future__ import annotations

import hashlib
import os
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from lookkit.errors import InputError
from lookkit.files import write_beside
from lookkit.lutfile.clf import LARGEST_CLF, NODES, scan_clf
from lookkit.lutfile.cube import (
    ascii_text,
    first_unwritable,
    refuse_unwritable_lattice,
)
from lookkit.lutfile.faults import Faults, ascii_only
from lookkit.lutfile.model import accepted
from lookkit.lutfile.source import read_source
from lookkit.lutfile.xmltree import Element, parse
from lookkit.spaces.working import Array

Interpolation = Literal["tetrahedral", "trilinear"]

_NAMESPACE: Final = "urn:AMPAS:CLF:v3.0"
_MOST_ROWS: Final = 65536
_DEPTHS: Final = 'inBitDepth="32f" outBitDepth="32f"'
_ROWS_AT_ONCE: Final = 1 << 15


@dataclass(frozen=True, eq=False)
class ClfLattice:
    """What such a file holds.

    Attributes
    ----------
    shaper
        The curve's values at equal steps of 0-1, shape (m,), or None.
    lattice
        Shape (n, n, n, 3), indexed [red, green, blue].
    interpolation
        How the file asks to be read.
    """

    shaper: Array | None
    lattice: Array
    interpolation: Interpolation


def write_clf_lattice(
    path: str | os.PathLike[str],
    lattice: Array,
    *,
    shaper: Array | None = None,
    title: str,
    comments: Sequence[str] = (),
    takes: str = "",
    gives: str = "",
    interpolation: Interpolation = "tetrahedral",
    decimals: int = 8,
) -> None:
    """Write a lattice, and the shaper before it, as a .clf file.

    Parameters
    ----------
    path
        Where to; replaced in one step when all is written.
    lattice
        Shape (n, n, n, 3), 2 <= n <= 129, indexed [red, green, blue]. Values are code
        values, 0-1 for the whole range; negatives and values above 1 are written as they are.
    shaper
        Outputs at equal steps of the input 0-1, shape (m,), 2 <= m <= 65536, for all three
        channels; readers interpolate linearly and clamp the input to 0-1.
    title
        The name of the process list.
    comments
        Descriptions, one element each.
    takes, gives
        What comes in and what goes out, in words.
    interpolation
        What the file asks its readers for; those that do not know it may do otherwise.
    decimals
        Digits after the point, 7 to 17.

    All text is folded to ASCII. The id is made from the values, so the same values give the
    same file.

    Raises
    ------
    ValueError
        If a shape or the number of decimals is none of the above.
    LookkitError
        If a value is not finite or beyond 1e30, naming the first; or the disk fails.
    InputError
        If the folder does not exist or cannot be written.
    """
    if not 7 <= decimals <= 17:
        raise ValueError(f"expected 7 to 17 decimals, found {decimals}")
    size = refuse_unwritable_lattice(lattice)
    if shaper is not None and (
        shaper.ndim != 1
        or not 2 <= len(shaper) <= _MOST_ROWS
        or first_unwritable(shaper) is not None
    ):
        raise ValueError(
            f"expected a finite shaper of shape (m,), 2 <= m <= {_MOST_ROWS}, "
            f"found shape {shaper.shape}"
        )
    rows = np.ascontiguousarray(lattice, dtype=np.float64).reshape(-1, 3)
    head = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<ProcessList xmlns="{_NAMESPACE}" compCLFversion="3.0" '
        f'id="{_identity(shaper, rows)}" name={quoteattr(ascii_text(title))}>',
        *(_text("Description", comment) for comment in comments),
        *([_text("InputDescriptor", takes)] if takes else []),
        *([_text("OutputDescriptor", gives)] if gives else []),
    ]
    with write_beside(Path(path)) as beside, beside.open("w", encoding="ascii") as file:
        file.write("\n".join(head) + "\n")
        if shaper is not None:
            file.write(f'<LUT1D id="shaper" interpolation="linear" {_DEPTHS}>\n')
            file.write(f'<Array dim="{len(shaper)} 1">\n')
            file.writelines(_numbers(shaper[:, None], decimals))
            file.write("</Array>\n</LUT1D>\n")
        file.write(f'<LUT3D id="lattice" interpolation="{interpolation}" {_DEPTHS}>\n')
        file.write(f'<Array dim="{size} {size} {size} 3">\n')
        file.writelines(_numbers(rows, decimals))
        file.write("</Array>\n</LUT3D>\n</ProcessList>\n")


def read_clf_lattice(path: str | os.PathLike[str]) -> ClfLattice:
    """Read a .clf file of a lattice, or of a one-column LUT1D and a lattice, strictly.

    Raises
    ------
    InputError
        If the file cannot be read at all, or holds anything else.
    LutFileError
        With all the faults, each with its line.
    """
    file = accepted(scan_clf(Path(path)))
    root = parse(read_source(file.path, LARGEST_CLF), Faults())
    nodes = [] if root is None else [node for node in root.children if node.name in NODES]
    kinds = [node.name for node in nodes]
    plain = kinds in (["LUT3D"], ["LUT1D", "LUT3D"]) and all(
        node.attributes.get(depth) in ("32f", "16f")
        for node in nodes
        for depth in ("inBitDepth", "outBitDepth")
    )
    arrays = [_array(node) for node in nodes] if plain else []
    columns = arrays[0][0][1] if len(arrays) == 2 else 1
    odd = any(node.attributes.get("halfDomain") == "true" for node in nodes)
    if not plain or columns != 1 or odd:
        raise InputError(
            f"{path}: holds {file.summary}, expected a LUT3D, or a one-column LUT1D and a "
            "LUT3D, of float values"
        )
    return ClfLattice(
        arrays[0][1].reshape(-1) if len(arrays) == 2 else None,
        arrays[-1][1].reshape(arrays[-1][0]),
        "tetrahedral"
        if nodes[-1].attributes.get("interpolation") == "tetrahedral"
        else "trilinear",
    )


def _array(node: Element) -> tuple[list[int], Array]:
    array = next(node.all("Array"))
    dim = [int(token) for token in array.attributes["dim"].split()]
    return dim, np.array(ascii_only(array.text).split(), dtype=np.float64)


def _identity(shaper: Array | None, rows: Array) -> str:
    digest = hashlib.sha256(rows.tobytes())
    if shaper is not None:
        digest.update(np.ascontiguousarray(shaper, dtype=np.float64).tobytes())
    return f"urn:uuid:{uuid.UUID(bytes=digest.digest()[:16], version=5)}"


def _text(name: str, text: str) -> str:
    return f"<{name}>{escape(ascii_text(text))}</{name}>"


def _numbers(rows: Array, decimals: int) -> Iterator[str]:
    form = " ".join([f"%.{decimals}f"] * rows.shape[1]) + "\n"
    for first in range(0, len(rows), _ROWS_AT_ONCE):
        # Rounding first and adding zero keeps "-0.00000000" out of the file.
        part = np.round(rows[first : first + _ROWS_AT_ONCE], decimals) + 0.0
        yield (form * len(part)) % tuple(part.ravel().tolist())
