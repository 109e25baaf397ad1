"""A strict reader of .csp: curves through given points, then a curve or a lattice."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from lookkit.lutfile.faults import Faults, shown
from lookkit.lutfile.lines import LARGEST_TEXT, Lines
from lookkit.lutfile.model import Curve, Lattice, LutFile, Points, Stage
from lookkit.lutfile.source import read_source
from lookkit.spaces.working import Array

_MOST_POINTS: Final = 65536
_HALF: Final = 65504.0
"""The largest half float; readers resample what lies beyond at will."""
_SIZES: Final = (2, 256)
_CHANNELS: Final = ("red", "green", "blue")


def scan_csp(path: Path) -> LutFile:
    """Return what a .csp file holds and every fault found.

    Raises
    ------
    InputError
        If the file cannot be read at all.
    """
    faults = Faults()
    lines = Lines(read_source(path, LARGEST_TEXT), faults)
    stages: tuple[Stage, ...] = ()
    if not faults.has("empty", "binary"):
        stages = _read(lines)
    return LutFile(path, "csp", "", tuple(lines.comments), stages, faults.sorted())


def _read(lines: Lines) -> tuple[Stage, ...]:
    faults = lines.faults
    head = lines.next()
    if head != "CSPLUTV100":
        faults.add(max(lines.number, 1), "header", shown(head or ""), "'CSPLUTV100'")
        return ()
    kind = lines.next()
    if kind not in ("1D", "3D"):
        faults.add(lines.number, "header", shown(kind or ""), "'1D' or '3D'")
        return ()
    line = lines.next()
    if line is not None and line.upper() == "BEGIN METADATA":
        start = lines.number
        for text in lines.rest():
            if text.upper() == "END METADATA":
                break
            lines.comments.append(text)
        else:
            faults.add(start, "data-missing", "metadata without an end", "'END METADATA'")
            return ()
        line = lines.next()
    curves = []
    for channel in _CHANNELS:
        curve = _points(lines, line, channel)
        if curve is None:
            return ()
        curves.append(curve)
        line = lines.next()
    shaper = Points(
        (curves[0][0], curves[1][0], curves[2][0]), (curves[0][1], curves[1][1], curves[2][1])
    )
    body = _curve(lines, line) if kind == "1D" else _lattice(lines, line)
    return () if body is None else (shaper, body)


def _points(lines: Lines, line: str | None, channel: str) -> tuple[Array, Array] | None:
    key = f"{channel} curve"
    if line is None:
        lines.faults.add(lines.number, "missing-rows", "the file ends", "a curve", key=key)
        return None
    if line == "0":
        return np.array([0.0, 1.0]), np.array([0.0, 1.0])
    count = lines.whole(line, 2, _MOST_POINTS, key)
    if count is None:
        return None
    inputs = np.array(lines.numbers(lines.next() or "", count))
    where = lines.number
    outputs = np.array(lines.numbers(lines.next() or "", count))
    if not (np.isfinite(inputs).all() and np.isfinite(outputs).all()):
        return None
    if not (np.diff(inputs) > 0).all():
        lines.faults.add(
            where, "domain-order", "inputs that do not increase", "increasing inputs", key=key
        )
        return None
    if np.abs([inputs, outputs]).max() > _HALF:
        lines.faults.add(
            where,
            "far-beyond",
            "a number far beyond any picture",
            "numbers that half floats hold; readers resample these curves and differ",
            key=key,
            level="warning",
        )
    return inputs, outputs


def _curve(lines: Lines, line: str | None) -> Stage | None:
    count = lines.whole(line or "", 2, _MOST_POINTS, "length")
    if count is None:
        return None
    rows = _rows(lines, count)
    return None if rows is None else Curve(rows, np.zeros(3), np.ones(3))


def _lattice(lines: Lines, line: str | None) -> Stage | None:
    tokens = (line or "").split()
    if len(tokens) != 3:
        lines.faults.add(lines.number, "header", shown(line or ""), "three sizes")
        return None
    sizes = [lines.whole(token, *_SIZES, "size") for token in tokens]
    if None in sizes:
        return None
    if len(set(sizes)) != 1:
        lines.faults.add(
            lines.number, "sizes-unequal", shown(line or ""), "three equal sizes", level="warning"
        )
        return None
    size = sizes[0] or 0
    rows = _rows(lines, size**3)
    if rows is None:
        return None
    values = rows.reshape(size, size, size, 3).transpose(2, 1, 0, 3)
    return Lattice(np.ascontiguousarray(values), np.zeros(3), np.ones(3))


def _rows(lines: Lines, wanted: int) -> Array | None:
    rows: list[list[float]] = []
    for line in lines.rest():
        values = lines.numbers(line, 3)
        if len(rows) == wanted:
            lines.faults.add(
                lines.number, "extra-rows", f"a row after {wanted} rows", f"{wanted} rows"
            )
        else:
            rows.append(values)
    if len(rows) < wanted:
        lines.faults.add(
            lines.number, "missing-rows", f"the file ends after {len(rows)} rows", str(wanted)
        )
        return None
    return np.array(rows)
