"""The lines of a small text format, one by one, with the faults that any text can have."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

import numpy as np

from lookkit.lutfile.faults import Faults, ascii_only, shown
from lookkit.lutfile.source import as_text

LARGEST_TEXT: Final = 64 << 20
"""Bytes of a file that is read line by line."""
MOST_LINES: Final = 3_000_000
_LONGEST: Final = 65536
_CONTROL: Final = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_NUMBER: Final = re.compile(
    r"[+-]?(?:[0-9]{1,100}(?:\.[0-9]{0,100})?|\.[0-9]{1,100})(?:[eE][+-]?[0-9]{1,9})?"
)
_BLANKS: Final = " \t\r\n\v\f"
_LARGEST_FLOAT: Final = float(np.finfo(np.float32).max)


class Lines:
    """Walks over the lines of a text that are neither blank nor `#` comments.

    Attributes
    ----------
    number
        The line that was given last, from 1; the last line when all are gone.
    comments
        The comments passed so far.
    """

    def __init__(self, data: bytes, faults: Faults) -> None:
        self.faults = faults
        self.number = 0
        self.comments: list[str] = []
        self._lines = self._walk(as_text(data, faults))

    def next(self) -> str | None:
        """Return the next line, stripped, or None at the end."""
        return next(self._lines, None)

    def rest(self) -> Iterator[str]:
        """Give all the lines that are left."""
        return self._lines

    def _walk(self, text: bytes) -> Iterator[str]:
        start = 0
        while start < len(text):
            end = text.index(b"\n", start)
            self.number += 1
            if self.number > MOST_LINES:
                self.faults.add(
                    self.number, "too-long", f"more than {MOST_LINES} lines", "a LUT of any use"
                )
                return
            raw, start = text[start : min(end, start + _LONGEST + 1)], end + 1
            if line := self._plain(raw):
                yield line

    def _plain(self, raw: bytes) -> str:
        if len(raw) > _LONGEST:
            self.faults.add(self.number, "line-too-long", f"over {_LONGEST} bytes", "shorter lines")
            return ""
        # Other blanks than these are none to readers of bytes, and would hide a word from them.
        line = raw.decode("utf-8", "replace").strip(_BLANKS)
        if odd := _CONTROL.search(line):
            self.faults.add(self.number, "control-character", shown(odd[0]), "plain text")
            line = _CONTROL.sub(" ", line).strip()
        if line.startswith("#"):
            self.comments.append(line[1:].strip())
            return ""
        return ascii_only(line)

    def numbers(self, text: str, count: int | None = None) -> list[float]:
        """Return the numbers of a line, NaN for each that is none.

        `count` is how many there must be; missing ones are NaN.
        """
        tokens = text.split()
        if count is not None and len(tokens) != count:
            self.faults.add(
                self.number,
                "row-length",
                f"{len(tokens)} values, {shown(text)}",
                f"{count} numbers" if count > 1 else "one number",
            )
            tokens = (tokens + ["?"] * count)[:count]
            return [float(token) if _NUMBER.fullmatch(token) else np.nan for token in tokens]
        return [self.number_of(token) for token in tokens]

    def number_of(self, token: str) -> float:
        """Return one number, or NaN with a fault."""
        if not _NUMBER.fullmatch(token):
            code, wanted = "bad-number", "a decimal number"
            if token.lower().lstrip("+-").startswith(("nan", "inf", "1.#")):
                code, wanted = "not-finite", "a finite number"
            elif "," in token:
                code, wanted = "comma-decimal", "a decimal point"
            self.faults.add(self.number, code, shown(token), wanted)
            return float("nan")
        value = float(token)
        if abs(value) > _LARGEST_FLOAT:
            self.faults.add(
                self.number, "too-large", shown(token), "a number that fits a 32-bit float"
            )
        return value

    def whole(self, token: str, low: int, high: int, key: str) -> int | None:
        """Return a whole number between `low` and `high`, or None with a fault."""
        if re.fullmatch(r"[+-]?[0-9]{1,18}", token) and low <= int(token) <= high:
            return int(token)
        self.faults.add(
            self.number, "size-range", shown(token), f"a whole number {low} to {high}", key=key
        )
        return None
