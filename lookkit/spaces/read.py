"""Encodings and outputs from a table: the shipped one, a user's file, or a recipe.

Every fault of a table is found before any is raised, each with the keys that lead to it,
so that whoever knows the lines of the file can say where it stands.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, Field, dataclass, fields
from functools import cache
from math import isfinite
from typing import Any, Final, TypeVar, cast

import numpy as np

from lookkit.errors import InputError, expected_one_of
from lookkit.spaces import ranges
from lookkit.spaces.curves import DISPLAY_FAMILIES, FAMILIES, Curve, Linear
from lookkit.spaces.data import shipped_table
from lookkit.spaces.encodings import Encoding, Rows
from lookkit.spaces.outputs import Output
from lookkit.spaces.primaries import ADAPTATIONS, AP0, Adaptation, Primaries, from_xyz_matrix

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

    def build(name: str, entry: Mapping[str, Any]) -> Encoding:
        made = build_encoding(name, entry, table)
        _check_monotone(made.curve, ("encodings", name, "curve"))
        return made

    return _read(table, "encodings", build)


def read_outputs(table: Mapping[str, Any]) -> dict[str, Output]:
    """Return the outputs of a table with `outputs`, and perhaps `primaries` and `curves`.

    See `configs/outputs.toml` for the form.

    Raises
    ------
    TableError
        With every fault, as for encodings, and a peak below the reference white.
    """
    return _read(table, "outputs", lambda name, entry: build_output(name, entry, table))


_T = TypeVar("_T")


def _read(
    table: Mapping[str, Any], kind: str, build: Callable[[str, Mapping[str, Any]], _T]
) -> dict[str, _T]:
    faults: list[Fault] = []
    found: dict[str, _T] = {}
    known = (kind, "primaries", "curves")
    for key, value in table.items():
        if key not in known:
            faults.append(Fault((key,), "unknown table", expected_one_of(str(key), known)))
        elif not isinstance(value, Mapping):
            faults.append(Fault((key,), f"found {_shown(value)}", "a table"))
    if faults:
        raise TableError(faults)
    for name, entry in table.get(kind, {}).items():
        try:
            if not isinstance(entry, Mapping):
                raise _Bad((kind, name), f"found {_shown(entry)}", "a table")
            found[name] = build(name, entry)
        except _Bad as bad:
            faults.append(bad.fault)
    if faults:
        raise TableError(faults)
    return found


_COMMON_KEYS: Final = (
    "curve",
    "primaries",
    "adaptation",
    "range",
    "bits",
    "aliases",
    "interop_id",
    "source",
    "evidence",
    "note",
)
_ENCODING_KEYS: Final = (*_COMMON_KEYS, "to_ap0")
_OUTPUT_KEYS: Final = (
    *_COMMON_KEYS,
    "limiting",
    "peak",
    "reference_white",
    "interface_range",
    "aces2_style",
)


def build_encoding(name: str, entry: Mapping[str, Any], table: Mapping[str, Any]) -> Encoding:
    """Return one encoding of a table, or stop at its first fault."""
    keys: Keys = ("encodings", name)
    _known_keys(entry, _ENCODING_KEYS, keys)
    curve = _curve(entry, table, keys, FAMILIES)
    rows, adaptation = None, "none"
    if "to_ap0" in entry:
        if "primaries" in entry:
            raise _Bad((*keys, "to_ap0"), "found beside primaries", "one of the two")
        rows, primaries = _matrix(entry["to_ap0"], (*keys, "to_ap0"))
    else:
        primaries, usual = _gamut(entry, "primaries", table, keys)
        adaptation = _choice(entry, "adaptation", ADAPTATIONS, usual, keys)
    native_range = _choice(entry, "range", ranges.RANGES, "full", keys)
    if isinstance(curve, Linear) and native_range == "legal":
        raise _Bad((*keys, "range"), "scene-linear light in legal range", "'full'")
    return Encoding(
        name=name,
        curve=curve,
        primaries=primaries,
        rows_to_ap0=rows,
        adaptation=cast("Adaptation", adaptation),
        native_range=native_range,
        bits=_bits(entry, keys),
        **_described(entry, keys),
    )


def build_output(name: str, entry: Mapping[str, Any], table: Mapping[str, Any]) -> Output:
    """Return one output of a table, or stop at its first fault."""
    keys: Keys = ("outputs", name)
    _known_keys(entry, _OUTPUT_KEYS, keys)
    display, _ = _gamut(entry, "primaries", table, keys)
    limiting = _gamut(entry, "limiting", table, keys)[0] if "limiting" in entry else display
    peak = _positive(entry, "peak", 100.0, keys)
    white = _positive(entry, "reference_white", min(peak, 203.0) if peak > 100 else peak, keys)
    if peak < white:
        found = f"{peak:g} cd/m2 below the reference white of {white:g}"
        raise _Bad(
            (*keys, "peak" if "peak" in entry else "reference_white"), found, "at least that"
        )
    return Output(
        name=name,
        display=display,
        limiting=limiting,
        curve=_curve(entry, table, keys, DISPLAY_FAMILIES),
        peak=peak,
        reference_white=white,
        range=_choice(entry, "range", ranges.RANGES, "full", keys),
        bits=_bits(entry, keys),
        adaptation=_choice(entry, "adaptation", ADAPTATIONS, "none", keys),
        interface_range=_choice(entry, "interface_range", ranges.RANGES, "full", keys),
        aces2_style=_text(entry, "aces2_style", "", keys) or None,
        **_described(entry, keys),
    )


def _described(entry: Mapping[str, Any], keys: Keys) -> dict[str, Any]:
    return {
        "source": _text(entry, "source", "given by the user", keys),
        "evidence": _text(entry, "evidence", "user", keys),
        "aliases": _texts(entry, "aliases", keys),
        "interop_id": _text(entry, "interop_id", "", keys) or None,
        "note": _text(entry, "note", "", keys),
    }


def _curve(
    entry: Mapping[str, Any],
    table: Mapping[str, Any],
    keys: Keys,
    families: Sequence[type[Curve]],
) -> Curve:
    """Return the curve that is named or given in place."""
    given = _required(entry, "curve", keys)
    keys = (*keys, "curve")
    if given == "linear" and Linear in families:
        return Linear()
    if isinstance(given, str):
        own = table.get("curves", {})
        shared = {**shipped_table(keys[0])["curves"], **own}
        if given not in shared:
            raise _Bad(keys, f"unknown curve {given!r}", expected_one_of(given, shared))
        keys = ("curves", given) if given in own else keys
        given = shared[given]
    if not isinstance(given, Mapping):
        raise _Bad(keys, f"found {_shown(given)}", "the name of a curve or a table")
    known = {one.family: one for one in families}
    family = given.get("family")
    if family not in known:
        expected = expected_one_of(str(family or ""), known)
        raise _Bad((*keys, "family"), f"found {_shown(family)}", expected)
    constants = {key: value for key, value in given.items() if key != "family"}
    return _build(known[family], constants, keys)


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
    return curve


def _check_monotone(curve: Curve, keys: Keys) -> None:
    codes = np.linspace(-0.25, 1.25, 3001)
    light = curve.decode(np.repeat(codes[:, None], 3, axis=1))
    if not np.isfinite(light).all() or (np.diff(light, axis=0) < 0).any():
        raise _Bad(keys, "a curve that falls or is not finite", "one that rises")


def _constant(value: object, keys: Keys) -> Any:
    if isinstance(value, list):
        return tuple(_constant(one, keys) for one in value)
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise _Bad(keys, f"found {_shown(value)}", "a number")
    return float(value)


def _gamut(
    entry: Mapping[str, Any], key: str, table: Mapping[str, Any], keys: Keys
) -> tuple[Primaries, str]:
    """Return primaries that are named or given in place, and their usual adaptation."""
    given = _required(entry, key, keys)
    keys = (*keys, key)
    name = "own primaries"
    if isinstance(given, str):
        name = given
        own = table.get("primaries", {})
        shared = {**shipped_table("encodings")["primaries"], **own}
        if given not in shared:
            raise _Bad(keys, f"unknown primaries {given!r}", expected_one_of(given, shared))
        keys = ("primaries", given) if given in own else keys
        given = shared[given]
    if not isinstance(given, Mapping):
        raise _Bad(keys, f"found {_shown(given)}", "the name of primaries or a table")
    _known_keys(given, ("red", "green", "blue", "white", "adaptation", "source"), keys)
    corners = {one: _xy(given, one, keys) for one in ("red", "green", "blue", "white")}
    usual = _choice(given, "adaptation", ADAPTATIONS, "bradford", keys)
    try:
        return Primaries(name, **corners), usual
    except InputError as error:
        raise _Bad(keys, str(error)) from error


def _matrix(given: object, keys: Keys) -> tuple[Rows, Primaries]:
    rows = _constant(given, keys)
    if np.shape(rows) != (3, 3):
        raise _Bad(keys, f"found {_shown(given)}", "three rows of three numbers")
    try:
        return rows, from_xyz_matrix("own matrix", AP0.to_xyz() @ np.array(rows))
    except InputError as error:
        raise _Bad(keys, str(error)) from error


def _xy(given: Mapping[str, Any], key: str, keys: Keys) -> tuple[float, float]:
    pair = _required(given, key, keys)
    value = _constant(pair, (*keys, key))
    if not isinstance(value, tuple) or len(value) != 2:
        raise _Bad((*keys, key), f"found {_shown(pair)}", "x and y, such as [0.3127, 0.3290]")
    return value


def _positive(entry: Mapping[str, Any], key: str, default: float, keys: Keys) -> float:
    value = _constant(entry.get(key, default), (*keys, key))
    if not isinstance(value, float) or value <= 0:
        raise _Bad((*keys, key), f"found {_shown(entry[key])}", "a number above 0")
    return value


def _bits(entry: Mapping[str, Any], keys: Keys) -> int:
    bits = entry.get("bits", 10)
    if isinstance(bits, bool) or bits not in ranges.DEPTHS:
        raise _Bad((*keys, "bits"), f"found {_shown(bits)}", "8, 10, 12 or 16")
    return int(bits)


def _known_keys(entry: Mapping[str, Any], known: Sequence[str], keys: Keys) -> None:
    for key in entry:
        if key not in known:
            raise _Bad((*keys, key), "unknown key", expected_one_of(str(key), known))


def _required(entry: Mapping[str, Any], key: str, keys: Keys) -> Any:
    if key not in entry:
        raise _Bad((*keys, key), "missing", "a value")
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
