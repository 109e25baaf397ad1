"""Writing tables as TOML: what a recipe holds, no more."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def toml_text(tables: Mapping[str, Any]) -> str:
    """Return TOML that reads back as `tables`.

    Parameters
    ----------
    tables
        Text, numbers, true and false, lists and tables of them, by text keys.
    """
    return "\n".join(_lines(tables, "")) + "\n"


def _lines(table: Mapping[str, Any], path: str) -> list[str]:
    lines = [
        f"{_key(key)} = {toml_value(value)}" for key, value in table.items() if not _is_big(value)
    ]
    for key, value in table.items():
        if not _is_big(value):
            continue
        name = f"{path}.{_key(key)}" if path else _key(key)
        if isinstance(value, Mapping):
            inner = _lines(value, name)
            # A table of nothing but tables needs no header of its own.
            bare = inner and all(_is_big(item) for item in value.values())
            lines += inner if bare else ["", f"[{name}]", *inner]
            continue
        for item in value:
            lines += ["", f"[[{name}]]", *_lines(item, name)]
    return lines


def _is_big(value: Any) -> bool:
    """Whether a value gets a header: a table, or a list of nothing but tables."""
    if isinstance(value, Mapping):
        return True
    return (
        isinstance(value, list) and bool(value) and all(isinstance(one, Mapping) for one in value)
    )


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _string(key)


def toml_value(value: Any) -> str:
    """Return a value as TOML, in one line; numbers keep all their digits."""
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {toml_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    return repr(value)


def _string(text: str) -> str:
    """Return a basic string; JSON's escapes are TOML's, but for the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
