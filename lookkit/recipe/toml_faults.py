"""What is wrong with a text that is no TOML, or holds more than a recipe can, in words."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

from lookkit.recipe.lines import Path, key_lines

DEEPEST: Final = 32
"""How many tables may lie in each other; a recipe needs 7."""

_CURLY: Final = "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u201b\u00ab\u00bb\u2039\u203a"
_LONG_INTEGER: Final = re.compile(r"(?<![\w.])[-+]?\d[\d_]{4000,}")
_KEY: Final = re.compile(r"^\s*(?P<brackets>\[{0,2})\s*(?P<key>[^\[\]=#]+?)\s*(?:\]|=)")
_TWICE: Final = (
    "Cannot overwrite",
    "Cannot declare",
    "Cannot mutate",
    "Duplicate",
    "Cannot redefine",
)


def explained(text: str, error: ValueError) -> tuple[int, str, str]:
    """Return the line, what was found there and what to write, of a text that tomllib refuses.

    The last is empty where nothing better is known than what was wanted.
    """
    what = str(error)
    place = re.search(r"at line (\d+)", what)
    rows = text.splitlines() or [""]
    line = min(int(place[1]), len(rows)) if place else len(rows)
    what = re.sub(r" \(at .*\)$", "", what)
    row = rows[line - 1]
    if text.lstrip().startswith("{"):
        return (
            1,
            "this is JSON",
            'TOML: lines such as name = "Warm print" below headings like [cameras.A]',
        )
    if any(letter in row for letter in _CURLY):
        straight = row.translate({ord(letter): '"' for letter in _CURLY}).strip()
        return line, "typographic quotes", f"straight ones: {straight[:80]}"
    if long := _LONG_INTEGER.search(text):
        at = text.count("\n", 0, long.start()) + 1
        return at, f"an integer of {len(long[0])} digits", "at most 19, as TOML has it"
    if what.startswith(_TWICE) and (found := _KEY.match(row)):
        name = f"{found['brackets']}{found['key']}{']' * len(found['brackets'])}"
        first = _first_place(rows, line, found["key"], bool(found["brackets"]))
        where = f", first in line {first}" if first else ""
        return line, f"{name} is there twice{where}", "each key and each table once"
    return line, f"not valid TOML ({what})", ""


def too_much(data: Mapping[str, Any]) -> tuple[Path | None, str, str] | None:
    """Return what a text holds that is more than TOML or a recipe may: where, found, expected."""
    waiting: list[tuple[Path, Any]] = [((), data)]
    while waiting:
        path, value = waiting.pop()
        if len(path) > DEEPEST:
            return path[:1], f"{len(path)} tables or more in each other", f"at most {DEEPEST}"
        if isinstance(value, int) and not -(2**63) <= value < 2**63:
            # TOML 1.0: integers are of 64 bits.
            return (
                path,
                f"an integer of {len(str(abs(value)))} digits",
                "at most 19, as TOML has it",
            )
        waiting += [((*path, key), inner) for key, inner in _inside(value)]
    return None


def _inside(value: Any) -> Iterator[tuple[str | int, Any]]:
    if isinstance(value, dict):
        yield from value.items()
    elif isinstance(value, list):
        yield from enumerate(value)


def _first_place(rows: list[str], line: int, key: str, table: bool) -> int:
    """Return the line of the first of two equal keys; 0 if it is not found."""
    start = 0
    if not table:
        headers = [at for at in range(line - 1) if re.match(r"\s*\[", rows[at])]
        start = headers[-1] if headers else 0
    try:
        before = key_lines("\n".join(rows[: line - 1]))
    except ValueError:
        return 0
    parts = tuple(part.strip().strip("\"'") for part in key.split("."))
    for path, at in before.items():
        named = tuple(part for part in path if isinstance(part, str))
        if at > start and (named == parts if table else named[-len(parts) :] == parts):
            return at
    return 0
