"""Shot lists in files of their own: CSV with a header, or TOML with [[shots]]."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from pydantic import ValidationError

from lookkit.errors import InputError, Problem, RecipeError, expected_one_of
from lookkit.recipe.extend import read_text
from lookkit.recipe.lines import key_lines, line_of
from lookkit.recipe.shots import Shot, shot_for
from lookkit.recipe.toml import parse_toml

if TYPE_CHECKING:
    from lookkit.look import Look

_KEYS: Final = ("match", "camera", "scene", "note")


def read_shots(path: Path, look: Look) -> tuple[Shot, ...]:
    """Return the lines of a shot list.

    Raises
    ------
    InputError
        If the file cannot be read.
    RecipeError
        With every problem, each with its line: keys, patterns, cameras and scenes that the recipe
        does not have.
    """
    text = read_text(path)
    rows = list(_csv_rows(path, text) if path.suffix.lower() == ".csv" else _toml_rows(path, text))
    problems: list[Problem] = []
    shots: list[Shot] = []
    for line, row in rows:
        wrong = list(_problems(str(path), line, row, look))
        problems += wrong
        if not wrong:
            try:
                shots.append(Shot.model_validate(row))
            except ValidationError as error:
                for one in error.errors(include_url=False):
                    key = ".".join(map(str, one["loc"]))
                    problems.append(Problem(str(path), line, key, repr(row.get(key)), one["msg"]))
    if problems:
        raise RecipeError(problems)
    return tuple(shots)


def shot_called(shots: Sequence[Shot], names: Iterable[str]) -> Shot | None:
    """Return the line of a shot list that fits the first of a clip's names that any line fits."""
    called = (Path(name.replace("\\", "/")) for name in names)
    found = (shot_for(shots, one) for one in called)
    return next((one for one in found if one is not None), None)


def _csv_rows(path: Path, text: str) -> Iterator[tuple[int, dict[str, Any]]]:
    reader = csv.DictReader(io.StringIO(text), skipinitialspace=True)
    try:
        if not reader.fieldnames or "match" not in reader.fieldnames:
            raise InputError(f"{path}:1: expected a header with the columns {', '.join(_KEYS)}")
        for row in reader:
            filled = {key: value.strip() for key, value in row.items() if key and value}
            if filled:
                yield reader.line_num, filled
    except csv.Error as error:
        raise InputError(f"{path}:{reader.line_num}: no CSV ({error})") from error


def _toml_rows(path: Path, text: str) -> Iterator[tuple[int, dict[str, Any]]]:
    data = parse_toml(text, str(path))
    lines = key_lines(text)
    shots = data.get("shots")
    if not isinstance(shots, list) or not all(isinstance(one, dict) for one in shots):
        raise InputError(f"{path}: no [[shots]] in it, expected a shot list")
    for place, row in enumerate(shots):
        yield line_of(lines, ("shots", place)), row


def _problems(file: str, line: int, row: dict[str, Any], look: Look) -> Iterator[Problem]:
    for key in row:
        if key not in _KEYS:
            yield Problem(file, line, str(key), "unknown key", expected_one_of(str(key), _KEYS))
    for key in ("match", "camera"):
        if not row.get(key):
            yield Problem(file, line, key, "missing", "a value")
    for key, known in (("camera", look.cameras), ("scene", look.scenes)):
        name = row.get(key)
        if name and name not in known:
            yield Problem(
                file, line, key, f"unknown {key} {name!r}", expected_one_of(str(name), known)
            )
