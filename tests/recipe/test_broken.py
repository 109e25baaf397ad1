"""A recipe broken anywhere, in any way, is told about at a line, and never ends in a traceback."""

import copy
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.errors import RecipeError
from lookkit.explain import RECIPE
from lookkit.look import Look
from lookkit.nodes import KINDS, kind_name
from lookkit.recipe.load import parse_recipe
from lookkit.recipe.write import toml_text

MORE = """
[curves.odd]
family = "power"
gamma = 2.2
[encodings.Odd]
primaries = "BT.709"
curve = "odd"
[[look]]
kind = "blend"
id = "both"
weight = 0.5
branches = [{ node = "level", weight = 0.5 }]
[[look]]
kind = "zones"
zones = [{ centre = -2, exposure = 0.2 }, { centre = 2 }]
mix = 0.5
only = { stops = { from = -3 }, hue = { centre = 40 }, chroma = { to = 0.5 }, invert = true }
"""
WHOLE = tomllib.loads(RECIPE + MORE)


def places(value, path=()):
    """The path of every key and item."""
    pairs = value.items() if isinstance(value, dict) else enumerate(value)
    for key, item in pairs:
        yield (*path, key)
        if isinstance(item, dict | list):
            yield from places(item, (*path, key))


PLACES = tuple(places(WHOLE))
WORDS = ("", "start", "level", "both", "LogC4", "legal", "kiln", "A", "x" * 80, "../x", "\0", "é")
JUNK = st.recursive(
    st.one_of(
        st.sampled_from(WORDS),
        st.sampled_from([kind_name(kind) for kind in KINDS]),
        st.booleans(),
        st.integers(-3, 200),
        st.floats(width=32),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(
            st.sampled_from(["kind", "id", "input", "stops", "node", "hue", "from", "x", "A"]),
            inner,
            max_size=3,
        ),
    ),
    max_leaves=5,
)


def broken(path, junk, how):
    tables = copy.deepcopy(WHOLE)
    at = tables
    for part in path[:-1]:
        at = at[part]
    if how == "drop":
        del at[path[-1]]
    elif how == "add" and isinstance(at, dict):
        at["more"] = junk
    else:
        at[path[-1]] = junk
    return toml_text(tables)


def read(text):
    """The recipe, or None and all its problems."""
    try:
        return parse_recipe(text, "r.toml"), ()
    except RecipeError as error:
        return None, error.problems


@given(st.sampled_from(PLACES), JUNK, st.sampled_from(["put", "put", "drop", "add"]))
def test_a_recipe_broken_anywhere_is_a_recipe_or_told_at_its_line(path, junk, how):
    text = broken(path, junk, how)
    recipe, problems = read(text)
    for problem in problems:
        assert problem.file.startswith("r.toml"), problem
        assert problem.line > 0 or problem.found == "missing", problem
    if recipe is None:
        assert problems
        return
    look = Look(recipe, text)
    for scene in (None, *look.scenes):
        for camera in recipe.cameras_of(scene):
            for output in look.outputs:
                assert look.graph.chain(camera, output, scene)


@given(
    st.dictionaries(
        st.sampled_from(["extends", "overrides", "schema", "name", "look", "scenes", "deliver"]),
        JUNK,
    )
)
def test_any_tables_are_a_recipe_or_told_what_is_wrong(tables):
    tables = {"schema": 1, "name": "x", **tables}
    recipe, problems = read(toml_text(tables))
    assert recipe is not None or problems
    assert all(problem.found for problem in problems)


@pytest.mark.parametrize("depth", [100, 5000])
def test_a_text_nested_deeply_is_told(depth):
    with pytest.raises(RecipeError):
        parse_recipe(f"schema = 1\nname = 'x'\nlook = {'[' * depth}{']' * depth}\n")
