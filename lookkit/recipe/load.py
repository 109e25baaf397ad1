"""From a recipe's text to the model, with every problem at once and its line."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any, cast, get_args

from pydantic import ValidationError

from lookkit.errors import InputError, Problem, RecipeError, expected_one_of
from lookkit.nodes import KINDS, LOOK_KINDS, RENDERING_KINDS, kind_name
from lookkit.nodes.base import Table
from lookkit.recipe.lines import Path as KeyPath
from lookkit.recipe.lines import key_lines, line_of
from lookkit.recipe.model import SCHEMA, Recipe

_LARGEST = 4 << 20


def read_text(path: Path) -> str:
    """Return the text of a recipe file.

    Raises
    ------
    InputError
        If it is missing, not a file, too large or not UTF-8.
    """
    try:
        if not path.is_file():
            what = "is not a file" if path.exists() else "does not exist"
            raise InputError(f"{path}: {what}, expected a recipe (.toml)")
        if path.stat().st_size > _LARGEST:
            raise InputError(f"{path}: larger than 4 MiB, expected a recipe (.toml)")
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path}: byte {error.start} is not UTF-8, expected a text file"
        ) from error


def parse_recipe(text: str, file: str = "<recipe>") -> Recipe:
    """Validate the text of a recipe; `file` is named in the problems.

    Raises
    ------
    RecipeError
        With every problem of the recipe, each located.
    """
    data = parse_toml(text, file)
    lines = key_lines(text)
    if (wrong := _schema_problem(data, lines, file)) is not None:
        raise RecipeError([wrong])
    try:
        return Recipe.model_validate_json(
            json.dumps(data, default=str), strict=True, context={"folder": Path(file).parent}
        )
    except ValidationError as error:
        raise RecipeError(problems_of(error, Recipe, data, lines, file)) from error


def parse_toml(text: str, file: str) -> dict[str, Any]:
    """Return the tables of a TOML text.

    Raises
    ------
    RecipeError
        If it is not TOML, with the line.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        what = str(error)
        place = re.search(r"at line (\d+)", what)
        line = int(place[1]) if place else text.count("\n") + 1
        what = re.sub(r" \(at .*\)$", "", what)
        raise RecipeError(
            [Problem(file, line, "", f"not valid TOML ({what})", "a recipe in TOML")]
        ) from error
    except RecursionError as error:
        raise RecipeError([Problem(file, 0, "", "nested too deeply", "a recipe")]) from error


def _schema_problem(data: dict[str, Any], lines: dict[KeyPath, int], file: str) -> Problem | None:
    found = data.get("schema")
    if found == SCHEMA and not isinstance(found, bool | float):
        return None
    if "schema" not in data:
        return Problem(file, 1, "schema", "missing", f"schema = {SCHEMA}")
    what = f"{found!r}"
    if isinstance(found, int) and found > SCHEMA:
        what += " (made for a newer lookkit)"
    return Problem(file, line_of(lines, ("schema",)), "schema", what, str(SCHEMA))


def problems_of(
    error: ValidationError,
    model: type[Table],
    data: dict[str, Any],
    lines: dict[KeyPath, int],
    file: str,
) -> list[Problem]:
    """Turn pydantic's errors into located problems in the user's words."""
    problems = []
    details = error.errors(include_url=False)
    for detail in details:
        inner = [other for other in details if other["loc"][: len(detail["loc"])] == detail["loc"]]
        if detail["type"] == "too_short" and len(inner) > 1:
            continue
        path = _real_path(detail["loc"], data)
        found, expected = _words(cast(dict[str, Any], detail), path, data, error)
        problems.append(Problem(file, line_of(lines, path), dotted(path), found, expected))
    return problems


def dotted(path: KeyPath) -> str:
    """Write a key's path as people write it: look[2].gain."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def _real_path(loc: tuple[str | int, ...], data: Any) -> KeyPath:
    """Drop the parts that only name a member of a union."""
    path: KeyPath = ()
    at = data
    tagged: Any = None
    for position, part in enumerate(loc):
        if isinstance(at, dict) and at is not tagged and at.get("kind") == part:
            # A kind may have the name of one of its own keys; its tag comes first.
            tagged = at
            continue
        if (isinstance(at, dict) and part in at) or (
            isinstance(at, list) and isinstance(part, int) and part < len(at)
        ):
            at = cast(Any, at)[part]
        elif (
            position < len(loc) - 1
            or part in _TAGS
            or part == "[key]"
            or not isinstance(at, dict | list)
        ):
            continue
        path = (*path, part)
    return path


_TAGS = {"number", "channels", "wheel", *(kind_name(kind) for kind in KINDS)}

_TYPES = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "tuple_type": "a list in [ ]",
    "list_type": "a list in [ ]",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "finite_number": "a finite number",
}
_BOUNDS = {
    "greater_than_equal": ("ge", "at least"),
    "greater_than": ("gt", "more than"),
    "less_than_equal": ("le", "at most"),
    "less_than": ("lt", "less than"),
}


def _words(
    detail: dict[str, Any], path: KeyPath, data: dict[str, Any], error: ValidationError
) -> tuple[str, str]:
    """Return what was found and what was expected."""
    kind = detail["type"]
    context = detail.get("ctx", {})
    value = detail.get("input")
    shown = _shown(value)
    if kind == "extra_forbidden":
        choices = sorted(_allowed(detail["loc"], data))
        return "unknown key", expected_one_of(str(path[-1]), choices)
    if kind == "missing":
        return "missing", "a value"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        return _kind_words(path, value)
    if kind in _TYPES:
        return shown, _TYPES[kind]
    if kind in _BOUNDS:
        key, words = _BOUNDS[kind]
        return shown, f"{words} {context[key]:g}"
    if kind == "literal_error":
        return shown, context["expected"]
    if kind in ("too_short", "too_long"):
        wanted = context.get("min_length") or context.get("max_length")
        return f"{shown} ({context['actual_length']} values)", f"{wanted} values"
    if kind == "string_pattern_mismatch":
        return shown, "a name of letters, digits, spaces, dots, dashes and underscores, at most 63"
    found, _, expected = str(detail["msg"]).partition(", expected ")
    return found, expected


def _shown(value: Any) -> str:
    text = json.dumps(value, default=str, ensure_ascii=False)
    return text if len(text) <= 60 else text[:57] + "..."


def _kind_words(path: KeyPath, value: Any) -> tuple[str, str]:
    here = RENDERING_KINDS if path and path[-1] == "rendering" else LOOK_KINDS
    names = [kind_name(kind) for kind in here]
    if not isinstance(value, dict):
        return _shown(value), "a number, a list of three numbers or a table"
    if "kind" not in value:
        return "kind is missing", expected_one_of("", names)
    name = str(value["kind"])
    elsewhere = {kind_name(kind): kind for kind in KINDS}
    if name in elsewhere:
        kind = elsewhere[name]
        wanted = "display" if here is RENDERING_KINDS else "scene"
        where = "[[look]]" if here is RENDERING_KINDS else "[rendering]"
        return (
            f"kind {name!r} takes {kind.takes} and gives {kind.gives}",
            f"a node that gives {wanted}; {name!r} belongs in {where}",
        )
    return f"unknown kind {name!r}", expected_one_of(name, names)


def _allowed(loc: tuple[str | int, ...], data: dict[str, Any]) -> set[str]:
    """Return the keys that the table at the parent of `loc` may have."""
    from lookkit.recipe.model import Camera, Deliver, OutputChoice

    if len(loc) == 1:
        return _fields(Recipe)
    for part in reversed(loc[:-1]):
        for kind in KINDS:
            if part == kind_name(kind):
                inner = loc[loc.index(part) + 1 : -1]
                return _fields(_submodel(kind, inner))
    tables: dict[str, type[Table]] = {
        "cameras": Camera, "outputs": OutputChoice, "deliver": Deliver
    }  # fmt: skip
    return _fields(tables[str(loc[0])]) if loc[0] in tables else set()


def _submodel(model: type[Table], inner: tuple[str | int, ...]) -> type[Table]:
    from lookkit.nodes.base import Wheel

    for part in inner:
        if part == "wheel":
            return Wheel
        field = model.model_fields.get(str(part))
        if field is None:
            continue
        for option in (field.annotation, *get_args(field.annotation)):
            if isinstance(option, type) and issubclass(option, Table):
                model = option
    return model


def _fields(model: type[Table]) -> set[str]:
    return {field.alias or name for name, field in model.model_fields.items()}
