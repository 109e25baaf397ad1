"""Where a change lands when the recipe's text has moved on since the page showed it.

A page makes a change on the text that it shows. By the time the change arrives, somebody else may
have added, moved or removed steps, or set the same number. So a change says on which text it was
made; here its step is found again in the text as it is now, by what the step is and not by where
it stood. What cannot be told for certain is asked.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from lookkit.errors import InputError
from lookkit.page.rewrite import MISSING, get
from lookkit.recipe.extend import join
from lookkit.recipe.lines import Path as KeyPath

LEFT = "leave the file as it is"
"""The choice that every question has."""


class Unclear(InputError):
    """A change that must be decided by the user.

    `choices` are words and the change that each makes; None makes none.
    """

    def __init__(self, why: str, choices: Sequence[tuple[str, dict[str, Any] | None]]) -> None:
        self.choices = (*choices, (LEFT, None))
        super().__init__(why)


class Gone(Exception):
    """A step or a row that is not there any more, or of which it is not sure which one it is."""


def landing(base: str, now: str, file: str, path: KeyPath, key: KeyPath = ()) -> KeyPath:
    """Return the path, step and key, in the text `now` of what stood there in `base`.

    Parameters
    ----------
    path
        Of a step, such as ("look", 2).
    key
        Of a value within the step.

    Raises
    ------
    Gone
        If the step or the row is not there any more, or could be more than one.
    """
    if base == now:
        return (*path, *key)
    old, new = join(base, file).data, join(now, file).data
    found = path
    if path and isinstance(path[-1], int):
        where = path[:-1]
        found = (*where, _partner(_listed(old, where), _listed(new, where), path[-1]))
    elif get(old, (*path, "kind")) != get(new, (*path, "kind")):
        raise Gone
    return (*found, *_inner(get(old, path), get(new, found), key))


def value_in(text: str, file: str, path: KeyPath) -> Any:
    """Return what stands at a path of a recipe with all that it extends, or MISSING."""
    return get(join(text, file).data, path)


def _inner(old: Any, new: Any, key: KeyPath) -> KeyPath:
    """Return the key within a step, its rows found again."""
    found: list[str | int] = []
    for part in key:
        place = part
        if isinstance(part, int) and old is not MISSING and new is not MISSING and old != new:
            if not isinstance(old, list) or not isinstance(new, list):
                raise Gone
            if part < len(old) and isinstance(old[part], dict | list):
                place = _partner(old, new, part)
            elif len(old) != len(new):
                raise Gone
        old, new = get(old, (part,)), get(new, (place,))
        found.append(place)
    return tuple(found)


def _listed(tables: Any, where: KeyPath) -> list[Any]:
    found = get(tables, where)
    return found if isinstance(found, list) else []


def _partner(old: list[Any], new: list[Any], place: int) -> int:
    """Return where the item at `place` of a list stands in a later state of it."""
    if not 0 <= place < len(old):
        raise Gone
    name = _name(old[place])
    if name is not None:
        return _only([index for index, one in enumerate(new) if _name(one) == name])
    before, after = [_said(one) for one in old], [_said(one) for one in new]
    said = before[place]
    if before.count(said) == after.count(said):
        rank = before[:place].count(said)
        return [index for index, one in enumerate(after) if one == said][rank]
    # It was changed: the one of its kind that was, if there is only one.
    kind = _kind(old[place])
    changed = _unpaired(old, before, after, kind)
    if changed != [place]:
        raise Gone
    return _only(_unpaired(new, after, before, kind))


def _unpaired(items: list[Any], said: list[str], others: list[str], kind: Any) -> list[int]:
    return [
        index
        for index, one in enumerate(items)
        if said.count(said[index]) != others.count(said[index])
        and _kind(one) == kind
        and _name(one) is None
    ]


def _only(found: list[int]) -> int:
    if len(found) != 1:
        raise Gone
    return found[0]


def _name(item: Any) -> Any:
    return item.get("id") if isinstance(item, Mapping) else None


def _kind(item: Any) -> Any:
    return item.get("kind") if isinstance(item, Mapping) else len(item) if item else 0


def _said(item: Any) -> str:
    return json.dumps(item, sort_keys=True, default=str)


def decided(
    message: Mapping[str, Any],
    base: str | None,
    now: str,
    file: str,
    digest: str,
    named: Callable[[KeyPath], str],
) -> KeyPath:
    """Return where a page's change of a value lands, step and key.

    Parameters
    ----------
    message
        The change: `step`, `key`, `value`, and `was`, the value that the page showed before.
    base
        The text that the change was made on, or None if it is not known any more.
    digest
        Of the text `now`, for the choices.
    named
        A step of `now` in words.

    Raises
    ------
    Unclear
        If somebody else has decided something that this would undo, or the step is not found.
    """
    step, key = tuple(message["step"]), tuple(message.get("key", ()))
    try:
        if base is None:
            raise Gone
        path = landing(base, now, file, step, key)
    except Gone:
        raise Unclear(
            f"While you changed {message.get('label') or 'a step'}, the file was changed too, and "
            "which step you meant is not certain any more. Nothing was written. You can",
            _elsewhere(message, base, now, file, digest, named),
        ) from None
    if base == now or base is None or "value" not in message:
        return path
    stands, stood = value_in(now, file, path), value_in(base, file, (*step, *key))
    if _same(stands, stood) or _same(stands, message.get("was")) or _same(stands, message["value"]):
        return path
    found = path[: len(path) - len(key)]
    again = {**message, "base": digest, "step": list(found), "key": list(path[len(found) :])}
    told = "has no value there now" if stands is MISSING else f"says {_word(stands)} now"
    raise Unclear(
        f"While you changed {message.get('label') or 'this'}, the file was changed too: it {told}. "
        f"You set {_word(message['value'])}. Nothing was written. You can",
        [(f"write {_word(message['value'])} all the same", again)],
    )


def _elsewhere(
    message: Mapping[str, Any], base: str | None, now: str, file: str, digest: str,
    named: Callable[[KeyPath], str],
) -> list[tuple[str, dict[str, Any] | None]]:  # fmt: skip
    """Return the steps of the same kind in the same list to which the change could go."""
    step, key = tuple(message["step"]), tuple(message.get("key", ()))
    kind = MISSING if base is None else value_in(base, file, (*step, "kind"))
    where = step[:-1] if step and isinstance(step[-1], int) else ()
    choices: list[tuple[str, dict[str, Any] | None]] = []
    if not where or kind is MISSING:
        return choices
    for place, one in enumerate(_listed(join(now, file).data, where)):
        path = (*where, place)
        if _kind(one) == kind and (not key or get(one, key[:-1]) is not MISSING):
            again = {**message, "base": digest, "step": list(path)}
            choices.append((f"let it act on {named(path)}", again))
    return choices


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, int | float) and isinstance(other, int | float):
        return abs(one - other) < 1e-6
    return bool(one is other or one == other)


def _word(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{value:g}".replace("-", "\N{MINUS SIGN}")
    return value if isinstance(value, str) else "something else"
