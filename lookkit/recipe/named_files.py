"""The files that a recipe's tables name: LUTs of its nodes, matches of its cameras."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from lookkit.recipe.lines import Path as KeyPath


def named_files(data: Mapping[str, Any]) -> list[tuple[KeyPath, str]]:
    """Return the key's path and the name of each file, in the order of the tables."""
    return [*_luts(data, ()), *_matches(data)]


def renamed(data: Mapping[str, Any], change: Callable[[str], str]) -> dict[str, Any]:
    """Return the tables with every name of a file changed."""
    made = copy.deepcopy(dict(data))
    for path, name in named_files(data):
        at: Any = made
        for part in path[:-1]:
            at = at[part]
        at[path[-1]] = change(name)
    return made


def _luts(value: Any, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    """Yield the `file` of each lut node, and of each override, which only a lut node can have."""
    if isinstance(value, Mapping):
        overrides = "overrides" in path[-2:-1]
        if isinstance(value.get("file"), str) and (value.get("kind") == "lut" or overrides):
            yield (*path, "file"), value["file"]
        for key, inner in value.items():
            yield from _luts(inner, (*path, key))
    elif isinstance(value, list):
        for place, inner in enumerate(value):
            yield from _luts(inner, (*path, place))


def _matches(data: Mapping[str, Any]) -> Iterator[tuple[KeyPath, str]]:
    cameras = data.get("cameras")
    for camera, entry in cameras.items() if isinstance(cameras, Mapping) else ():
        named = entry.get("match") if isinstance(entry, Mapping) else None
        if isinstance(named, str):
            yield ("cameras", camera, "match"), named
        for place, name in enumerate(named) if isinstance(named, list) else ():
            if isinstance(name, str):
                yield ("cameras", camera, "match", place), name
