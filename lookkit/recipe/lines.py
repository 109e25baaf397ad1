"""Where each key of a TOML text stands.

tomllib accepts or refuses a text but does not tell the lines of its keys; this scanner
runs over a text that tomllib has accepted, so it can trust the grammar and only needs
to know strings, brackets and comments. Keys inside an inline table or an array get the
line on which their outermost key stands, unless the array spans lines: then each table
in it is found by the line on which it opens.
"""

from __future__ import annotations

import re
import tomllib

Path = tuple[str | int, ...]

_STRING = r'"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\''
_TOKEN = re.compile(rf"(?P<string>{_STRING})|(?P<comment>#[^\n]*)|(?P<open>[\[{{])"
                    r"|(?P<close>[\]}])|(?P<newline>\n)|.", re.DOTALL)  # fmt: skip
_KEY_PART = r"(?:[A-Za-z0-9_-]+|\"(?:\\.|[^\"\\\n])*\"|'[^'\n]*')"
_KEY = rf"{_KEY_PART}(?:[ \t]*\.[ \t]*{_KEY_PART})*"
_HEADER = re.compile(rf"[ \t]*(\[\[?)[ \t]*({_KEY})[ \t]*\]\]?")
_ASSIGNMENT = re.compile(rf"[ \t]*({_KEY})[ \t]*=")


def key_lines(text: str) -> dict[Path, int]:
    """Return the line (from 1) of every table and key of a valid TOML text."""
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    for number, statement in _statements(text):
        header = _HEADER.match(statement)
        if header:
            table = _resolve(_split(header[2]), counts)
            if header[1] == "[[":
                counts[table] = counts.get(table, -1) + 1
                lines.setdefault(table, number)
                table = (*table, counts[table])
            for length in range(1, len(table) + 1):
                lines.setdefault(table[:length], number)
            continue
        assignment = _ASSIGNMENT.match(statement)
        if assignment:
            path = table
            for part in _split(assignment[1]):
                path = (*path, part)
                lines.setdefault(path, number)
            _items(statement[assignment.end() :], number, path, lines)
    return lines


def line_of(lines: dict[Path, int], path: Path) -> int:
    """Return the line of `path`, or of its nearest parent that has one; 0 if none has."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 0


def _statements(text: str) -> list[tuple[int, str]]:
    """Split into statements, each with the line it starts on, comments blanked."""
    found: list[tuple[int, str]] = []
    parts: list[str] = []
    number = start = 1
    depth = 0
    for token in _TOKEN.finditer(text.replace("\r\n", "\n") + "\n"):
        piece = token[0]
        if token["newline"] and depth == 0:
            found.append((start, "".join(parts)))
            parts, start = [], number + 1
        elif not token["comment"]:
            depth += bool(token["open"]) - bool(token["close"])
            if parts or not piece.isspace() or piece == "\n":
                parts.append(piece)
        number += piece.count("\n")
    return found


def _items(value: str, number: int, path: Path, lines: dict[Path, int]) -> None:
    """Record the lines of the items of an array that spans lines."""
    if not value.lstrip().startswith("["):
        return
    depth, index, fresh = 0, 0, False
    for token in _TOKEN.finditer(value):
        piece = token[0]
        if fresh and depth == 1 and not piece.isspace() and not token["close"]:
            lines.setdefault((*path, index), number)
            fresh = False
        if token["open"]:
            depth += 1
            fresh = fresh or depth == 1
        elif token["close"]:
            depth -= 1
        elif piece == "," and depth == 1:
            index, fresh = index + 1, True
        number += piece.count("\n")


def _split(dotted: str) -> list[str]:
    """Split a dotted key, letting tomllib undo the quotes and escapes."""
    value = tomllib.loads(f"{dotted} = 0")
    parts: list[str] = []
    while isinstance(value, dict):
        ((part, value),) = value.items()
        parts.append(part)
    return parts


def _resolve(parts: list[str], counts: dict[Path, int]) -> Path:
    """Return the path of a header, with the current index of each array of tables."""
    path: Path = ()
    for position, part in enumerate(parts):
        path = (*path, part)
        if path in counts and position < len(parts) - 1:
            path = (*path, counts[path])
    return path
