"""From pydantic's errors to problems in the user's words."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from types import UnionType
from typing import Annotated, Any, Literal, Union, cast, get_args, get_origin

from pydantic import ValidationError

from lookkit.errors import Problem, expected_one_of
from lookkit.nodes import KINDS, LOOK_KINDS, RENDERING_KINDS, kind_name
from lookkit.nodes.base import Table, Wheel
from lookkit.recipe.lines import Path as KeyPath
from lookkit.recipe.toml import plain_letters

_NUMBER = re.compile(r"\s*[+-]?\d+(\.\d+)?")
_RENAMED = {"target": "`camera`: what the camera was set to; it was called `target`"}
"""Keys that were called otherwise, and what to write now."""

Locate = Callable[[KeyPath, str, str], Problem]
"""From a key's path, what was found and what was expected to a located problem."""

_TAGS = {"number", "channels", "wheel", "name", "names", *(kind_name(kind) for kind in KINDS)}

FORMER_KINDS = {
    "zones": "kind 'tone-bands', its list under bands instead of zones, with the same fields; in "
    "shift write strength instead of amount, and hue as in hue-bands: red 25 (was 0), yellow 105 "
    "(was 60), green 145 (was 120), cyan 195 (was 180), blue 260 (was 240)",
}
"""Kinds of earlier versions, and what to write now."""

_FORMER_FORMATS = {
    "clf-lattice": "'clf-chain', each whole way as CLF; curves before a 3D LUT were taken out",
}
"""Formats of earlier versions, and what to write now."""

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


def problems_of(
    error: ValidationError, model: type[Table], data: Mapping[str, Any], locate: Locate
) -> list[Problem]:
    """Return pydantic's errors about `data` as problems.

    Parameters
    ----------
    model
        What `data` was to be.
    locate
        Says where a key stands.
    """
    problems = []
    details = error.errors(include_url=False)
    for detail in details:
        inner = [other for other in details if other["loc"][: len(detail["loc"])] == detail["loc"]]
        if detail["type"] == "too_short" and len(inner) > 1:
            continue
        named = detail["type"] in ("missing", "extra_forbidden")
        path = _real_path(detail["loc"][:-1] if named else detail["loc"], data)
        path = (*path, detail["loc"][-1]) if named else path
        problems.append(locate(path, *_words(cast(dict[str, Any], detail), path, model)))
    return problems


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
        inside = part in at if isinstance(at, dict) else False
        if isinstance(at, list) and isinstance(part, int):
            inside = part < len(at)
        if inside:
            at = at[part]
        elif (
            position < len(loc) - 1
            or part in _TAGS
            or part == "[key]"
            or not isinstance(at, dict | list)
        ):
            continue
        path = (*path, part)
    return path


def _words(detail: dict[str, Any], path: KeyPath, model: type[Table]) -> tuple[str, str]:
    """Return what was found and what was expected."""
    kind = detail["type"]
    context = detail.get("ctx", {})
    value = detail.get("input")
    shown = _shown(value)
    if kind == "extra_forbidden" and len(path) > 1 and path[-1] in _fields(model):
        return f"{path[-1]} belongs to the whole recipe", "it above the first [table]"
    if kind == "extra_forbidden" and path[-1] in _RENAMED:
        return "unknown key", _RENAMED[path[-1]]
    if kind == "extra_forbidden":
        table = table_at(model, detail["loc"][:-1])
        if table is not None and path[-1] in table.former:
            return "a key of an earlier version", table.former[str(path[-1])]
        choices = sorted(_fields(table))
        return "unknown key", expected_one_of(str(path[-1]), choices)
    if kind == "missing":
        return "missing", _missing(path, detail["loc"], model)
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        return _kind_words(path, value)
    if kind in _TYPES:
        return shown, _typed(kind, path, value)
    if kind in _BOUNDS:
        key, words = _BOUNDS[kind]
        return shown, f"{words} {context[key]:g}"
    if kind == "literal_error":
        return shown, _FORMER_FORMATS.get(str(value), context["expected"])
    if kind in ("too_short", "too_long"):
        wanted = context.get("min_length") or context.get("max_length")
        return f"{shown} ({context['actual_length']} values)", f"{wanted} values"
    if kind == "string_too_long":
        return f"{shown} ({len(str(value))} letters)", f"at most {context['max_length']}"
    if kind == "string_pattern_mismatch":
        if path and path[-1] == "match":
            return shown, "a pattern of file names with forward slashes, such as night/A0*"
        spaces = "" if path and path[-1] == "id" else "spaces, "
        wanted = f"a name of the letters a to z, digits, {spaces}dots, dashes and underscores"
        if isinstance(value, str) and not value.isascii():
            return shown, f"{wanted}, for it names files: {plain_letters(value)}"
        return shown, f"{wanted}, at most 63"
    if "unknown illuminant" in detail["msg"] and _NUMBER.match(str(value)):
        return shown, _typed("float_type", path, value)
    if kind.startswith("datetime"):
        return shown, "a day, such as 2026-05-01, or a time in UTC, 2026-05-01T18:30:00Z"
    found, _, expected = str(detail["msg"]).partition(", expected ")
    return found, expected


def _missing(path: KeyPath, loc: Sequence[str | int], model: type[Table]) -> str:
    """Return what to write for a key, or for a number of a list, that is not there."""
    if isinstance(path[-1], int):
        return f"{path[-1] + 1} values in the list, or more"
    table = table_at(model, loc[:-1])
    members = [] if table is None else _members(_field(table, path[-1]))
    choices = [one for member in members if get_origin(member) is Literal
               for one in get_args(member)]  # fmt: skip
    if choices:
        return f"{path[-1]} = {' or '.join(json.dumps(one) for one in choices)}"
    if str in members:
        return f'{path[-1]} = "..."'
    return f"{path[-1]} = NUMBER" if float in members or int in members else f"a key {path[-1]}"


def _field(table: type[Table], name: str | int) -> Any:
    """Return the type of a table's key."""
    return next(
        (one.annotation for key, one in table.model_fields.items() if (one.alias or key) == name),
        None,
    )


def _typed(kind: str, path: KeyPath, value: Any) -> str:
    """Return the type that was expected, with what to write where the reason is a usual one."""
    if _TYPES[kind] == "a list in [ ]" and isinstance(value, dict):
        name = ".".join(str(part) for part in path)
        return f"double brackets, once for each: [[{name}]]"
    if _TYPES[kind] == "a table" and isinstance(value, list) and not isinstance(path[-1], int):
        return f"single brackets: [{'.'.join(str(part) for part in path)}]"
    if kind in ("float_type", "int_type") and isinstance(value, str):
        number = _NUMBER.match(value)
        if number:
            return f"{_TYPES[kind]} without quotes and unit: {number[0].strip()}"
    return _TYPES[kind]


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
    if name in FORMER_KINDS:
        return f"{name!r}, a kind of an earlier version", FORMER_KINDS[name]
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


def table_at(model: type[Table], loc: Sequence[str | int]) -> type[Table] | None:
    """Return the table that pydantic's way `loc` into `model` leads to."""
    at: Any = model
    for part in loc:
        at = _step(at, part)
    return next((one for one in _members(at) if _is_table(one)), None)


def _step(at: Any, part: str | int) -> Any:
    """Return the type at one step into a type; a union's tag picks its member."""
    members = list(_members(at))
    for member in members:
        if _is_table(member) and _tag(member) == part and len(members) > 1:
            return member
    for member in members:
        origin, arguments = get_origin(member), get_args(member)
        if origin is tuple and isinstance(part, int):
            return arguments[0] if len(arguments) == 2 and arguments[1] is ... else (
                arguments[min(part, len(arguments) - 1)])  # fmt: skip
        if origin is dict:
            return arguments[1]
        if _is_table(member):
            for name, field in member.model_fields.items():
                if (field.alias or name) == part:
                    return field.annotation
    return at


def _members(annotation: Any) -> list[Any]:
    """Return the members of a union, or the type itself, without their annotations."""
    if get_origin(annotation) is Annotated:
        return _members(get_args(annotation)[0])
    if get_origin(annotation) in (Union, UnionType):
        return [one for part in get_args(annotation) for one in _members(part)]
    return [annotation]


def _is_table(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, Table)


def _tag(table: type[Table]) -> str | None:
    if table is Wheel:
        return "wheel"
    kind = table.model_fields.get("kind")
    return None if kind is None else str(kind.default)


def _fields(model: type[Table] | None) -> set[str]:
    if model is None:
        return set()
    return {field.alias or name for name, field in model.model_fields.items()}
