"""Rows of three numbers, read in bulk where they are plain and one by one where not."""

from __future__ import annotations

import itertools
import re
from typing import Final

import numpy as np

from lookkit.lutfile.faults import LISTED, Faults, shown
from lookkit.spaces.working import Array

LONG_ROW: Final = 250
"""Bytes of a row that every reader takes (the limit of .cube 1.0; from memory)."""
LONGEST_LINE: Final = 4096
"""Bytes of a line beyond which it is not looked at."""
ODD_LINES: Final = 300_000
"""Lines that are no plain rows, after which a file is not read further."""

_NUMBER: Final = (
    r"[+-]?(?:[0-9]{1,100}+(?:\.[0-9]{0,100}+)?+|\.[0-9]{1,100}+)(?:[eE][+-]?[0-9]{1,9}+)?+"
)
_ROW: Final = rf"{_NUMBER}[ \t]{{1,100}}+{_NUMBER}[ \t]{{1,100}}+{_NUMBER}[ \t]{{0,100}}+"
PLAIN_ROWS: Final = re.compile(
    rf"(?:[ \t]{{0,100}}+(?:{_ROW})?+\r?+\n){{1,16384}}+".encode("ascii")
)
"""Rows of three plain numbers, and blank lines."""
_PLAIN: Final = re.compile(_NUMBER)
_COMMAS_BETWEEN: Final = re.compile(rf"\s*({_NUMBER})\s*,\s*({_NUMBER})\s*,\s*({_NUMBER})\s*,?\s*")
_COMMA_DECIMAL: Final = re.compile(r"[+-]?[0-9]+,[0-9]+(?:[eE][+-]?[0-9]+)?")
_NOT_FINITE: Final = re.compile(
    r"[+-]?(?:nan(?:\(\w*\))?|inf(?:inity)?|[0-9]\.#(?:[qs]nan|ind|inf)[0-9]*)", re.IGNORECASE
)
HAS_NUMBER: Final = re.compile(rf"[0-9]|{_NOT_FINITE.pattern}", re.IGNORECASE)
"""Whether a line is a row of numbers, however odd."""
_LARGEST_FLOAT: Final = float(np.finfo(np.float32).max)


class Rows:
    """Collects rows of three numbers of a text, with the lines they stand on.

    Parameters
    ----------
    text
        The whole text.
    limit
        Rows beyond are counted and not kept.
    """

    def __init__(self, text: bytes, faults: Faults, limit: int) -> None:
        self._text = text
        self._faults = faults
        self._limit = limit
        self._parts: list[Array] = []
        self._runs: list[tuple[int, int, int, int]] = []
        self.count = 0

    def add_bulk(self, start: int, end: int, line: int) -> None:
        """Take a part of the text that matches `PLAIN_ROWS`; its first line is `line`."""
        block = self._text[start:end]
        values = np.fromiter(map(float, block.split()), dtype=np.float64).reshape(-1, 3)
        if not len(values):
            return
        self._take(values, line, start, end)
        fits = (np.abs(values) <= _LARGEST_FLOAT).all(axis=1)
        if not fits.all():
            found = np.flatnonzero(~fits)
            first = self.count - len(values)
            for index in found[:LISTED]:
                where = self.line_of(first + int(index))
                self._too_large(where, f"{np.abs(values[index]).max():g}")
            if len(found) > LISTED:
                self._too_large(0, "more such numbers", len(found) - LISTED)
        long = max(map(len, block.split(b"\n")))
        if long > LONG_ROW:
            self._faults.add(
                line,
                "line-too-long",
                f"a row of {long} bytes",
                f"at most {LONG_ROW}",
                level="warning",
            )

    def add_line(self, text: str, line: int) -> None:
        """Take one line of odd numbers, noting what is odd; it counts as a row."""
        tokens = text.split()
        if between := _COMMAS_BETWEEN.fullmatch(text):
            tokens = list(between.groups())
            self._faults.add(
                line, "comma-separated", f"commas between values, {shown(text)}", "blanks"
            )
        if len(tokens) != 3:
            self._faults.add(
                line, "row-length", f"{len(tokens)} values, {shown(text)}", "three numbers"
            )
        values = []
        told: set[str] = set()
        for token in tokens[:3]:
            value, code, expected = _number(token)
            values.append(value)
            if code and code not in told:
                told.add(code)
                self._faults.add(line, code, shown(token), expected)
        self._take(np.array([[*values, *[np.nan] * (3 - len(values))]]), line, 0, 0)

    def line_of(self, row: int) -> int:
        """Return the line on which a row stands."""
        first, line, start, end = next(run for run in reversed(self._runs) if run[0] <= row)
        lines = enumerate(self._text[start:end].split(b"\n"))
        filled = (number for number, text in lines if text.strip())
        return line + next(itertools.islice(filled, row - first, None), 0)

    def table(self) -> Array:
        """Return all rows, shape (rows, 3)."""
        return np.concatenate(self._parts) if self._parts else np.empty((0, 3))

    def _take(self, values: Array, line: int, start: int, end: int) -> None:
        self._runs.append((self.count, line, start, end))
        self.count += len(values)
        if self.count <= self._limit:
            self._parts.append(values)

    def _too_large(self, line: int, found: str, times: int = 1) -> None:
        self._faults.add(line, "too-large", found, "a number that fits a 32-bit float", times=times)


def _number(token: str) -> tuple[float, str, str]:
    """Return a number, or NaN, with the code of its fault and what was expected."""
    if _PLAIN.fullmatch(token):
        value = float(token)
        if abs(value) > _LARGEST_FLOAT:
            return value, "too-large", "a number that fits a 32-bit float"
        return value, "", ""
    if _COMMA_DECIMAL.fullmatch(token):
        return float(token.replace(",", ".")), "comma-decimal", "a decimal point, not a comma"
    if _NOT_FINITE.fullmatch(token):
        return float("nan"), "not-finite", "a finite number"
    return float("nan"), "bad-number", "a decimal number"
