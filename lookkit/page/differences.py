"""How a take differs from what is shown, in a few words."""

from __future__ import annotations

import re
from typing import Any, Final

from lookkit.handoff.diff import parameters
from lookkit.look import Look
from lookkit.page.sentences import title_of

_TOLD: Final = 3
_LABEL = re.compile(r"\[([a-z][a-z0-9-]*)(?: \d+)?\]")


def differences(now: Look, take: Look) -> list[str]:
    """Return what is otherwise in a take: the first three in words, and how many more."""
    titles = {
        str(one.id): title_of(one.kind)
        for look in (now, take)
        for one in (*look.recipe.look, look.recipe.rendering)
        if one.id is not None
    }
    told = [_words(one.key, one.old, one.new, titles) for one in parameters(now, take)]
    told = list(dict.fromkeys(told))
    if len(told) > _TOLD + 1:
        told = [*told[:_TOLD], f"and {len(told) - _TOLD} more"]
    return told


def _words(key: str, old: Any, new: Any, titles: dict[str, str]) -> str:
    parts = [part for part in re.split(r"\.", key) if part]
    where, step = "", ""
    if parts[0] in ("scenes", "cameras", "shots", "outputs") and len(parts) > 1:
        where, parts = f"{parts[1]}: ", parts[2:]
    elif parts[0] == "rendering":
        step, parts = "Print, ", parts[1:]
    names = []
    for part in parts:
        label = _LABEL.search(part)
        if label:
            step = f"{title_of(label.group(1))}, "
        elif part in titles:
            step = f"{titles[part]}, "
        elif part not in ("look", "trims"):
            names.append(re.sub(r"\[(\d+)\]", r" \1", part).replace("_", " "))
    what = f"{where}{step}{' '.join(names)}".rstrip(", ")
    if old is None and not names:
        return f"{what} added"
    if new is None and not names:
        return f"{what} removed"
    return f"{what} {_value(old)} → {_value(new)}"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{value:g}".replace("-", "\N{MINUS SIGN}")
    if isinstance(value, list) and len(value) <= 3:
        return " ".join(_value(one) for one in value)
    if value is None:
        return "not set"
    return value if isinstance(value, str) else "other"
