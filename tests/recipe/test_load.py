"""A recipe that is wrong is told about all at once, each problem on its line."""

import json
import textwrap

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.errors import InputError, RecipeError
from lookkit.recipe.load import parse_recipe, read_text
from lookkit.recipe.model import json_schema


def problems(text):
    with pytest.raises(RecipeError) as caught:
        parse_recipe(textwrap.dedent(text).lstrip("\n"), "r.toml")
    return str(caught.value).splitlines()


GOOD = """
schema = 1
name = "Warm print"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[[look]]
kind = "exposure"
stops = 0.5
[outputs.monitor]
output = "Rec.709 BT.1886"
"""


def test_a_good_recipe_loads():
    recipe = parse_recipe(GOOD)
    assert recipe.name == "Warm print"
    assert recipe.look[0].stops == 0.5
    assert recipe.rendering.kind == "film-print"
    assert recipe.deliver.sizes == (33,)


def test_every_problem_is_reported_at_once_with_its_line():
    found = problems(
        """
        schema = 1
        name = "x"
        sho = "red"
        [cameras.A]
        encoding = "LogC5"
        [cameras.B]
        encoding = "V-Log"
        rang = "full"
        [[look]]
        kind = "exposre"
        [[look]]
        kind = "exposure"
        stop = 1.0
        [[look]]
        kind = "saturation"
        saturation = -1.0
        [[look]]
        kind = "lift-gamma-gain"
        gain = { hu = 10.0 }
        gamma = "high"
        [[look]]
        kind = "film-print"
        [rendering]
        kind = "film-print"
        contrst = 1.2
        [outputs.monitor]
        output = "Rec.708"
        """
    )
    expected = [
        ("r.toml:3: sho: unknown key, did you mean 'show'?", ""),
        ("r.toml:5: cameras.A.encoding: unknown encoding 'LogC5'", "LogC4"),
        ("r.toml:8: cameras.B.rang: unknown key", "'range'"),
        ("r.toml:9: look[1]: unknown kind 'exposre'", "'exposure'"),
        ("r.toml:13: look[2].stop: unknown key", "'stops'"),
        ("r.toml:16: look[3].saturation: -1.0", "at least 0"),
        ("r.toml:19: look[4].gain.hu: unknown key", "'hue'"),
        ('r.toml:20: look[4].gamma: "high"', "a number"),
        ("r.toml:21: look[5]: kind 'film-print' takes scene and gives display", "[rendering]"),
        ("r.toml:25: rendering.contrst: unknown key", "'contrast'"),
        ("r.toml:27: outputs.monitor.output: unknown output 'Rec.708'", "Rec.709"),
    ]
    assert len(found) == len(expected), "\n".join(found)
    for line, (start, hint) in zip(found, expected, strict=True):
        assert line.startswith(start)
        assert hint in line


@pytest.mark.parametrize(
    ("value", "hint"),
    [
        ("nan", "a finite number"),
        ("inf", "a finite number"),
        ('"1"', "a number"),
        ("true", "a number"),
        ("99.0", "at most 20"),
        ("[1.0]", "a number"),
        ("1979-05-27", "a number"),
    ],
)
def test_a_wrong_value_is_named_with_what_was_expected(value, hint):
    (line,) = problems(GOOD.replace("stops = 0.5", f"stops = {value}"))
    assert line.startswith("r.toml:8: look[1].stops: ")
    assert hint in line


HEAD = "schema = 1\nname = 'x'\n"


@pytest.mark.parametrize(
    ("text", "place", "hint"),
    [
        ("name = 'x'\n", "r.toml:1: schema: missing", "schema = 1"),
        ("schema = 2\nname = 'x'\n", "r.toml:1: schema: 2 (made for a newer lookkit)", "1"),
        ("schema = true\nname = 'x'\n", "r.toml:1: schema: True", "1"),
        ("schema = 1\n", "r.toml: name: missing", 'name = "..."'),
        ("schema = 1\nname = \n", "r.toml:2: not valid TOML", "a recipe in TOML"),
        (HEAD + "name = 'y'\n", "r.toml:3: name is given again", "first in line 2"),
        (HEAD + "[look]\n", "r.toml:3: look: {}", "[[look]]"),
        ("schema = 1\nname = '../x'\n", 'r.toml:2: name: "../x"', "letters"),
        (HEAD + "[cameras.'a/../b']\nencoding = 'V-Log'\n", "r.toml:3: ", "letters"),
        (HEAD + "[[look]]\nstops = 1.0\n", "r.toml:3: look[1]: kind is missing", ""),
        (HEAD + "[deliver]\nsizes = [34]\n", "r.toml:4: deliver.sizes[1]: 34", "33"),
        (HEAD + "[deliver]\nsizes = []\n", "r.toml:4: deliver.sizes: []", "1 values"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_found(text, place, hint):
    found = problems(text)
    assert found[0].startswith(place), found
    assert hint in found[0]


def test_a_file_that_cannot_be_read_says_why(tmp_path):
    for path, hint in (
        (tmp_path / "missing.toml", "does not exist"),
        (tmp_path, "is not a file"),
        (tmp_path / "binary.toml", "not UTF-8"),
    ):
        if path.name == "binary.toml":
            path.write_bytes(b"name = '\xff\xfe'")
        with pytest.raises(InputError, match=hint):
            read_text(path)


@given(st.text(max_size=200))
def test_any_text_is_either_a_recipe_or_a_located_error(text):
    try:
        parse_recipe("schema = 1\nname = 'x'\n" + text, "r.toml")
        found = ()
    except RecipeError as error:
        found = error.problems
    assert all(problem.file == "r.toml" and problem.found for problem in found)


def test_the_json_schema_names_every_kind_and_every_unit():
    schema = json.dumps(json_schema())
    for word in ("lift-gamma-gain", "film-print", "aces-2", '"unit": "stops"', '"schema"'):
        assert word in schema
