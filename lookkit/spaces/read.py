"""Encodings from a table: the shipped one, a user's file, or a recipe.

Every fault of a table is found before any is raised, each with the keys that lead to it,
so that whoever knows the lines of the file can say where it stands.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import MISSING, Field, dataclass, fields
from functools import cache
from typing import Any, Final

import numpy as np

from lookkit.errors import InputError, expected_one_of
from lookkit.spaces import ranges
from lookkit.spaces.curves import FAMILIES, Curve, Linear
from lookkit.spaces.data import shipped_table
from lookkit.spaces.encodings import Encoding
from lookkit.spaces.primaries import ADAPTATIONS, Primaries

Keys = tuple[str | int, ...]
"""The keys that lead to a value, from the outermost table."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong with a table of encodings or outputs."""

    keys: Keys
    found: str
    expected: str = ""

    def __str__(self) -> str:
        place = ".".join(str(key) for key in self.keys)
        tail = f", expected {self.expected}" if self.expected else ""
        return f"{place}: {self.found}{tail}"


class TableError(InputError):
    """All the faults of a table at once."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class _Bad(Exception):
    """A fault on its way up to the list."""

    def __init__(self, keys: Keys, found: str, expected: str = "") -> None:
        self.fault = Fault(keys, found, expected)


def read_encodings(table: Mapping[str, Any]) -> dict[str, Encoding]:
    """Return the encodings of a table with `encodings`, and perhaps `primaries` and `curves`.

    Tables name their curve and primaries, those of their own file or shipped ones, or give
    them in place. See `configs/encodings.toml` for the form.

    Raises
    ------
    TableError
        With every fault: unknown or missing fields, primaries on one line, a curve that is
        not monotone, a range or bit depth that cannot be.
    """
    faults: list[Fault] = []
    found: dict[str, Encoding] = {}
    for key in table.keys() - {"primaries", "curves", "encodings"}:
        expected = expected_one_of(str(key), ("primaries", "curves", "encodings"))
        faults.append(Fault((key,), "unknown table", expected))
    for name, entry in _table(table.get("encodings", {}), ("encodings",), faults).items():
        try:
            found[name] = _encoding(name, entry, table)
        except _Bad as bad:
            faults.append(bad.fault)
    if faults:
        raise TableError(faults)
    return found


_KEYS: Final = (
    "curve",
    "primaries",
    "to_ap0",
    "adaptation",
    "range",
    "bits",
    "aliases",
    "interop_id",
    "source",
    "evidence",
    "note",
)


def _encoding(name: str, entry: object, table: Mapping[str, Any]) -> Encoding:
    keys: Keys = ("encodings", name)
    if not isinstance(entry, Mapping):
        raise _Bad(keys, f"found {_shown(entry)}", "a table")
    _known_keys(entry, _KEYS, keys)
    curve = _curve(_required(entry, "curve", keys), table, (*keys, "curve"))
    primaries, adaptation = _gamut(entry, table, keys)
    native_range = _choice(entry, "range", ranges.RANGES, "full", keys)
    bits = entry.get("bits", 10)
    if bits not in ranges.DEPTHS or isinstance(bits, bool):
        raise _Bad((*keys, "bits"), f"found {_shown(bits)}", "8, 10, 12 or 16")
    if isinstance(curve, Linear) and native_range == "legal":
        raise _Bad((*keys, "range"), "scene-linear light in legal range", "full")
    return Encoding(
        name=name,
        curve=curve,
        primaries=primaries,
        adaptation=adaptation,
        native_range=native_range,
        bits=bits,
        source=_text(entry, "source", "given by the user", keys),
        evidence=_text(entry, "evidence", "user", keys),
        aliases=_texts(entry, "aliases", keys),
        interop_id=_text(entry, "interop_id", "", keys) or None,
        note=_text(entry, "note", "", keys),
    )


def _curve(given: object, table: Mapping[str, Any], keys: Keys) -> Curve:
    """Return the curve that is named or given in place."""
    if isinstance(given, str):
        own = table.get("curves", {})
        shared = own if given in own else shipped_table("encodings")["curves"]
        if given == "linear":
            return Linear()
        if given not in shared:
            choices = ["linear", *own, *shipped_table("encodings")["curves"]]
            raise _Bad(keys, f"unknown curve {given!r}", expected_one_of(given, choices))
        given = shared[given]
    if not isinstance(given, Mapping):
        raise _Bad(keys, f"found {_shown(given)}", "the name of a curve or a table")
    family = given.get("family")
    families = {one.family: one for one in FAMILIES}
    if family not in families:
        expected = expected_one_of(str(family or ""), families)
        raise _Bad((*keys, "family"), f"found {_shown(family)}", expected)
    constants = {key: value for key, value in given.items() if key != "family"}
    return _build(families[family], constants, keys)


@cache
def _fields(family: type[Curve]) -> tuple[Field[Any], ...]:
    return fields(family)  # type: ignore[arg-type]


def _build(family: type[Curve], constants: Mapping[str, Any], keys: Keys) -> Curve:
    wanted = _fields(family)
    _known_keys(constants, [one.name for one in wanted], keys)
    values = {}
    for one in wanted:
        if one.name in constants:
            values[one.name] = _constant(constants[one.name], (*keys, one.name))
        elif one.default is MISSING:
            raise _Bad((*keys, one.name), "missing", "a number")
    try:
        curve = family(**values)
    except InputError as error:
        raise _Bad(keys, str(error)) from error
    codes = np.linspace(-0.25, 1.25, 3001)
    light = curve.decode(np.repeat(codes[:, None], 3, axis=1))
    if not np.isfinite(light).all() or (np.diff(light, axis=0) < 0).any():
        raise _Bad(keys, "the curve is not monotone and finite")
    return curve


def _constant(value: object, keys: Keys) -> Any:
    if isinstance(value, list):
        return tuple(_constant(one, keys) for one in value)
    if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(value):
        raise _Bad(keys, f"found {_shown(value)}", "a number")
    return float(value)


def _gamut(entry: Mapping[str, Any], table: Mapping[str, Any], keys: Keys) -> tuple[Primaries, Any]:
    given = _required(entry, "primaries", keys)
    keys = (*keys, "primaries")
    name = "own primaries"
    if isinstance(given, str):
        name = given
        own = table.get("primaries", {})
        shared = own if given in own else shipped_table("encodings")["primaries"]
        if given not in shared:
            choices = [*own, *shipped_table("encodings")["primaries"]]
            raise _Bad(keys, f"unknown primaries {given!r}", expected_one_of(given, choices))
        given = shared[given]
    if not isinstance(given, Mapping):
        raise _Bad(keys, f"found {_shown(given)}", "the name of primaries or a table")
    _known_keys(given, ("red", "green", "blue", "white", "adaptation", "source"), keys)
    corners = {one: _xy(given, one, keys) for one in ("red", "green", "blue", "white")}
    try:
        primaries = Primaries(name, **corners)
    except InputError as error:
        raise _Bad(keys, str(error)) from error
    usual = _choice(given, "adaptation", ADAPTATIONS, "bradford", keys)
    return primaries, _choice(entry, "adaptation", ADAPTATIONS, usual, keys[:-1])


def _xy(given: Mapping[str, Any], key: str, keys: Keys) -> tuple[float, float]:
    pair = _required(given, key, keys)
    value = _constant(pair, (*keys, key))
    if not isinstance(value, tuple) or len(value) != 2:
        raise _Bad((*keys, key), f"found {_shown(pair)}", "x and y, such as [0.3127, 0.3290]")
    return value


def _table(value: object, keys: Keys, faults: list[Fault]) -> Mapping[str, Any]:
    if isinstance(value, Mapping):
        return value
    faults.append(Fault(keys, f"found {_shown(value)}", "a table"))
    return {}


def _known_keys(entry: Mapping[str, Any], known: Sequence[str], keys: Keys) -> None:
    for key in entry:
        if key not in known:
            raise _Bad((*keys, key), "unknown key", expected_one_of(str(key), known))


def _required(entry: Mapping[str, Any], key: str, keys: Keys) -> Any:
    if key not in entry:
        raise _Bad((*keys, key), "missing")
    return entry[key]


def _choice(
    entry: Mapping[str, Any], key: str, choices: Sequence[str], default: str, keys: Keys
) -> Any:
    value = entry.get(key, default)
    if value not in choices:
        expected = expected_one_of(str(value), choices)
        raise _Bad((*keys, key), f"found {_shown(value)}", expected)
    return value


def _text(entry: Mapping[str, Any], key: str, default: str, keys: Keys) -> str:
    value = entry.get(key, default)
    if not isinstance(value, str):
        raise _Bad((*keys, key), f"found {_shown(value)}", "text")
    return value


def _texts(entry: Mapping[str, Any], key: str, keys: Keys) -> tuple[str, ...]:
    value = entry.get(key, [])
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise _Bad((*keys, key), f"found {_shown(value)}", "a list of names")
    return tuple(value)


def _shown(value: object) -> str:
    return repr(value) if not isinstance(value, Mapping) else "a table"
