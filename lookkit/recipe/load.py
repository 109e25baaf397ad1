"""From a recipe's text to the model, with every problem at once and its line."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from lookkit.errors import Problem, RecipeError, expected_one_of
from lookkit.nodes import LOOK_KINDS, kind_name
from lookkit.nodes.base import Node
from lookkit.recipe.extend import Joined, fixed_keys, join, named_nodes
from lookkit.recipe.extend import dotted as dotted
from lookkit.recipe.extend import read_text as read_text
from lookkit.recipe.lines import Path as KeyPath
from lookkit.recipe.matches import Matches, read_matches
from lookkit.recipe.model import Recipe, overridden
from lookkit.recipe.tables import Own, read_own
from lookkit.recipe.toml import parse_toml as parse_toml
from lookkit.recipe.wiring import Fault, state_faults, wire
from lookkit.recipe.words import problems_of
from lookkit.spaces.encodings import encoding


def read_recipe(path: Path, *, matches: bool = True) -> tuple[Recipe, str]:
    """Return the recipe of a file, with all that it extends, and its whole text.

    The text is the file's own; of a recipe that extends another, the joined one. Without
    `matches`, no match file is read, and no camera has one.

    Raises
    ------
    InputError
        If the file cannot be read.
    RecipeError
        With every problem of the recipe, each located.
    """
    return parsed(read_text(path), str(path), matches=matches)


def parsed(text: str, file: str, *, matches: bool = True) -> tuple[Recipe, str]:
    """Return the recipe of a text as `read_recipe` does; what it names lies beside `file`.

    Raises
    ------
    RecipeError
        With every problem of the recipe, each located.
    """
    joined = join(text, file)
    recipe = validated(joined, Path(file).parent, matches=matches)
    if len(joined.sources) > 1:
        from lookkit.recipe.write import toml_text

        files = ", ".join(Path(source.file).name for source in joined.sources)
        text = f"# Joined from {files}.\n{toml_text(joined.data)}"
    return recipe, text


def parse_recipe(text: str, file: str = "<recipe>") -> Recipe:
    """Validate the text of a recipe; `file` is named in the problems.

    What it names in its folder (LUT files, matches, a recipe that it extends) is looked for
    beside `file`.

    Raises
    ------
    RecipeError
        With every problem of the recipe, each located.
    """
    return validated(join(text, file), Path(file).parent)


def validated(joined: Joined, folder: Path, *, matches: bool = True) -> Recipe:
    """Return the recipe that joined tables make; without `matches`, no match file is read.

    Raises
    ------
    RecipeError
        With every problem, each located.
    """
    data = joined.data
    own = read_own(data)
    read = read_matches(joined, folder, own) if matches else Matches({}, complete=False)
    context = {"folder": folder, "own": own, "matches": read}
    problems = [joined.problem(fault.keys, fault.found, fault.expected) for fault in own.faults]
    problems += read.problems
    problems += [problem for source in joined.sources for problem in source.problems]
    recipe = None
    try:
        recipe = Recipe.model_validate_json(
            json.dumps(data, default=str), strict=True, context=context
        )
    except ValidationError as error:
        problems += problems_of(error, Recipe, data, joined.problem)
    problems += _graph_problems(joined, context, recipe)
    problems += _id_problems(joined)
    problems += _name_problems(joined)
    if recipe is not None and not problems:
        problems += _override_problems(joined, recipe)
        problems += _raw_problems(joined, recipe, own)
    if recipe is None or problems:
        raise RecipeError(problems)
    return recipe


def _lists(data: Mapping[str, Any]) -> Iterator[tuple[KeyPath, list[Any]]]:
    """Yield each list of nodes that is a graph of its own."""
    found: list[tuple[KeyPath, Any]] = [(("look",), data.get("look"))]
    for key in ("cameras", "scenes"):
        for name, entry in _table(data, key).items():
            if isinstance(entry, dict):
                found.append(((key, name, "trims"), entry.get("trims")))
    shots = data.get("shots")
    for row, shot in enumerate(shots if isinstance(shots, list) else ()):
        if isinstance(shot, dict):
            found.append((("shots", row, "trims"), shot.get("trims")))
    for path, nodes in found:
        if isinstance(nodes, list) and all(isinstance(node, dict) for node in nodes):
            yield path, nodes


def _graph_problems(
    joined: Joined, context: Mapping[str, Any], recipe: Recipe | None
) -> Iterator[Problem]:
    for path, nodes in _lists(joined.data):
        wiring = wire(nodes)
        faults: Sequence[Fault] = wiring.faults
        if not faults:
            made = (
                [_node(node, context) for node in nodes]
                if recipe is None
                else recipe.look
                if path == ("look",)
                else getattr(recipe, str(path[0]))[path[1]].trims
            )
            faults = state_faults(wiring, made)
        for fault in faults:
            yield joined.problem((*path, *fault.path), fault.found, fault.expected)


def _node(data: Mapping[str, Any], context: Mapping[str, Any]) -> Node | None:
    """Return the node, or None where something else is wrong with it."""
    for kind in LOOK_KINDS:
        if kind_name(kind) == data.get("kind"):
            try:
                return kind.model_validate_json(
                    json.dumps(data, default=str), strict=True, context=dict(context)
                )
            except ValidationError:
                return None
    return None


def _id_problems(joined: Joined) -> Iterator[Problem]:
    """Ids of renderings: unlike those of the look and of each other."""
    first: dict[str, KeyPath] = {}
    for name, path, _ in named_nodes(joined.data):
        if name in first and path[0] != "look":
            yield joined.problem(
                (*path, "id"), f"{name!r} is the id of {joined.place(first[name])} already",
                "an id of its own")  # fmt: skip
        first.setdefault(name, path)


def _name_problems(joined: Joined) -> Iterator[Problem]:
    """Cameras, scenes and nodes that are named but not there."""
    data = joined.data
    cameras, scenes = _table(data, "cameras"), _table(data, "scenes")
    ids = [name for name, _, _ in named_nodes(data)]
    deliver = data.get("deliver")
    asked = deliver.get("scenes") if isinstance(deliver, dict) else None
    for name, scene in scenes.items():
        if not isinstance(scene, dict):
            continue
        at = ("scenes", name)
        yield from _unknown(joined, (*at, "cameras"), "camera", scene.get("cameras"), cameras)
        for one, changes in _table(scene, "overrides").items():
            path = (*at, "overrides", one)
            if one not in ids:
                yield joined.problem(path, f"no node has the id {one!r}", expected_one_of(one, ids))
            for key in fixed_keys(changes) if isinstance(changes, dict) else ():
                yield joined.problem((*path, key), "an override cannot change this", "a parameter")
    yield from _unknown(joined, ("deliver", "scenes"), "scene", asked, scenes)
    shots = data.get("shots")
    for row, shot in enumerate(shots if isinstance(shots, list) else ()):
        for what, known in (("camera", cameras), ("scene", scenes)):
            called = shot.get(what) if isinstance(shot, dict) else None
            if isinstance(called, str) and called not in known:
                yield joined.problem(
                    ("shots", row, what),
                    f"unknown {what} {called!r}",
                    expected_one_of(called, known),
                )


def _raw_problems(joined: Joined, recipe: Recipe, own: Own) -> Iterator[Problem]:
    """Lines of the shot list that read camera raw, which is developed to light, as codes."""
    for row, shot in enumerate(recipe.shots):
        read_as = encoding(recipe.cameras[shot.camera].encoding, own.encodings)
        if shot.raw and not read_as.scene_linear:
            yield joined.problem(
                ("shots", row, "camera"),
                f"camera raw, which is developed to scene-linear light, as {read_as.name}",
                'a camera of its own with encoding = "ACEScg"',
            )


def _unknown(
    joined: Joined, path: KeyPath, what: str, names: Any, known: Mapping[str, Any]
) -> Iterator[Problem]:
    listed = [name for name in names if isinstance(name, str)] if isinstance(names, list) else []
    for index, name in enumerate(names if listed else ()):
        if name in listed and name not in known:
            yield joined.problem(
                (*path, index), f"unknown {what} {name!r}", expected_one_of(name, known)
            )
    for name, count in Counter(listed).items():
        if count > 1:
            yield joined.problem(path, f"{what} {name!r} {count} times", "each once")


def _table(data: Mapping[str, Any], key: str) -> dict[str, Any]:
    table = data.get(key)
    return table if isinstance(table, dict) else {}


def _override_problems(joined: Joined, recipe: Recipe) -> Iterator[Problem]:
    """Yield what scenes' overrides make of nodes that these cannot be."""
    nodes = dict(recipe.named_nodes())
    paths = {name: path for name, path, _ in named_nodes(joined.data)}
    for scene, settings in recipe.scenes.items():
        for name, changes in settings.overrides.items():
            at = ("scenes", scene, "overrides", name)
            try:
                overridden(nodes[name], changes, recipe._context)
            except ValidationError as error:

                def locate(
                    path: KeyPath,
                    found: str,
                    expected: str,
                    at: KeyPath = at,
                    node: str = joined.place(paths[name]),
                ) -> Problem:
                    return joined.problem(
                        (*at, *path), f"{found} (changes the node at {node})", expected
                    )

                yield from problems_of(error, type(nodes[name]), changes, locate)
