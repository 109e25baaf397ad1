"""A shaper and a lattice as one Common LUT Format file, and back.

The form is that of SMPTE ST 2136-1 and Academy S-2014-006 (version 3): a LUT1D of one column,
which every channel goes through, and a LUT3D, blue fastest, both 32-bit float.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np

from lookkit.errors import InputError
from lookkit.lutfile.clf import LARGEST_CLF, NODES, scan_clf
from lookkit.lutfile.clf_write import Clf
from lookkit.lutfile.cube import first_unwritable, refuse_unwritable_lattice
from lookkit.lutfile.faults import Faults, ascii_only
from lookkit.lutfile.model import accepted
from lookkit.lutfile.source import read_source
from lookkit.lutfile.xmltree import Element, parse
from lookkit.ocio import lattice_transform, library, table_transform
from lookkit.spaces.working import Array

Interpolation = Literal["tetrahedral", "trilinear"]

_MOST_ROWS: Final = 65536


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


def clf_of_lattice(
    lattice: Array, shaper: Array | None = None, interpolation: Interpolation = "tetrahedral"
) -> Clf:
    """Return a lattice, and the shaper before it, ready to be written as a .clf.

    Parameters
    ----------
    lattice
        Shape (n, n, n, 3), 2 <= n <= 129, indexed [red, green, blue]. Values are code
        values, 0-1 for the whole range; negatives and values above 1 are carried.
    shaper
        Outputs at equal steps of the input 0-1, shape (m,), 2 <= m <= 65536, for all three
        channels; readers interpolate linearly and clamp the input to 0-1.
    interpolation
        What the file asks its readers for; those that do not know it may do otherwise.

    Returns
    -------
    Clf
        The numbers are written as 32-bit floats, to seven digits at least.

    Raises
    ------
    ValueError
        If a shape is none of the above.
    LookkitError
        If a value is not finite or beyond 1e30, naming the first.
    """
    refuse_unwritable_lattice(lattice)
    if shaper is not None and (
        shaper.ndim != 1
        or not 2 <= len(shaper) <= _MOST_ROWS
        or first_unwritable(shaper) is not None
    ):
        raise ValueError(
            f"expected a finite shaper of shape (m,), 2 <= m <= {_MOST_ROWS}, "
            f"found shape {shaper.shape}"
        )
    table = lattice_transform(lattice)
    if interpolation == "trilinear":
        table.setInterpolation(library().INTERP_LINEAR)
    if shaper is None:
        return Clf([table])
    return Clf([table_transform(np.repeat(shaper[:, None], 3, axis=1)), table])


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
