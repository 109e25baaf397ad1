"""The shipped outputs by name: data in `configs/outputs.toml`."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from lookkit.errors import UnknownNameError
from lookkit.spaces.data import Catalogue, find, shipped_table
from lookkit.spaces.output import Output
from lookkit.spaces.read import build_output

__all__ = ["Output", "output", "outputs"]


def outputs() -> Mapping[str, Output]:
    """Return every shipped output by name, in the order of the table; built when asked for."""
    return _shipped()


@cache
def _shipped() -> Catalogue[Output]:
    table = shipped_table("outputs")
    return Catalogue(table["outputs"], lambda name, entry: build_output(name, entry, table))


def output(name: str, extra: Mapping[str, Output] | None = None) -> Output:
    """Return an output by its name, an alias or its interop id, in any case.

    An interop id that several outputs share gives the first of the table.

    Parameters
    ----------
    extra
        The user's own outputs; they come before shipped ones of the same name.

    Raises
    ------
    UnknownNameError
        With the nearest name.
    """
    found = find(name, extra, _shipped())
    if found is None:
        raise UnknownNameError("output", name, [*(extra or {}), *outputs()])
    return found
