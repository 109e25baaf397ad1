"""Changes to a recipe's text that leave all else of it as it was written.

Single values are changed by tomlkit. Whole steps are blocks of text: a step owns the comment
lines right above its header. Each result is read again and held against the tables that were
wanted, so that a text that says anything else is never kept.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from lookkit.errors import InputError
from lookkit.recipe.blocks import above, end_of, first_header
from lookkit.recipe.extend import Joined, join
from lookkit.recipe.lines import Path as KeyPath
from lookkit.recipe.lines import key_lines
from lookkit.recipe.write import toml_text, toml_value

MISSING = object()


def get(tables: Any, path: KeyPath) -> Any:
    """Return what stands at `path`, or MISSING."""
    for part in path:
        try:
            tables = tables[part]
        except (KeyError, IndexError, TypeError):
            return MISSING
    return tables


def with_value(tables: Any, path: KeyPath, value: Any) -> Any:
    """Return a copy of tables with `value` at `path`; MISSING takes the key away."""
    made = copy.deepcopy(tables)
    at: Any = made
    for here, below in pairwise(path):
        if isinstance(at, dict) and here not in at:
            at[here] = [] if isinstance(below, int) else {}
        at = at[here]
    if value is not MISSING:
        at[path[-1]] = value
    elif isinstance(at, list):
        del at[int(path[-1])]
    else:
        at.pop(path[-1], None)
    return made


def set_value(text: str, file: str, path: KeyPath, value: Any) -> str:
    """Return the text with one value changed, added or (MISSING) taken away.

    Parameters
    ----------
    path
        Where the value stands in the tables with all that the recipe extends. The value of a
        step that comes from an extended recipe goes into `[overrides.ID]`, lists whole.

    Raises
    ------
    InputError
        If the step comes from an extended recipe and has no id.
    """
    joined = join(text, file)
    length = _step_length(path)
    written = own_path(joined, path[:length])
    if written is not None:
        return _put(text, (*written, *path[length:]), value)
    name = get(joined.data, (*path[:length], "id"))
    if not isinstance(name, str):
        raise InputError(
            "this step comes from an extended recipe and has no id: bring the steps into this "
            "file first"
        )
    inner = path[length:]
    upto = next((place for place, part in enumerate(inner) if isinstance(part, int)), len(inner))
    if upto < len(inner):
        whole = get(joined.data, (*path[:length], *inner[:upto]))
        value = with_value(whole if whole is not MISSING else [], inner[upto:], value)
    at = ("overrides", name, *inner[:upto])
    if get(tomllib.loads(text), at[:2]) is not MISSING:
        return _put(text, at, value)
    if value is MISSING:
        raise InputError("the extended recipe decides this: give it a value instead")
    table = with_value({}, at[2:], value)
    made = f"{text.rstrip()}\n\n" + _block(f"[overrides.{toml_key(name)}]", table)
    return _checked(text, made, with_value(tomllib.loads(text), at, value))


def toml_key(name: str) -> str:
    """Return a key, quoted where TOML wants that."""
    return toml_text({name: 0}).partition(" = ")[0]


def insert_step(text: str, file: str, path: KeyPath, table: Mapping[str, Any]) -> str:
    """Return the text with a new step at `path`, such as ("look", 2)."""
    joined = join(text, file)
    place, where = int(path[-1]), path[:-1]
    steps = get(joined.data, where)
    count = len(steps) if isinstance(steps, list) else 0
    names = [toml_key(part) for part in where if isinstance(part, str)]
    block = _block(f"[[{'.'.join(names)}]]", table)
    lines = _lines(text)
    own = [own_path(joined, (*where, index)) for index in range(count)]
    if place < count and own[place] is not None:
        at = _span(text, own[place] or ())[0]
    elif any(own):
        last = next(one for one in reversed(own) if one)
        at = _span(text, last)[1]
    elif len(where) > 1:
        if get(tomllib.loads(text), where[:-1]) is MISSING:
            raise InputError(f"{'.'.join(map(str, where[:-1]))} stands in an extended recipe")
        at = _span(text, where[:-1])[1]
    else:
        at = _first_table(text)
    before = "".join(lines[:at])
    if before and not before.endswith("\n\n"):
        before = before.rstrip("\n") + "\n\n"
    after = "".join(lines[at:])
    made = before + block + ("\n" + after.lstrip("\n") if after.strip() else "")
    wanted = copy.deepcopy(joined.data)
    at_list = get(wanted, where)
    if at_list is MISSING:
        wanted = with_value(wanted, where, [])
        at_list = get(wanted, where)
    first_own = next((index for index, one in enumerate(own) if one), count)
    at_list.insert(max(place, first_own), dict(table))
    if join(made, file).data != wanted:
        raise InputError("this step cannot be put here by the page: write it into the recipe")
    return made


def remove_step(text: str, file: str, path: KeyPath) -> str:
    """Return the text without the step at `path` and the comment lines right above it."""
    joined = join(text, file)
    start, end = _span(text, _own_step(joined, path))
    lines = _lines(text)
    made = "".join(lines[:start] + lines[end:])
    return _joined_checked(made, file, with_value(joined.data, path, MISSING))


def move_step(text: str, file: str, path: KeyPath, to: int) -> str:
    """Return the text with the step at `path` at another place of its list."""
    joined = join(text, file)
    where, place = path[:-1], int(path[-1])
    own, other = _own_step(joined, path), _own_step(joined, (*where, to))
    lines = _lines(text)
    start, end = _span(text, own)
    first, last = _span(text, other)
    block = lines[start:end]
    if block[-1].strip():
        block = [*block[:-1], block[-1].rstrip("\n") + "\n", "\n"]
    if to < place:
        made = lines[:first] + block + lines[first:start] + lines[end:]
    else:
        between = lines[end:last]
        if between[-1].strip():
            between = [*between[:-1], between[-1].rstrip("\n") + "\n", "\n"]
        made = lines[:start] + between + block + lines[last:]
    wanted = copy.deepcopy(joined.data)
    steps = get(wanted, where)
    steps.insert(to, steps.pop(place))
    return _joined_checked("".join(made), file, wanted)


def bring_in(text: str, file: str) -> str:
    """Return the text with all steps of the recipes that it extends written into it.

    What else an extended recipe says is written too, so that `extends` goes.
    """
    joined = join(text, file)
    if len(joined.sources) < 2:
        return text
    own = tomllib.loads(text)
    lines = _lines(text)
    drop: set[int] = set()
    numbers = key_lines(text)
    if ("extends",) in numbers:
        drop.add(numbers[("extends",)] - 1)
    if "overrides" in own:
        for name in own["overrides"]:
            start, end = _span(text, ("overrides", name))
            drop |= set(range(start, end))
    kept = "".join(line for number, line in enumerate(lines) if number not in drop)
    extra: dict[str, Any] = {}
    for key, value in joined.data.items():
        if key == "look":
            count = len(value) - len(own.get("look", []))
            extra["look"] = value[:count]
        elif key not in own:
            extra[key] = value
        elif isinstance(value, Mapping) and isinstance(own[key], Mapping):
            missing = {name: item for name, item in value.items() if name not in own[key]}
            if missing:
                extra[key] = missing
    plain = {key: value for key, value in extra.items() if not isinstance(value, dict | list)}
    steps = [_block("[[look]]", step) for step in extra.pop("look", [])]
    if "rendering" in extra:
        steps.append(_block("[rendering]", extra.pop("rendering")))
    big = {key: value for key, value in extra.items() if key not in plain}
    at = _first_table(kept)
    head, tail = "".join(_lines(kept)[:at]), "".join(_lines(kept)[at:])
    made = head.rstrip() + "\n" + (toml_text(plain) if plain else "") + "\n"
    made += "\n".join(steps)
    made += ("\n" + toml_text(big).strip("\n") + "\n" if big else "") + "\n" + tail
    return _joined_checked(made, file, joined.data)


def _block(header: str, table: Mapping[str, Any]) -> str:
    """Return a step as a block: one line a key, lists of tables one line a table."""
    lines = [header]
    for key, value in table.items():
        if isinstance(value, list) and value and isinstance(value[0], Mapping):
            rows = "".join(f"  {toml_value(row)},\n" for row in value)
            lines.append(f"{toml_key(key)} = [\n{rows}]")
        else:
            lines.append(f"{toml_key(key)} = {toml_value(value)}")
    return "\n".join(lines) + "\n"


def own_path(joined: Joined, path: KeyPath) -> KeyPath | None:
    """Return where the recipe's own file writes what stands at `path`; None if it does not."""
    at = joined.origin(path)
    if at.source is not joined.sources[0] or at.note:
        return None
    written = (*at.written, *path[len(at.path) :])
    return written if get(at.source.data, written) is not MISSING else None


def _step_length(path: KeyPath) -> int:
    if path[0] == "look":
        return 2
    if path[0] == "rendering":
        return 1
    return 4 if path[2] == "trims" else 3


def _own_step(joined: Joined, path: KeyPath) -> KeyPath:
    written = own_path(joined, path)
    if written is None:
        raise InputError(
            "this step comes from an extended recipe: bring the steps into this file first"
        )
    return written


def _put(text: str, path: KeyPath, value: Any) -> str:
    """Return the text with a value at a path of its own tables."""
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    old = tomllib.loads(text)
    wanted = with_value(old, path, value)
    before = get(old, path)
    if isinstance(before, int) and not isinstance(before, bool):
        value = int(value) if isinstance(value, float) and value.is_integer() else value
    try:
        document: Any = tomlkit.parse(text)
        parent = document
        for depth, part in enumerate(path[:-1]):
            if get(old, path[: depth + 1]) is MISSING:
                # The tables on the way are new: they are written as one inline value.
                return _put(text, path[: depth + 1], get(wanted, path[: depth + 1]))
            parent = parent[part]
        if value is MISSING:
            del parent[path[-1]]
        elif before is MISSING and not _is_inline(parent):
            made = _new_line(text, path, value)
            return _checked(text, made, wanted)
        else:
            parent[path[-1]] = tomlkit.item(value) if before is not MISSING else _raw(value)
        made = tomlkit.dumps(document)
    except TOMLKitError as error:
        raise InputError(f"the recipe's text could not be changed ({error})") from error
    if before is MISSING and value is not MISSING:
        written = f"{path[-1]} = {toml_value(value)}"
        made = made.replace(written + "}", written + " }")
    return _checked(text, made, wanted)


def _raw(value: Any) -> Any:
    """Return a value as tomlkit writes it, in our spacing."""
    import tomlkit

    return tomlkit.parse(f"x = {toml_value(value)}\n")["x"]


def _is_inline(parent: Any) -> bool:
    from tomlkit.items import Array, InlineTable

    return isinstance(parent, InlineTable | Array)


def _new_line(text: str, path: KeyPath, value: Any) -> str:
    """Return the text with a new key at the end of the table that it belongs to."""
    lines = _lines(text)
    numbers = key_lines(text)
    table = path[:-1]
    start = numbers[table] if table else 0
    heads = [number - 1 for number in numbers.values() if number > start]
    heads = sorted(number for number in heads if lines[number].lstrip().startswith("["))
    at = heads[0] if heads else len(lines)
    while at > start and (not lines[at - 1].strip() or lines[at - 1].lstrip().startswith("#")):
        at -= 1
    ending = "\r\n" if "\r\n" in text else "\n"
    if at and not lines[at - 1].endswith("\n"):
        lines[at - 1] += ending
    return "".join([*lines[:at], f"{toml_key(str(path[-1]))} = {toml_value(value)}{ending}",
                    *lines[at:]])  # fmt: skip


def _lines(text: str) -> list[str]:
    return text.splitlines(keepends=True)


def _first_table(text: str) -> int:
    """Return the first line of the first header and its comments."""
    return first_header(_lines(text), key_lines(text).values())


def _span(text: str, path: KeyPath) -> tuple[int, int]:
    """Return the lines, from and to, of the block that a table is."""
    lines, numbers = _lines(text), key_lines(text)
    if path not in numbers or not lines[numbers[path] - 1].lstrip().startswith("["):
        raise InputError("this step is not written as a block of its own: edit it in the recipe")
    return above(lines, numbers[path] - 1), end_of(lines, numbers, path)


def _checked(old: str, made: str, wanted: Mapping[str, Any]) -> str:
    try:
        found = tomllib.loads(made)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"the recipe's text could not be changed ({error})") from error
    if found != wanted:
        raise InputError("the recipe's text could not be changed safely: edit it in the file")
    return made


def _joined_checked(made: str, file: str, wanted: Mapping[str, Any]) -> str:
    if join(made, file).data != wanted:
        raise InputError("the recipe's text could not be changed safely: edit it in the file")
    return made
