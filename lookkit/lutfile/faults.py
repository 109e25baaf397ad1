"""What is wrong with a LUT file, each fault with its line."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import Final, Literal

from lookkit.errors import Problem

Level = Literal["error", "warning"]
"""An error breaks the format or leaves the meaning in doubt; a warning departs from the
format, or from what all readers share, while the meaning is plain."""

LISTED: Final = 50
"""Faults of one kind that are listed with their lines; the rest is counted."""
_SHOWN: Final = 48


@dataclass(frozen=True)
class Fault:
    """One fault of a LUT file.

    Attributes
    ----------
    line
        Counts from 1; 0 belongs to the whole file.
    code
        What kind of fault, a stable short name such as `comma-decimal`.
    key
        The keyword or element at fault, or "".
    more
        How many further faults of this kind are not listed.
    """

    line: int
    code: str
    level: Level
    key: str
    found: str
    expected: str
    more: int = 0

    def problem(self, file: str) -> Problem:
        """Return the fault as a located message."""
        rest = f" (and {self.more} more of this kind)" if self.more else ""
        return Problem(file, self.line, self.key, self.found, self.expected + rest)


class Faults:
    """Collects faults; lists the first of each kind and counts the others."""

    def __init__(self) -> None:
        self._listed: list[Fault] = []
        self._counts: Counter[str] = Counter()

    def add(
        self,
        line: int,
        code: str,
        found: str,
        expected: str,
        *,
        key: str = "",
        level: Level = "error",
        times: int = 1,
    ) -> None:
        """Note a fault; `times` counts faults of which only the first is described."""
        if self._counts[code] < LISTED:
            self._listed.append(Fault(line, code, level, key, found, expected, times - 1))
        self._counts[code] += times

    @property
    def count(self) -> int:
        """How many faults were noted."""
        return self._counts.total()

    def has(self, *codes: str) -> bool:
        """Whether a fault of any of these kinds was noted."""
        return any(self._counts[code] for code in codes)

    def sorted(self) -> tuple[Fault, ...]:
        """Return the faults by line; the last of an overfull kind says how many follow."""
        shown: Counter[str] = Counter()
        for fault in self._listed:
            shown[fault.code] += 1 + fault.more
        last = {fault.code: index for index, fault in enumerate(self._listed)}
        out = list(self._listed)
        for code, index in last.items():
            unlisted = self._counts[code] - shown[code]
            if unlisted:
                out[index] = replace(out[index], more=out[index].more + unlisted)
        return tuple(sorted(out, key=lambda fault: (fault.line, fault.code)))


def shown(text: bytes | str) -> str:
    """Return a piece of a file quoted for a message: short, and without control characters."""
    if isinstance(text, bytes):
        text = text[: 4 * _SHOWN].decode("utf-8", "replace")
    return repr(text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "...")


def ascii_only(text: str) -> str:
    """Return text whose letters beyond ASCII are `?`: digits and blanks among them are none."""
    return text.encode("ascii", "replace").decode("ascii")
