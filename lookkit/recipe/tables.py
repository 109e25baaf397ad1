"""A recipe's own encodings and displays, in the form of the shipped tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from lookkit.spaces.encodings import Encoding, encoding
from lookkit.spaces.outputs import Output, output
from lookkit.spaces.read import Fault, Keys, TableError, read_encodings, read_outputs

_SHARED = ("primaries", "curves")


@dataclass(frozen=True)
class Own:
    """What a recipe defines for itself, by name, and what is wrong with it.

    A faulty entry has a stand-in, so that those who name it are not wrong too.
    """

    encodings: Mapping[str, Encoding]
    displays: Mapping[str, Output]
    faults: tuple[Fault, ...] = ()


NOTHING = Own({}, {})


def read_own(data: Mapping[str, Any]) -> Own:
    """Read the tables `encodings` and `displays`, with their `primaries` and `curves`."""
    if not any(key in data for key in ("encodings", "displays", *_SHARED)):
        return NOTHING
    shared = {key: data[key] for key in _SHARED if key in data}
    faults: list[Fault] = []
    encodings: dict[str, Encoding] = {}
    displays: dict[str, Output] = {}
    try:
        encodings = read_encodings({**shared, "encodings": data.get("encodings", {})})
    except TableError as error:
        faults += error.faults
        encodings = {
            name: replace(encoding("ACEScg"), name=name) for name in _names(data, "encodings")
        }
    try:
        displays = read_outputs({**shared, "outputs": data.get("displays", {})})
    except TableError as error:
        faults += [Fault(_renamed(one.keys), one.found, one.expected) for one in error.faults]
        displays = {name: replace(output("sRGB"), name=name) for name in _names(data, "displays")}
    return Own(encodings, displays, tuple(dict.fromkeys(faults)))


def _names(data: Mapping[str, Any], key: str) -> list[str]:
    table = data.get(key)
    return list(table) if isinstance(table, Mapping) else []


def _renamed(keys: Keys) -> Keys:
    """Return the keys as a recipe has them: `outputs` there are what is delivered."""
    return ("displays", *keys[1:]) if keys and keys[0] == "outputs" else keys
