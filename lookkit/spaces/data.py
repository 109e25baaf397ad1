"""Where the tables that users may read and extend are found, and their parsed content."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping
from functools import cache, cached_property
from pathlib import Path
from typing import Any, Generic, Protocol, TypeVar

import lookkit
from lookkit.errors import LookkitError


@cache
def configs_folder() -> Path:
    """Return the folder with the tables and ready recipes.

    An installed lookkit carries it inside the package; a checkout has it beside the package.

    Raises
    ------
    LookkitError
        If the installation is not complete.
    """
    package = Path(lookkit.__file__ or "").parent
    for folder in (package / "configs", package.parent / "configs"):
        if (folder / "encodings.toml").is_file():
            return folder
    raise LookkitError(f"{package}: the folder 'configs' is missing; install lookkit again")


@cache
def shipped_table(name: str) -> dict[str, Any]:
    """Return the parsed content of a shipped TOML table, read once; not to be changed."""
    with (configs_folder() / f"{name}.toml").open("rb") as file:
        return tomllib.load(file)


class Named(Protocol):
    """Anything that is looked up by one of its names."""

    @property
    def name(self) -> str:
        """The name."""

    @property
    def aliases(self) -> tuple[str, ...]:
        """Other names."""

    @property
    def interop_id(self) -> str | None:
        """The name that applications share, where one is published."""


T = TypeVar("T", bound=Named)


class Catalogue(Mapping[str, T], Generic[T]):
    """The entries of a shipped table by name, each built when it is first asked for."""

    def __init__(
        self, entries: Mapping[str, Mapping[str, Any]], build: Callable[[str, Mapping[str, Any]], T]
    ) -> None:
        self._entries = entries
        self._build = build
        self._built: dict[str, T] = {}

    def __getitem__(self, name: str) -> T:
        if name not in self._built:
            self._built[name] = self._build(name, self._entries[name])
        return self._built[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    def __contains__(self, name: object) -> bool:
        return name in self._entries

    @cached_property
    def names(self) -> dict[str, str]:
        """Every name, alias and interop id, in lower case, to the name of its entry."""
        found: dict[str, str] = {}
        for name, entry in self._entries.items():
            for also in (entry.get("interop_id"), *entry.get("aliases", ()), name):
                if also:
                    found.setdefault(also.casefold(), name)
        return found | {name.casefold(): name for name in self._entries}


def find(name: str, extra: Mapping[str, T] | None, shipped: Catalogue[T]) -> T | None:
    """Return the entry of any name, alias or interop id, in any case; `extra` comes first."""
    key = name.strip().casefold()
    for one in (extra or {}).values():
        if key in (one.name.casefold(), *(also.casefold() for also in one.aliases)):
            return one
    known = shipped.names.get(key)
    return None if known is None else shipped[known]
