"""A strict reader of .3dl: a line of input positions, then a lattice of whole numbers.

The format states the depth of neither input nor output. As other readers do, both are
taken from the largest number: the smallest of 8, 10, 12, 14 and 16 bits that holds it.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import numpy as np

from lookkit.lutfile.faults import Faults, shown
from lookkit.lutfile.lines import LARGEST_TEXT, Lines
from lookkit.lutfile.model import Lattice, LutFile, Stage
from lookkit.lutfile.source import read_source

_DEPTHS: Final = (8, 10, 12, 14, 16)
_LARGEST_SIZE: Final = 256
_ROWS_OF_THREE: Final = 27
"""With three points an edge the line of positions looks like a row."""
_HEADERS: Final = re.compile(
    r"3DMESH|Mesh\s+[0-9]+\s+[0-9]+|LUT[0-9]+|gamma\s+[0-9.]+", re.IGNORECASE
)


def scan_3dl(path: Path) -> LutFile:
    """Return what a .3dl file holds and every fault found.

    Raises
    ------
    InputError
        If the file cannot be read at all.
    """
    faults = Faults()
    lines = Lines(read_source(path, LARGEST_TEXT), faults)
    stages: tuple[Stage, ...] = ()
    summary = ""
    if not faults.has("empty", "binary"):
        stages, summary = _read(lines)
    return LutFile(path, "3dl", "", tuple(lines.comments), stages, faults.sorted(), summary)


def _read(lines: Lines) -> tuple[tuple[Stage, ...], str]:
    faults = lines.faults
    positions: list[float] | None = None
    positions_line = 0
    rows: list[list[float]] = []
    for line in lines.rest():
        if _HEADERS.fullmatch(line):
            continue
        if not re.search(r"[0-9]", line):
            faults.add(lines.number, "stray-text", shown(line), "a row of whole numbers")
            continue
        count = len(line.split())
        if positions is None and not rows and count != 3:
            positions, positions_line = lines.numbers(line), lines.number
            continue
        values = lines.numbers(line, 3)
        if any(value != int(value) for value in values if np.isfinite(value)):
            faults.add(lines.number, "not-whole", shown(line), "whole numbers")
        elif any(value < 0 for value in values):
            faults.add(lines.number, "negative", shown(line), "numbers from 0")
        if len(rows) <= _LARGEST_SIZE**3:
            rows.append(values)
    if positions is None and len(rows) == _ROWS_OF_THREE + 1:
        positions, positions_line = rows.pop(0), 1
    size = round(len(rows) ** (1 / 3))
    if size < 2 or size**3 != len(rows):
        wanted = len(positions) ** 3 if positions else 0
        faults.add(
            lines.number,
            "missing-rows" if len(rows) < wanted or not wanted else "extra-rows",
            f"{len(rows)} rows",
            f"{wanted} rows" if wanted else "a whole number cubed",
        )
        return (), ""
    if positions is None:
        faults.add(
            1,
            "positions-missing",
            "no line of input positions",
            "one before the rows",
            level="warning",
        )
    elif len(positions) != size:
        faults.add(
            positions_line,
            "sizes-unequal",
            f"{len(positions)} input positions",
            f"{size}, as the rows have",
        )
        return (), ""
    elif not _even(positions):
        faults.add(
            positions_line,
            "positions-uneven",
            "input positions that are not evenly spaced",
            "even steps; readers disagree about uneven ones",
            level="warning",
        )
        return (), ""
    table = np.array(rows)
    largest = float(np.nanmax(table)) if np.isfinite(table).any() else 0.0
    bits = next((bits for bits in _DEPTHS if largest < 2**bits), None)
    if bits is None:
        faults.add(0, "too-large", f"a number of {largest:g}", f"at most {2 ** _DEPTHS[-1] - 1}")
        return (), ""
    others = [depth for depth in (8, 10, 12) if 2**depth <= largest < 2 ** (depth + 1)]
    if others or bits == 14:
        faults.add(
            0,
            "depth-unclear",
            f"{largest:g} as the largest number, which some readers take as {bits} bits and some "
            f"as {(others or [16])[0]}",
            "a largest number near 255, 1023, 4095 or 65535",
            level="warning",
        )
    values = table.reshape(size, size, size, 3) / (2**bits - 1)
    summary = f"whole numbers up to {largest:g}, taken as {bits} bits"
    return (Lattice(values, np.zeros(3), np.ones(3)),), summary


def _even(positions: list[float]) -> bool:
    steps = np.array(positions)
    if not np.isfinite(steps).all():
        return False
    ideal = np.linspace(steps[0], steps[-1], len(steps))
    return bool(steps[0] == 0 < steps[-1] and np.abs(steps - ideal).max() <= 1.0)
