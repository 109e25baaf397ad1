"""Every error that lookkit raises on purpose; the whole tree is this file.

`InputError` and its children mean that what the user gave cannot be used (the
command line exits with 2); any other `LookkitError` is a job that failed (exit 1).
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


def some_of(lines: Sequence[str], most: int = 20) -> list[str]:
    """Return lines for a user to read: the first of them, and how many more there are."""
    if len(lines) <= most:
        return list(lines)
    return [*lines[: most - 1], f"and {len(lines) - most + 1} more like these"]


class LookkitError(Exception):
    """A job that could not be finished; the message is for the user."""


class NotWrittenError(LookkitError):
    """A result that its place does not take: a full disk, a write lock, a name too long."""


class InputError(LookkitError):
    """Something the user gave cannot be used."""


class UnknownNameError(InputError):
    """A name that is not in the table it was looked up in."""

    def __init__(self, what: str, name: str, choices: Iterable[str]) -> None:
        self.what = what
        self.name = name
        self.choices = tuple(choices)
        super().__init__(f"unknown {what} {name!r}: {self.expected}")

    @property
    def expected(self) -> str:
        """What would have been accepted, with the nearest valid name first."""
        return expected_one_of(self.name, self.choices)


@dataclass(frozen=True, order=True)
class Problem:
    """One thing that is wrong with a file, and where.

    `line` counts from 1; 0 means that the problem belongs to the whole file.
    """

    file: str
    line: int
    key: str
    found: str
    expected: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        key = f"{self.key}: " if self.key else ""
        word = "" if self.expected.startswith("did you mean") else "expected "
        tail = f", {word}{self.expected}" if self.expected else ""
        return f"{place}: {key}{self.found}{tail}"


class RecipeError(InputError):
    """All the problems of a recipe at once, in the order of their lines."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(sorted(set(problems)))
        super().__init__("\n".join(str(problem) for problem in self.problems))


class LutFileError(InputError):
    """A LUT file that a strict reader must refuse, with all that is wrong, by line."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def nearest(name: str, choices: Iterable[str]) -> str | None:
    """Return the valid name closest to a misspelt one, or None if none is close."""
    folded = {choice.casefold(): choice for choice in choices}
    close = difflib.get_close_matches(name.casefold(), folded, n=1, cutoff=0.5)
    return folded[close[0]] if close else None


def _letters(name: str) -> str:
    """Return a name's letters and digits alone, as one who leaves out its signs writes it."""
    return re.sub(r"[\W_]", "", name.casefold())


def expected_one_of(name: str, choices: Iterable[str]) -> str:
    """Describe the valid names, the nearest one to `name` first."""
    known = tuple(choices)
    plain = _letters(name)
    holding = [choice for choice in known if plain and plain in _letters(choice)]
    if len(holding) > 2 and len(known) > 12:
        # One of each family: LogC3 EI800 stands for all its exposure indexes.
        families = {choice.split()[0]: choice for choice in reversed(holding)}
        return f"the whole name, such as {', '.join(sorted(families.values()))}"
    numbers = set(re.findall(r"\d{3,}", name))
    numbered = [choice for choice in known if numbers & set(re.findall(r"\d{3,}", choice))]
    best = holding[0] if len(holding) == 1 and len(plain) > 2 else nearest(name, known)
    if best is None and 0 < len(numbered) < 5 < len(known):
        return f"the whole name, such as {', '.join(numbered)}"
    listing = ", ".join(known) if known else "nothing is defined"
    if best is None:
        return f"one of: {listing}"
    if len(known) > 12:
        return f"did you mean {best!r}?"
    return f"did you mean {best!r}? (one of: {listing})"
