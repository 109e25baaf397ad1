"""Encodings and outputs from a table: the shipped one, a user's file, or a recipe.

Every fault of a table is found before any is raised, each with the keys that lead to it,
so that whoever knows the lines of the file can say where it stands.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, Field, dataclass, fields
from functools import cache, partial
from math import isfinite
from typing import Any, Final, TypeVar, cast

import numpy as np

from lookkit.errors import InputError, expected_one_of
from lookkit.spaces import ranges
from lookkit.spaces.curves import DISPLAY_FAMILIES, FAMILIES, Curve, Linear
from lookkit.spaces.data import shipped_table
from lookkit.spaces.encoding import Encoding, Rows
from lookkit.spaces.output import Output
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
    build = partial(build_encoding, table=table)
    return _read(table, "encodings", FAMILIES, build)


def read_outputs(table: Mapping[str, Any]) -> dict[str, Output]:
    """Return the outputs of a table with `outputs`, and perhaps `primaries` and `curves`.

    See `configs/outputs.toml` for the form.

    Raises
    ------
    TableError
        With every fault, as for encodings, and a peak below the reference white.
    """
    build = partial(build_output, table=table)
    return _read(table, "outputs", DISPLAY_FAMILIES, build)


_T = TypeVar("_T")


def _read(
    table: Mapping[str, Any],
    kind: str,
    families: Sequence[type[Curve]],
    build: Callable[[str, Mapping[str, Any]], _T],
) -> dict[str, _T]:
    faults: list[Fault] = []
    known = (kind, "primaries", "curves")
    for key, value in table.items():
        if key not in known:
            faults.append(Fault((key,), "unknown table", expected_one_of(str(key), known)))
        elif not isinstance(value, Mapping):
            faults.append(Fault((key,), f"found {_shown(value)}", "a table"))
    if faults:
        raise TableError(faults)
    _build_all(
        table, "primaries", lambda name, entry: _primaries(name, entry, ("primaries", name)), faults
    )
    _build_all(
        table, "curves", lambda name, entry: _family(entry, ("curves", name), families), faults
    )
    found = _build_all(table, kind, build, faults)
    if faults:
        raise TableError(list(dict.fromkeys(faults)))
    return found


def _build_all(
    table: Mapping[str, Any],
    kind: str,
    build: Callable[[str, Mapping[str, Any]], _T],
    faults: list[Fault],
) -> dict[str, _T]:
    found: dict[str, _T] = {}
    for name, entry in table.get(kind, {}).items():
        try:
            if not isinstance(entry, Mapping):
                raise _Bad((kind, name), f"found {_shown(entry)}", "a table")
            found[name] = build(name, entry)
        except _Bad as bad:
            faults.append(bad.fault)
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
_ENCODING_KEYS: Final = (*_COMMON_KEYS, "to_ap0", "movies", "movies_source")
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
    movie_range = None
    if "movies" in entry:
        movie_range = _choice(entry, "movies", ranges.RANGES, "full", keys)
    if isinstance(curve, Linear) and native_range == "legal":
        raise _Bad((*keys, "range"), "scene-linear light in legal range", "'full'")
    return Encoding(
        name=name,
        curve=curve,
        primaries=primaries,
        rows_to_ap0=rows,
        adaptation=cast("Adaptation", adaptation),
        native_range=native_range,
        movie_range=movie_range,
        movie_source=_text(entry, "movies_source", "", keys),
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
    return _family(given, keys, families)


def _family(given: Mapping[str, Any], keys: Keys, families: Sequence[type[Curve]]) -> Curve:
    """Return the curve of a family and its constants."""
    known = {one.family: one for one in families}
    family = given.get("family")
    if not isinstance(family, str) or family not in known:
        found = "missing" if family is None else f"found {_shown(family)}"
        raise _Bad((*keys, "family"), found, expected_one_of(str(family or ""), known))
    constants = {key: value for key, value in given.items() if key != "family"}
    wanted = _fields(known[family])
    _known_keys(constants, [one.name for one in wanted], keys)
    values: dict[str, Any] = {}
    for one in wanted:
        place = (*keys, one.name)
        if one.name in constants and str(one.type).startswith("tuple"):
            values[one.name] = _pairs(constants[one.name], place)
        elif one.name in constants:
            values[one.name] = _number(constants[one.name], place)
        elif one.default is MISSING:
            raise _Bad(place, "missing", "a value")
    try:
        return known[family](**values)
    except InputError as error:
        raise _Bad(keys, str(error)) from error


@cache
def _fields(family: type[Curve]) -> tuple[Field[Any], ...]:
    return fields(family)  # type: ignore[arg-type]


def _number(value: object, keys: Keys) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise _Bad(keys, f"found {_shown(value)}", "a number")
    return float(value)


def _row(value: object, length: int, keys: Keys, expected: str) -> tuple[float, ...]:
    if not isinstance(value, list) or len(value) != length:
        raise _Bad(keys, f"found {_shown(value)}", expected)
    return tuple(_number(one, keys) for one in value)


def _pairs(value: object, keys: Keys) -> tuple[tuple[float, ...], ...]:
    if not isinstance(value, list):
        raise _Bad(keys, f"found {_shown(value)}", "a list of pairs of code and light")
    expected = "a pair of code and light"
    return tuple(_row(one, 2, (*keys, place), expected) for place, one in enumerate(value))


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
    return _primaries(name, given, keys)


def _primaries(name: str, given: Mapping[str, Any], keys: Keys) -> tuple[Primaries, str]:
    _known_keys(given, ("red", "green", "blue", "white", "adaptation", "source"), keys)
    corners = {one: _xy(given, one, keys) for one in ("red", "green", "blue", "white")}
    usual = _choice(given, "adaptation", ADAPTATIONS, "bradford", keys)
    try:
        return Primaries(name, **corners), usual
    except InputError as error:
        raise _Bad(keys, str(error)) from error


def _matrix(given: object, keys: Keys) -> tuple[Rows, Primaries]:
    expected = "three rows of three numbers"
    if not isinstance(given, list) or len(given) != 3:
        raise _Bad(keys, f"found {_shown(given)}", expected)
    rows = tuple(_row(one, 3, keys, expected) for one in given)
    try:
        return rows, from_xyz_matrix("own matrix", AP0.to_xyz() @ np.array(rows))
    except InputError as error:
        raise _Bad(keys, str(error)) from error


def _xy(given: Mapping[str, Any], key: str, keys: Keys) -> tuple[float, float]:
    pair = _required(given, key, keys)
    x, y = _row(pair, 2, (*keys, key), "x and y, such as [0.3127, 0.3290]")
    return x, y


def _positive(entry: Mapping[str, Any], key: str, default: float, keys: Keys) -> float:
    value = _number(entry.get(key, default), (*keys, key))
    if value <= 0:
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
