"""Matches that a recipe's cameras name: what is wrong is told, a scene picks its own."""

import copy
import tomllib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.errors import RecipeError
from lookkit.evaluate import evaluate
from lookkit.graph import Graph
from lookkit.look import load
from lookkit.matchfile.steps import Match
from lookkit.recipe.load import parse_recipe
from lookkit.recipe.match_file import match_text, parse_match
from lookkit.recipe.write import toml_text
from tests.recipe.matched import RECIPE, ROOTS, match_of, write_film


def problems(path):
    with pytest.raises(RecipeError) as caught:
        load(path)
    return [line.replace(f"{path.parent}/", "") for line in str(caught.value).splitlines()]


def test_a_scene_picks_the_match_for_its_light(tmp_path):
    recipe = load(write_film(tmp_path)).recipe
    picked = {scene: recipe.match_of("B", scene) for scene in (None, *recipe.scenes)}
    assert picked["yard"].one.light == "window"
    assert picked["kitchen"].one.light == "3200"
    assert picked["cellar"] is None
    # Where no light is said, the first of the file.
    assert picked[None].one.light == picked["attic"].one.light == "window"
    assert recipe.match_of("A", "yard") is None


def test_a_scene_without_a_match_for_its_light_is_warned_of(tmp_path):
    look = load(write_film(tmp_path))
    assert look.recipe.match_warnings("B", "yard") == []
    assert look.recipe.match_warnings("A", "cellar") == []
    (cellar,) = look.recipe.match_warnings("B", "cellar")
    assert "no match for tungsten, the light of scene cellar (only for window, 3200)" in cellar
    (attic,) = look.recipe.match_warnings("B", "attic")
    assert "scene attic, which names no light, takes the first of its matches" in attic
    (plain,) = look.recipe.match_warnings("B")
    assert "without a scene takes the first of its matches (window, 3200)" in plain
    assert look.recipe.match_warnings("C") == []
    assert len(look.recipe.all_match_warnings((None, *look.scenes))) == 6


def test_frames_of_another_range_and_a_main_camera_that_is_not_there_are_warned_of(tmp_path):
    look = load(write_film(tmp_path, b=match_of(lights=("window",), range="full", reference="X")))
    first, second = look.recipe.match_warnings("B", "yard")
    assert "read in legal range, its match was made from frames in full range" in first
    assert "matched to camera X, which is not in the recipe" in second
    # A published chart stands for any main camera.
    other = match_of(lights=("window",), reference="chart 2005")
    assert load(write_film(tmp_path, b=other)).recipe.match_warnings("B", "yard") == []


def test_several_files_hold_the_lights_together(tmp_path):
    two = RECIPE.replace('match = "B.match.toml"', 'match = ["B.match.toml", "dusk.toml"]')
    path = write_film(tmp_path, two, b=match_of(lights=("window",)))
    (tmp_path / "dusk.toml").write_text(match_text(match_of(lights=("3200", "shade"))))
    recipe = load(path).recipe
    assert [one.one.light for one in recipe.matches_of("B")] == ["window", "3200", "shade"]
    assert recipe.match_of("B", "kitchen").one.light == "3200"
    (tmp_path / "dusk.toml").write_text(match_text(match_of(lights=("window",))))
    (found,) = problems(path)
    assert found == (
        "film.toml:8: cameras.B.match[2]: a second match for the light 'window', expected one for "
        "each light"
    )


def test_everything_that_is_wrong_is_told_at_once_each_at_its_line(tmp_path):
    path = write_film(tmp_path)
    (tmp_path / "B.match.toml").unlink()
    other = tmp_path / "matches" / "C.match.toml"
    text = other.read_text().replace("matrix =", "matrx =").replace("bits = 8", "bits = 9")
    other.write_text(text)
    path.write_text(RECIPE.replace("saturation = 0.8", "saturatio = 0.8"))
    found = problems(path)
    lines = text.splitlines()
    (light,) = (n for n, line in enumerate(lines, 1) if line == "[[lights]]")
    matrx = lines.index("matrx = [") + 1
    bits = lines.index("bits = 9") + 1
    assert len(found) == 5, found
    assert found[0] == (
        "film.toml:8: cameras.B.match: B.match.toml: does not exist, expected a match file "
        "(.toml), as `lookkit match` writes it"
    )
    assert found[1].startswith("film.toml:17: look[1].saturatio: unknown key")
    assert found[2].startswith(f"matches/C.match.toml:{bits}: bits: 9 (the match of camera C, ")
    assert found[2].endswith("film.toml:11), expected 8, 10, 12 or 16")
    assert found[3].startswith(f"matches/C.match.toml:{light}: lights[1].matrix: missing")
    assert found[4].startswith(f"matches/C.match.toml:{matrx}: lights[1].matrx: unknown key")
    assert "did you mean 'matrix'" in found[4]


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (match_of("A"), "the match of camera A, expected one of camera B"),
        (match_of(encoding="LogC4"), "for the encoding 'LogC4', expected one for 'BT.709 camera'"),
    ],
)
def test_a_match_that_was_made_for_something_else_is_refused(tmp_path, made, words):
    (found,) = problems(write_film(tmp_path, b=made))
    assert found.startswith("film.toml:8: cameras.B.match: ")
    assert words in found


def test_a_curve_for_a_scene_linear_camera_is_refused(tmp_path):
    recipe = RECIPE.replace('encoding = "BT.709 camera"', 'encoding = "ACEScg"')
    (found,) = problems(write_film(tmp_path, recipe))
    assert "a curve of its own for a scene-linear camera, expected one for 'ACEScg'" in found


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("3", "cameras.B.match: 3, expected text in quotes"),
        ("[3]", "cameras.B.match[1]: 3, expected text in quotes"),
        ("[]", "cameras.B.match: [] (0 values), expected 1 values"),
        ('"."', ": is not a file, expected a match file (.toml)"),
        ('"a\\u0000b"', "cameras.B.match: "),
        ('"film.toml"', "film.toml:"),
    ],
)
def test_what_cannot_name_a_match_is_told(tmp_path, value, words):
    found = problems(write_film(tmp_path, RECIPE.replace('"B.match.toml"', value)))
    assert any(words in one for one in found), found


def test_an_unknown_light_is_told_with_the_lights_of_the_matches(tmp_path):
    (found,) = problems(write_film(tmp_path, RECIPE.replace('"window"', '"windw"')))
    assert found.startswith("film.toml:19: scenes.yard.light: unknown light 'windw'")
    assert "did you mean 'window'" in found
    # With a match that cannot be read, nobody knows its lights.
    path = write_film(tmp_path)
    (tmp_path / "B.match.toml").write_text("lights = 3\n")
    assert not any("unknown light" in one for one in problems(path))


def test_a_match_of_an_extended_recipe_is_found_in_that_ones_folder(tmp_path):
    write_film(tmp_path / "below")
    path = tmp_path / "upper.toml"
    path.write_text('schema = 1\nname = "Upper"\nextends = "below/film.toml"\n')
    assert load(path).recipe.match_of("C").one.light == "shade"


def test_the_hash_covers_what_the_match_holds(tmp_path):
    path = write_film(tmp_path)
    before = load(path).recipe_hash
    assert load(path).recipe_hash == before
    match = tmp_path / "B.match.toml"
    # Where the file lies says nothing of the look.
    match.rename(tmp_path / "other.toml")
    path.write_text(RECIPE.replace('"B.match.toml"', '"other.toml"'))
    assert load(path).recipe_hash == before
    (tmp_path / "other.toml").rename(match)
    path.write_text(RECIPE)
    match.write_text(match.read_text().replace("1.1,", "1.2,", 1))
    assert load(path).recipe_hash != before


JUNK = st.recursive(
    st.one_of(
        st.sampled_from(["", "unknown", "window", "LogC4", "legal", "\0", "x" * 80, "../x.toml"]),
        st.booleans(),
        st.integers(-3, 200),
        st.floats(width=32),
        st.sampled_from([1e300, -1e300, 1e-300]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.sampled_from(["light", "curve", "kind", "file"]), inner, max_size=2),
    ),
    max_leaves=4,
)
WHOLE = tomllib.loads(match_text(match_of(roots=ROOTS)))
FILM = tomllib.loads(RECIPE)


def places(value, path=()):
    """The path of every key and item."""
    pairs = value.items() if isinstance(value, dict) else enumerate(value)
    for key, item in pairs:
        yield (*path, key)
        if isinstance(item, dict | list):
            yield from places(item, (*path, key))


def broken(tables, path, junk, drop):
    tables = copy.deepcopy(tables)
    at = tables
    for part in path[:-1]:
        at = at[part]
    if drop:
        del at[path[-1]]
    else:
        at[path[-1]] = junk
    return toml_text(tables)


@given(st.sampled_from(list(places(WHOLE))), JUNK, st.booleans())
def test_a_match_file_broken_anywhere_is_a_match_or_told_at_its_line(path, junk, drop):
    try:
        file = parse_match(broken(WHOLE, path, junk, drop), "b.toml")
    except RecipeError as error:
        for problem in error.problems:
            assert problem.file == "b.toml"
            assert problem.line > 0 or problem.found == "missing" or not problem.key, problem
        return
    for one in file.lights:
        made = evaluate(Match(file, one).steps, np.array([[0.0, 0.5, 1.0]]))
        assert made.shape == (1, 3)


@given(
    st.sampled_from([path for path in places(FILM) if path[0] in ("cameras", "scenes")]),
    JUNK,
    st.booleans(),
)
def test_a_recipe_with_matches_broken_anywhere_is_a_recipe_or_told(film_folder, path, junk, drop):
    try:
        recipe = parse_recipe(broken(FILM, path, junk, drop), str(film_folder / "film.toml"))
    except RecipeError:
        return
    for scene in (None, *recipe.scenes):
        for camera in recipe.cameras_of(scene):
            assert Graph(recipe).camera(camera, scene)
            recipe.match_warnings(camera, scene)


@pytest.fixture(scope="module")
def film_folder(tmp_path_factory):
    return write_film(tmp_path_factory.mktemp("film")).parent
