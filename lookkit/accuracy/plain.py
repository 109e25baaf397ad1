"""Dataclasses from plain data, as JSON holds it."""

from __future__ import annotations

import types
import typing
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, Final

_MOST: Final = 1e100
"""No figure is as large; what is not a number is none either."""


def built(kind: Any, data: Any) -> Any:
    """Return plain data as a value of a type: a dataclass, a tuple, a mapping, a number or a word.

    Raises
    ------
    ValueError
        If anything is missing, too much, or of another type.
    """
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if is_dataclass(kind):
        wanted = typing.get_type_hints(kind)
        names = [field.name for field in fields(kind)]
        if not isinstance(data, Mapping) or set(data) != set(names):
            raise ValueError(f"expected {', '.join(names)}")
        return kind(**{name: built(wanted[name], data[name]) for name in names})  # type: ignore[operator]
    if origin is dict and isinstance(data, Mapping):
        return {built(inner[0], key): built(inner[1], value) for key, value in data.items()}
    if origin is tuple and isinstance(data, list):
        if len(inner) == 2 and inner[1] is Ellipsis:
            inner = inner[:1] * len(data)
        return tuple(built(one, value) for one, value in zip(inner, data, strict=True))
    if origin is typing.Literal and data in inner:
        return data
    if origin in (types.UnionType, typing.Union):
        return None if data is None else built(inner[0], data)
    if kind is float and type(data) in (int, float) and abs(data) < _MOST:
        return float(data)
    if kind in (int, bool, str) and type(data) is kind:
        return data
    raise ValueError(f"expected {getattr(kind, '__name__', kind)}, found {str(data)[:40]!r}")
