"""Strict readers of .spi1d (a curve) and .spi3d (a lattice)."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import numpy as np

from lookkit.errors import expected_one_of
from lookkit.lutfile.faults import Faults, shown
from lookkit.lutfile.lines import LARGEST_TEXT, Lines
from lookkit.lutfile.model import Curve, Lattice, LutFile, Stage
from lookkit.lutfile.source import read_source

_HEADER: Final = ("Version", "From", "Length", "Components")
_LONGEST_CURVE: Final = 1 << 20
_SIZES: Final = (2, 256)


def scan_spi1d(path: Path) -> LutFile:
    """Return what a .spi1d file holds and every fault found.

    Raises
    ------
    InputError
        If the file cannot be read at all.
    """
    faults = Faults()
    lines = Lines(read_source(path, LARGEST_TEXT), faults)
    stage = None if faults.has("empty", "binary") else _Spi1d(lines).read()
    return _file(path, "spi1d", lines, stage)


def scan_spi3d(path: Path) -> LutFile:
    """Return what a .spi3d file holds and every fault found.

    Raises
    ------
    InputError
        If the file cannot be read at all.
    """
    faults = Faults()
    data = read_source(path, LARGEST_TEXT)
    lines = Lines(data, faults)
    stage = None if faults.has("empty", "binary") else _spi3d(lines, len(data))
    return _file(path, "spi3d", lines, stage)


def _file(path: Path, kind: str, lines: Lines, stage: Stage | None) -> LutFile:
    stages = () if stage is None else (stage,)
    faults = lines.faults.sorted()
    return LutFile(path, kind, "", tuple(lines.comments), stages, faults)


class _Spi1d:
    def __init__(self, lines: Lines) -> None:
        self.lines = lines
        self.faults = lines.faults
        self.given: dict[str, int] = {}
        self.domain = (0.0, 1.0)
        self.length: int | None = None
        self.components: int | None = None

    def read(self) -> Stage | None:
        for line in self.lines.rest():
            if line == "{":
                break
            self._header(line)
        else:
            self.faults.add(self.lines.number, "data-missing", "no '{'", "values in braces")
            return None
        for name in ("From", "Length", "Components"):
            if name not in self.given:
                self.faults.add(
                    self.lines.number, "keyword-missing", f"no {name}", f"{name} before '{{'"
                )
        rows = self._rows()
        if self.length is None or self.components is None:
            return None
        if len(rows) != self.length:
            code = "missing-rows" if len(rows) < self.length else "extra-rows"
            self.faults.add(self.lines.number, code, f"{len(rows)} rows", str(self.length))
            return None
        low, high = self.domain
        if not low < high:
            return None
        table = np.array(rows)
        if self.components == 1:
            table = np.repeat(table, 3, axis=1)
        elif self.components == 2:
            table = np.column_stack([table, np.zeros(len(table))])
        return Curve(table, np.full(3, low), np.full(3, high))

    def _rows(self) -> list[list[float]]:
        rows: list[list[float]] = []
        closed = False
        for line in self.lines.rest():
            if closed:
                self.faults.add(self.lines.number, "stray-text", shown(line), "nothing after '}'")
            elif line == "}":
                closed = True
            else:
                values = self.lines.numbers(line, self.components)
                if len(rows) <= _LONGEST_CURVE:
                    rows.append(values)
        if not closed:
            self.faults.add(self.lines.number, "data-not-closed", "no '}'", "'}' after the rows")
        return rows

    def _header(self, line: str) -> None:
        name, *values = line.split()
        if name not in _HEADER:
            self.faults.add(
                self.lines.number,
                "unknown-keyword",
                shown(name),
                expected_one_of(name, _HEADER),
                key=name,
            )
            return
        if name in self.given:
            self.faults.add(
                self.lines.number,
                "duplicate-keyword",
                f"{name} a second time (line {self.given[name]})",
                "each keyword once",
                key=name,
            )
            return
        self.given[name] = self.lines.number
        if len(values) != (2 if name == "From" else 1):
            self.faults.add(
                self.lines.number,
                "keyword-value",
                shown(line),
                "two numbers" if name == "From" else "one number",
                key=name,
            )
        elif name == "From":
            low, high = (self.lines.number_of(value) for value in values)
            if not low < high:
                self.faults.add(
                    self.lines.number,
                    "domain-order",
                    f"{low:g} to {high:g}",
                    "a lowest below the highest input",
                    key=name,
                )
            self.domain = (low, high)
        elif name == "Length":
            self.length = self.lines.whole(values[0], 2, _LONGEST_CURVE, name)
        elif name == "Components":
            self.components = self.lines.whole(values[0], 1, 3, name)
        else:
            self.lines.whole(values[0], 1, 1, name)


def _spi3d(lines: Lines, length: int) -> Stage | None:
    faults = lines.faults
    first = lines.next()
    if lines.number > 1:
        faults.add(
            1, "comment-first", "a comment or blank line", "'SPILUT 1.0' at once", level="warning"
        )
    second, third = lines.next(), lines.next()
    if first is None or not re.fullmatch(r"SPILUT\s+1\.0", first):
        faults.add(1, "header", shown(first or ""), "'SPILUT 1.0'")
    if second is None or second.split() != ["3", "3"]:
        faults.add(2, "header", shown(second or ""), "'3 3', three channels in and out")
    sizes = [lines.whole(token, *_SIZES, "size") for token in (third or "").split()]
    if len(sizes) != 3:
        faults.add(3, "header", shown(third or ""), "three sizes")
        return None
    if None in sizes or len(set(sizes)) != 1:
        if None not in sizes:
            faults.add(lines.number, "sizes-unequal", shown(third or ""), "three equal sizes")
        return None
    size = sizes[0] or 0
    if size**3 * len("0 0 0 0 0 0\n") > 2 * length:
        faults.add(lines.number, "missing-rows", f"a file of {length} bytes", f"{size**3} points")
        return None
    values = np.full((size, size, size, 3), np.nan)
    seen = np.zeros((size, size, size), dtype=bool)
    for line in lines.rest():
        tokens = line.split()
        if len(tokens) != 6:
            faults.add(
                lines.number,
                "row-length",
                f"{len(tokens)} values, {shown(line)}",
                "three places and three numbers",
            )
            continue
        place = tuple(lines.whole(token, 0, size - 1, "place") for token in tokens[:3])
        numbers = [lines.number_of(token) for token in tokens[3:]]
        if None in place:
            continue
        if seen[place]:
            faults.add(
                lines.number,
                "duplicate-point",
                f"point {' '.join(tokens[:3])} a second time",
                "each point once",
            )
        seen[place] = True
        values[place] = numbers
    missing = int((~seen).sum())
    if missing:
        where = np.unravel_index(int(np.argmin(seen)), seen.shape)
        faults.add(
            lines.number,
            "missing-rows",
            f"{missing} points are missing, the first is {' '.join(str(int(i)) for i in where)}",
            f"{size**3} points",
        )
        return None
    return Lattice(values, np.zeros(3), np.ones(3))
