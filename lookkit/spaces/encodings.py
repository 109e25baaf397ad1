"""The shipped encodings by name.

The table is data (`configs/encodings.toml`); users add their own in the same form, in a
recipe or in a file.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from lookkit.errors import UnknownNameError
from lookkit.spaces.data import Catalogue, find, shipped_table
from lookkit.spaces.encoding import Encoding
from lookkit.spaces.read import build_encoding

__all__ = ["Encoding", "encoding", "encodings"]


def encodings() -> Mapping[str, Encoding]:
    """Return every shipped encoding by name, in the order of the table; built when asked for."""
    return _shipped()


@cache
def _shipped() -> Catalogue[Encoding]:
    table = shipped_table("encodings")
    return Catalogue(table["encodings"], lambda name, entry: build_encoding(name, entry, table))


def encoding(name: str, extra: Mapping[str, Encoding] | None = None) -> Encoding:
    """Return an encoding by its name, an alias or its interop id, in any case.

    Parameters
    ----------
    extra
        The user's own encodings; they come before shipped ones of the same name.

    Raises
    ------
    UnknownNameError
        With the nearest name, or with the exposure indexes that are published.
    """
    found = find(name, extra, _shipped())
    if found is not None:
        return found
    known = [*(extra or {}), *encodings()]
    family = re.fullmatch(r"(.+ ei) ?\d+", name.strip().casefold())
    if family and (same := [one for one in known if one.casefold().startswith(family[1])]):
        raise UnknownNameError("exposure index", name, same)
    raise UnknownNameError("encoding", name, known)
