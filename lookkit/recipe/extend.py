"""A recipe and those it extends, as one set of tables that remembers where each key stands.

A recipe extends at most one other, which may extend a further one; each changes what lies
below it. Named tables (cameras, outputs, scenes, ...), `deliver` and `texture` are joined entry by
entry, an entry of the upper recipe replacing the lower one's whole. `look` nodes follow those
below. `[overrides.ID]` changes single parameters of a node below. Everything else replaces.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from lookkit.errors import InputError, Problem, RecipeError, expected_one_of
from lookkit.recipe.lines import Path as KeyPath
from lookkit.recipe.lines import key_lines, line_of
from lookkit.recipe.named_files import renamed
from lookkit.recipe.toml import parse_toml
from lookkit.spaces.data import configs_folder

SCHEMA = 1
"""The version of the recipe's own form; older ones are migrated when they load."""

_LARGEST = 4 << 20
_BY_ENTRY = ("cameras", "outputs", "scenes", "encodings", "displays", "primaries", "curves",
             "deliver", "texture")  # fmt: skip
_FIXED = ("kind", "id", "input")
"""What an override cannot change, for it would make another node or another graph."""


@dataclass(frozen=True, eq=False)
class Source:
    """One recipe file.

    `leads` says who extends it, for messages; it is empty for the recipe that was asked for.
    """

    file: str
    text: str
    data: dict[str, Any]
    leads: str = ""
    problems: tuple[Problem, ...] = ()
    """What is wrong with the file as a whole."""

    @cached_property
    def lines(self) -> dict[KeyPath, int]:
        """The line of every key."""
        return key_lines(self.text)

    def problem(self, path: KeyPath, found: str, expected: str) -> Problem:
        """Return what is wrong with a key of this file."""
        return Problem(
            self.file, line_of(self.lines, path), dotted(path), found + self.leads, expected
        )


@dataclass(frozen=True, eq=False)
class Origin:
    """From where a part of the joined tables comes."""

    path: KeyPath
    source: Source
    written: KeyPath
    note: str = ""


@dataclass(frozen=True, eq=False)
class Joined:
    """The tables of a recipe with all that it extends."""

    data: dict[str, Any]
    origins: tuple[Origin, ...]
    sources: tuple[Source, ...]
    """The recipe first, then what it extends, step by step."""

    def origin(self, path: KeyPath) -> Origin:
        """Return where the key at `path`, or its nearest parent, comes from."""
        fitting = [one for one in self.origins if path[: len(one.path)] == one.path]
        return max(reversed(fitting), key=lambda one: len(one.path))

    def problem(self, path: KeyPath, found: str, expected: str) -> Problem:
        """Return what is wrong with the key at `path`, told where it was written."""
        at = self.origin(path)
        return at.source.problem((*at.written, *path[len(at.path) :]), found + at.note, expected)

    def place(self, path: KeyPath) -> str:
        """Return file and line of the key at `path`."""
        problem = self.problem(path, "", "")
        return f"{problem.file}:{problem.line}"


def dotted(path: KeyPath) -> str:
    """Write a key's path as people write it: look[2].gain."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def read_text(path: Path, wanted: str = "a recipe (.toml)") -> str:
    """Return the text of a recipe, or of what else is `wanted`.

    Raises
    ------
    InputError
        If it is missing, not a file, too large or not UTF-8.
    """
    try:
        if not path.is_file():
            what = "is not a file" if path.exists() else "does not exist"
            raise InputError(f"{path}: {what}, expected {wanted}")
        if path.stat().st_size > _LARGEST:
            raise InputError(f"{path}: larger than 4 MiB, expected {wanted}")
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path}: byte {error.start} is not UTF-8, expected a text file"
        ) from error


def shipped_recipes() -> dict[str, Path]:
    """Return the recipes of the looks that come with lookkit, by name."""
    return {path.stem: path for path in sorted((configs_folder() / "looks").glob("*.toml"))}


def join(text: str, file: str) -> Joined:
    """Return the tables of a recipe's text with all that it extends.

    Raises
    ------
    RecipeError
        If one of them is not a recipe in TOML of this form, cannot be read, lies outside the
        folder of the recipe that extends it, or extends itself in a circle; or if an override
        names no node.
    """
    first = _source(text, file)
    chain = [(first, Path(file).resolve())]
    while "extends" in chain[-1][0].data:
        chain.append(_below(chain))
    sources = tuple(source for source, _ in chain)
    lowest = sources[-1]
    joined = Joined(
        _rebased(lowest.data, chain[-1][1], chain[0][1]), (Origin((), lowest, ()),), sources
    )
    problems: list[Problem] = []
    if "overrides" in lowest.data:
        problems.append(
            lowest.problem(("overrides",), "overrides without extends", "extends beside them")
        )
    for source, path in reversed(chain[:-1]):
        joined = _over(joined, source, _rebased(source.data, path, chain[0][1]), problems)
    if problems:
        raise RecipeError(problems)
    for key in ("extends", "overrides"):
        joined.data.pop(key, None)
    return joined


def overlay(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """Return `below` with the keys of `above`; tables are joined, all else is replaced."""
    made = dict(below)
    for key, value in above.items():
        lower = made.get(key)
        if isinstance(value, Mapping) and isinstance(lower, Mapping):
            made[key] = overlay(lower, value)
        else:
            made[key] = value
    return made


def fixed_keys(changes: Mapping[str, Any]) -> list[str]:
    """Return the keys of an override that cannot be changed."""
    return [key for key in _FIXED if key in changes]


def named_nodes(data: Mapping[str, Any]) -> Iterator[tuple[str, KeyPath, dict[str, Any]]]:
    """Yield the id, path and table of each node that overrides may name."""
    for path, node in _nodes(data):
        if path[0] not in ("scenes", "cameras", "shots") and isinstance(node.get("id"), str):
            yield node["id"], path, node


def _nodes(data: Mapping[str, Any]) -> Iterator[tuple[KeyPath, dict[str, Any]]]:
    """Yield the path and table of everything that may be a node."""

    def listed(path: KeyPath, nodes: Any) -> Iterator[tuple[KeyPath, dict[str, Any]]]:
        for index, node in enumerate(nodes if isinstance(nodes, list) else ()):
            if isinstance(node, dict):
                yield (*path, index), node

    yield from listed(("look",), data.get("look"))
    if isinstance(data.get("rendering"), dict):
        yield ("rendering",), data["rendering"]
    for table, key in (("outputs", "rendering"), ("scenes", "trims"), ("cameras", "trims")):
        entries = data.get(table)
        for name, entry in entries.items() if isinstance(entries, dict) else ():
            inner = entry.get(key) if isinstance(entry, dict) else None
            if isinstance(inner, dict):
                yield (table, name, key), inner
            yield from listed((table, name, key), inner)
    shots = data.get("shots")
    for row, shot in enumerate(shots if isinstance(shots, list) else ()):
        if isinstance(shot, dict):
            yield from listed(("shots", row, "trims"), shot.get("trims"))


def _source(text: str, file: str, leads: str = "") -> Source:
    source = Source(file, text, parse_toml(text, file, leads), leads)
    found = source.data.get("schema")
    if found == SCHEMA and not isinstance(found, bool | float):
        return source
    if "schema" not in source.data:
        problem = Problem(file, 1, "schema", "missing" + leads, f"schema = {SCHEMA}")
        # Read as of today's form, so that everything else that is wrong is told as well.
        return replace(source, data={"schema": SCHEMA, **source.data}, problems=(problem,))
    newer = isinstance(found, int) and found > SCHEMA
    what = f"{found!r} (made for a newer lookkit)" if newer else f"{found!r}"
    raise RecipeError([source.problem(("schema",), what, str(SCHEMA))])


def _below(chain: list[tuple[Source, Path]]) -> tuple[Source, Path]:
    """Return the recipe that the last of the chain extends."""
    source, path = chain[-1]
    name = source.data["extends"]
    shipped = shipped_recipes()

    def refused(found: str, expected: str) -> RecipeError:
        return RecipeError([source.problem(("extends",), found, expected)])

    wanted = "a recipe (.toml) in the recipe's folder or below it, or a shipped look: "
    wanted += ", ".join(shipped) if shipped else "none is installed"
    if not isinstance(name, str) or not name or "\0" in name:
        raise refused(f"{name!r}", wanted)
    if name in shipped:
        below, shown = shipped[name], str(shipped[name])
    elif name.endswith(".toml"):
        below, shown = path.parent / name, str(Path(source.file).parent / name)
    else:
        raise refused(f"unknown look {name!r}", expected_one_of(name, shipped) if shipped
                      else wanted)  # fmt: skip
    try:
        real = below.resolve()
    except (OSError, RuntimeError) as error:
        raise refused(f"{shown} cannot be read ({error})", wanted) from error
    if name not in shipped and not real.is_relative_to(path.parent):
        raise refused(f"{name!r} lies outside the folder of {source.file}", wanted)
    if real in [one for _, one in chain]:
        way = " -> ".join([*(one.file for one, _ in chain), shown])
        raise refused(f"the recipes extend each other in a circle: {way}", wanted)
    try:
        text = read_text(real)
    except InputError as error:
        raise refused(str(error).replace(str(real), shown).partition(", expected")[0],
                      wanted) from error  # fmt: skip
    line = line_of(source.lines, ("extends",))
    return _source(text, shown, f" (extended by {source.file}:{line})"), real


def _rebased(data: dict[str, Any], path: Path, first: Path) -> dict[str, Any]:
    """Return the tables of the recipe at `path` with the files it names seen from `first`'s."""
    if path.parent == first.parent:
        return dict(data)
    return renamed(data, lambda name: str(path.parent / name))


def _over(below: Joined, source: Source, data: dict[str, Any], problems: list[Problem]) -> Joined:
    """Return the tables of `source` over those below."""
    made = dict(below.data)
    origins = list(below.origins)
    _override(made, below, source, origins, problems)
    for key, value in data.items():
        if key == "overrides":
            continue
        lower = made.get(key)
        if key == "look" and isinstance(lower, list) and isinstance(value, list):
            made[key] = [*lower, *value]
            origins += [
                Origin((key, len(lower) + index), source, (key, index))
                for index in range(len(value))
            ]
        elif key in _BY_ENTRY and isinstance(lower, dict) and isinstance(value, dict):
            made[key] = {**lower, **value}
            origins += [Origin((key, name), source, (key, name)) for name in value]
            origins = [
                one for one in origins
                if one.source is source or one.path[:1] != (key,) or one.path[1:2] == ()
                or one.path[1] not in value
            ]  # fmt: skip
        else:
            made[key] = value
            origins = [one for one in origins if one.path[:1] != (key,)]
            origins.append(Origin((key,), source, (key,)))
    return replace(below, data=made, origins=tuple(origins))


def _override(
    made: dict[str, Any],
    below: Joined,
    source: Source,
    origins: list[Origin],
    problems: list[Problem],
) -> None:
    """Change the nodes below as the overrides of `source` say."""
    overrides = source.data.get("overrides", {})
    if not isinstance(overrides, dict):
        problems.append(source.problem(("overrides",), f"{overrides!r}", "tables [overrides.ID]"))
        return
    nodes = {name: (path, node) for name, path, node in named_nodes(below.data)}
    for name, changes in overrides.items():
        written: KeyPath = ("overrides", name)
        if not isinstance(changes, dict):
            problems.append(source.problem(written, f"{changes!r}", "a table of parameters"))
            continue
        if name not in nodes:
            extended = below.sources[below.sources.index(source) + 1].file
            problems.append(source.problem(
                written, f"no node of {extended} has the id {name!r}",
                expected_one_of(name, nodes)))  # fmt: skip
            continue
        for key in fixed_keys(changes):
            problems.append(source.problem(
                (*written, key), "an override cannot change this", "a parameter"))  # fmt: skip
        path, node = nodes[name]
        note = f" (changes the node at {below.place(path)})"
        origins += [
            Origin((*path, *inner), source, (*written, *inner), note) for inner in _keys(changes)
        ]
        for inner in _kept(node, changes):
            at = below.origin((*path, *inner))
            rest = (*path, *inner)[len(at.path) :]
            origins.append(Origin((*path, *inner), at.source, (*at.written, *rest), at.note))
        _put(made, path, overlay(node, changes))


def _keys(table: Mapping[str, Any]) -> Iterator[KeyPath]:
    """Yield the path of every key of a table and of the tables in it."""
    for key, value in table.items():
        yield (key,)
        if isinstance(value, Mapping):
            yield from ((key, *inner) for inner in _keys(value))


def _kept(below: Mapping[str, Any], above: Mapping[str, Any]) -> Iterator[KeyPath]:
    """Yield the keys below that stay as they are in tables that are joined."""
    for key, value in above.items():
        lower = below.get(key)
        if isinstance(value, Mapping) and isinstance(lower, Mapping):
            yield from ((key, one) for one in lower if one not in value)
            yield from ((key, *inner) for inner in _kept(lower, value))


def _put(data: dict[str, Any], path: KeyPath, value: Any) -> None:
    """Replace what stands at `path`, copying the tables on the way."""
    at: Any = data
    for part in path[:-1]:
        at[part] = dict(at[part]) if isinstance(at[part], dict) else list(at[part])
        at = at[part]
    at[path[-1]] = value
