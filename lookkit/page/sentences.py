"""A recipe as sentences in which every number can be changed: what the page shows of a step.

Made from the kinds' own fields, with their units and ranges. A sentence is a list of parts:
text, a number with its path and range, a choice of words, or a list with a sentence for each row.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from lookkit.nodes import LOOK_KINDS, kind_name
from lookkit.nodes.base import Step, Wheel
from lookkit.nodes.only import Only
from lookkit.page.words import ROWS, SENTENCES, STARTS, TITLES
from lookkit.recipe.model import Recipe

Part = dict[str, Any]
Key = tuple[str | int, ...]

_BRACES = re.compile(r"\{([a-z_0-9.]+)\}")
_COMMON = ("kind", "id", "input", "enabled", "mix", "only", "note")


def step_sentence(step: Step) -> dict[str, Any]:
    """Return what the page says of a step.

    Returns
    -------
    dict
        `kind`, `title`, `id`, `help` (the kind's first sentence), `parts` (its sentence), `more`
        (the fields that the sentence does not name), and for nodes `enabled`, `mix` and `only`.
    """
    kind = step.kind
    template = SENTENCES.get(kind, "")
    named = _BRACES.findall(template)
    if not named or any(_parts_at(step, name) is None for name in named):
        template, named = "", []
    parts: list[Part] = []
    for place, piece in enumerate(_BRACES.split(template)):
        if place % 2:
            parts += _parts_at(step, piece) or []
        elif piece:
            parts.append({"t": "text", "text": piece})
    more = list(_others(step, {name.split(".")[0] for name in named}))
    made: dict[str, Any] = {
        "kind": kind,
        "title": title_of(kind),
        "id": step.id,
        "help": first_line(type(step)),
        "parts": parts,
        "more": more,
    }
    if "mix" in type(step).model_fields:
        made["enabled"] = bool(getattr(step, "enabled"))  # noqa: B009
        made["mix"] = _number(step, "mix", ("mix",))
        only = getattr(step, "only")  # noqa: B009
        made["only"] = [] if only is None else list(_table_parts(only, ("only",), Only))
    return made


def override_sentences(recipe: Recipe, scene: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the id of each step that a scene has otherwise, with its title and a sentence."""
    changes = recipe.scenes[scene].overrides
    if not changes:
        return
    inside = recipe.in_scene(scene)
    renderings = [choice.rendering for choice in inside.outputs.values()]
    for step in (*inside.look, inside.rendering, *renderings):
        if step is None or step.id not in changes:
            continue
        parts: list[Part] = []
        for name, field in type(step).model_fields.items():
            key = field.alias or name
            if key in changes[step.id]:
                word = key.replace("_", " ")
                parts.append({"t": "text", "text": ("; " if parts else "") + word + " "})
                parts += list(_value(step, step, name, (key,)))
        yield step.id, {"title": title_of(step.kind), "kind": step.kind, "parts": parts}


def addable() -> list[dict[str, str]]:
    """Return the kinds that a step can be added of, with what each is."""
    made = []
    for kind in LOOK_KINDS:
        needed = [name for name, field in kind.model_fields.items() if field.is_required()]
        if not needed:
            name = kind_name(kind)
            made.append({"kind": name, "title": title_of(name), "help": first_line(kind)})
    return made


def title_of(kind: str) -> str:
    """Return what the page calls a kind."""
    return TITLES.get(kind, kind.replace("-", " ").capitalize())


def start_of(kind: str) -> dict[str, Any]:
    """Return the table of a new step of a kind; it changes nothing yet."""
    return {"kind": kind, **STARTS.get(kind, {})}


def first_line(kind: type[Step]) -> str:
    """Return the first sentence of what a kind is."""
    return (kind.__doc__ or "").strip().splitlines()[0]


def _parts_at(step: BaseModel, dotted: str) -> list[Part] | None:
    """Return the parts of a named field, or None if it is not there or has no value."""
    table: Any = step
    keys = dotted.split(".")
    for key in keys[:-1]:
        table = getattr(table, key, None)
    if not isinstance(table, BaseModel) or keys[-1] not in type(table).model_fields:
        return None
    parts = list(_value(step, table, keys[-1], tuple(keys)))
    return parts or None


def _others(step: Step, named: set[str]) -> Iterator[dict[str, Any]]:
    """Yield name, meaning and parts of each field that the sentence leaves out."""
    for name, field in type(step).model_fields.items():
        if name in named or name in _COMMON:
            continue
        parts = list(_value(step, step, name, (field.alias or name,)))
        yield {"name": name.replace("_", " "), "help": field.description or "", "parts": parts}


def _value(step: BaseModel, table: BaseModel, name: str, key: Key) -> Iterator[Part]:
    field = type(table).model_fields[name]
    value = getattr(table, name)
    if isinstance(value, bool):
        yield _choice(key, "yes" if value else "no", {"yes": True, "no": False}, name)
    elif isinstance(value, int | float):
        yield _number(table, name, key)
        if _takes_channels(field):
            yield {"t": "do", "text": "apart", "key": list(key), "value": [value] * 3,
                   "help": "one number for each of red, green and blue"}  # fmt: skip
    elif value is None:
        start = _start_value(field)
        if start is not None:
            yield {"t": "do", "text": "not set", "key": list(key), "value": start,
                   "help": field.description or name}  # fmt: skip
    elif isinstance(value, str):
        options = [word for word in _words(field) if isinstance(word, str)]
        if options:
            yield _choice(key, value, {word: word for word in options}, name)
        elif value:
            yield {"t": "text", "text": value}
    elif isinstance(value, Wheel):
        yield from _wheel(value, key)
    elif isinstance(value, BaseModel):
        yield from _table_parts(value, key, type(value))
    elif isinstance(value, Sequence):
        yield from _list(step, field, name, value, key)


def _list(
    step: BaseModel, field: FieldInfo, name: str, value: Sequence[Any], key: Key
) -> Iterator[Part]:
    if value and all(isinstance(one, BaseModel) for one in value):
        rows = [_row(step, name, one, (*key, index)) for index, one in enumerate(value)]
        yield {"t": "rows", "key": list(key), "rows": rows}
        return
    if all(isinstance(one, int | float) for one in value) and len(value) == 3:
        for index, one in enumerate(value):
            yield _plain((*key, index), float(one), f"{name} {('red', 'green', 'blue')[index]}",
                         _scalar(field.default, index), channel=index)  # fmt: skip
        return
    if value and all(isinstance(one, Sequence) for one in value):
        rows = []
        arrow = len(value[0]) == 2
        for index, row in enumerate(value):
            parts: list[Part] = []
            for place, one in enumerate(row):
                if place:
                    parts.append({"t": "text", "text": " → " if arrow else " "})
                what = f"{name} {index + 1}, {('in', 'out')[place] if arrow else place + 1}"
                parts.append(_plain((*key, index, place), float(one), what, None))
            rows.append({"key": [*key, index], "parts": parts})
        yield {"t": "rows", "key": list(key), "rows": rows, "short": True}
    elif not value:
        yield {"t": "text", "text": "none"}


def _row(step: BaseModel, name: str, row: BaseModel, key: Key) -> dict[str, Any]:
    template = ROWS.get((getattr(step, "kind", ""), name), "")
    names = _BRACES.findall(template)
    if not names or any(one not in type(row).model_fields for one in names):
        return {"key": list(key), "parts": list(_table_parts(row, key, type(row)))}
    parts: list[Part] = []
    for place, piece in enumerate(_BRACES.split(template)):
        if place % 2:
            parts += list(_value(step, row, piece, (*key, piece)))
        elif piece:
            parts.append({"t": "text", "text": piece})
    return {"key": list(key), "parts": parts}


def _table_parts(table: BaseModel, key: Key, kind: type[BaseModel]) -> Iterator[Part]:
    """Yield a plain sentence: each field's name and its value."""
    first = True
    for name, field in kind.model_fields.items():
        parts = list(_value(table, table, name, (*key, field.alias or name)))
        if not parts:
            continue
        word = (field.alias or name).replace("_", " ")
        yield {"t": "text", "text": ("" if first else ", ") + word + " "}
        yield from parts
        first = False


def _wheel(wheel: Wheel, key: Key) -> Iterator[Part]:
    yield _number(wheel, "amount", (*key, "amount"))
    yield {"t": "text", "text": " towards "}
    yield _number(wheel, "hue", (*key, "hue"))
    yield {"t": "text", "text": "°"}
    if wheel.master is not None:
        yield {"t": "text", "text": " around "}
        yield _number(wheel, "master", (*key, "master"))


def _number(table: BaseModel, name: str, key: Key) -> Part:
    field = type(table).model_fields[name]
    low, high = _range(field)
    extra = field.json_schema_extra
    unit = str(extra.get("unit", "")) if isinstance(extra, Mapping) else ""
    value = float(getattr(table, name))
    default = _scalar(field.default, 0)
    made = _plain(key, value, name.replace("_", " "), default, unit=unit)
    return {**made, "lo": low, "hi": high, "help": field.description or ""}


def _plain(
    key: Key,
    value: float,
    name: str,
    default: float | None,
    unit: str = "",
    channel: int | None = None,
) -> Part:
    """Return a number; a drag of one pixel changes it by `step`."""
    made: Part = {"t": "number", "key": list(key), "v": value, "name": name, "d": default,
                  "unit": unit, "step": _step(value, unit)}  # fmt: skip
    if channel is not None:
        made["channel"] = channel
    return made


def _step(value: float, unit: str) -> float:
    if "degrees" in unit:
        return 1.0
    if unit == "K" or abs(value) >= 1000:
        return 25.0
    if "stops" in unit:
        return 0.05
    return 0.1 if abs(value) >= 10 else 0.01


def _choice(key: Key, value: str, options: Mapping[str, Any], name: str) -> Part:
    return {"t": "choice", "key": list(key), "v": value, "options": dict(options),
            "name": name.replace("_", " ")}  # fmt: skip


def _scalar(value: Any, index: int) -> float | None:
    if isinstance(value, bool):
        return None
    if isinstance(value, int | float):
        return float(value)
    if isinstance(value, tuple) and len(value) > index and isinstance(value[index], int | float):
        return float(value[index])
    return None


def _range(field: FieldInfo) -> tuple[float | None, float | None]:
    low: float | None = None
    high: float | None = None
    for limit in field.metadata:
        for name in ("ge", "gt"):
            low = getattr(limit, name, None) if getattr(limit, name, None) is not None else low
        for name in ("le", "lt"):
            high = getattr(limit, name, None) if getattr(limit, name, None) is not None else high
    return low, high


def _words(field: FieldInfo) -> list[Any]:
    found: list[Any] = []
    waiting = [field.annotation]
    while waiting:
        one = waiting.pop()
        if get_origin(one) is Literal:
            found += get_args(one)
        else:
            waiting += [inner for inner in get_args(one) if inner is not None]
    return found


def _takes_channels(field: FieldInfo) -> bool:
    return "Tag(tag='channels')" in repr(field.annotation) + repr(field.metadata)


def _start_value(field: FieldInfo) -> Any:
    """Return what a value that is not set starts with, or None where the page sets none."""
    low, high = _range(field)
    if "float" not in repr(field.annotation) or "tuple" in repr(field.annotation):
        return None
    if low is not None and low > 0:
        return 6500.0 if high and high > 6500 > low else low
    return 0.0
