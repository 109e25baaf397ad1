"""Changes of a recipe's text: what was wanted is what the text then says, and no more."""

import difflib
import tomllib
from itertools import product

import pytest

from lookkit.errors import InputError
from lookkit.page import rewrite
from lookkit.recipe.extend import join

LOOK = """\
# The head of the file stays where it is.
schema = 1
name = "Under test"
note = \"\"\"
Several lines, one of them like a header:
[[look]]
\"\"\"

[[look]]
kind = "hue-bands"
id = "hues"
half_chroma = 0.1
bands = [
  { centre = 130, width = 70, soft = 40, turn = -12, saturation = 0.8 },
  { centre = 255, width = 80, soft = 50, turn = -7, saturation = 0.8 },  # the sky
]

[[look]]
kind = "contrast"
contrast = 1.1

# Against yellow lights.
# Two lines of it.
[[look]]
kind = "hue-bands"
id = "lights"
bands = [{ centre = 65, width = 50, soft = 40, turn = -17 }]
[look.only]
stops = { from = 0, soft = 4 }

[[look]]
kind = "saturation"
saturation = 1.2  # not more

# The rendering stands last.
[rendering]
kind = "film-print"
id = "print"
lights = [24.8, 25.0, 25.5]
"""
EXTENDING = """\
schema = 1
name = "Mine"
extends = "below.toml"          # a look beside it

[cameras.A]
encoding = "LogC4"

[outputs.monitor]
output = "Rec.709 BT.1886"
"""


def numbers_of(value, path=()):
    """The path of every number in tables."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from numbers_of(inner, (*path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from numbers_of(inner, (*path, index))
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield path


def changed_lines(old: str, new: str) -> list[str]:
    return [line for line in difflib.ndiff(old.splitlines(), new.splitlines()) if line[0] in "+-"]


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_each_number_of_a_look_changes_one_line(ends):
    text = LOOK.replace("\n", ends)
    tables = tomllib.loads(text)
    keys = [key for key in numbers_of(tables) if key[0] in ("look", "rendering")]
    assert len(keys) == 22
    for key in keys:
        new = rewrite.set_value(text, "x.toml", key, 0.125)
        assert tomllib.loads(new) == rewrite.with_value(tables, key, 0.125)
        assert len(changed_lines(text, new)) == 2
        assert new.count("\r\n") == text.count("\r\n")


def test_steps_are_removed_moved_and_added_with_their_comments():
    count = len(tomllib.loads(LOOK)["look"])
    for place, to in product(range(count), range(count)):
        if place == to:
            continue
        new = rewrite.move_step(LOOK, "x.toml", ("look", place), to)
        wanted = tomllib.loads(LOOK)
        wanted["look"].insert(to, wanted["look"].pop(place))
        assert tomllib.loads(new) == wanted
        words = [line for line in LOOK.splitlines() if line.strip()]
        assert sorted(words) == sorted(line for line in new.splitlines() if line.strip())
    for place in range(count + 1):
        new = rewrite.insert_step(LOOK, "x.toml", ("look", place), {"kind": "exposure"})
        wanted = tomllib.loads(LOOK)
        wanted["look"].insert(place, {"kind": "exposure"})
        assert tomllib.loads(new) == wanted
        assert rewrite.remove_step(new, "x.toml", ("look", place)).split() == LOOK.split()


def test_a_comment_goes_with_the_step_that_it_stands_above():
    lines = rewrite.move_step(LOOK, "x.toml", ("look", 2), 0).splitlines()
    at = lines.index("# Against yellow lights.")
    assert lines[at + 2 : at + 5] == ["[[look]]", 'kind = "hue-bands"', 'id = "lights"']
    assert lines.index("# The head of the file stays where it is.") == 0


def test_a_new_key_stands_in_its_own_step_before_its_tables():
    new = rewrite.set_value(LOOK, "x.toml", ("look", 2, "mix"), 0.5)
    assert tomllib.loads(new)["look"][2]["mix"] == 0.5
    assert changed_lines(LOOK, new) == ["+ mix = 0.5"]
    new = rewrite.set_value(LOOK, "x.toml", ("look", 0, "bands", 0, "exposure"), 0.5)
    assert "saturation = 0.8, exposure = 0.5 }" in new
    assert len(changed_lines(LOOK, new)) == 2


@pytest.fixture
def extending(tmp_path):
    (tmp_path / "below.toml").write_text(LOOK)
    return str(tmp_path / "x.toml")


def test_an_inherited_number_goes_into_overrides(extending):
    new = rewrite.set_value(EXTENDING, extending, ("look", 0, "bands", 1, "turn"), -9.0)
    new = rewrite.set_value(new, extending, ("rendering", "lights", 0), 26.0)
    new = rewrite.set_value(new, extending, ("look", 0, "bands", 0, "turn"), -13.0)
    data = join(new, extending).data
    assert [band["turn"] for band in data["look"][0]["bands"]] == [-13, -9]
    assert data["rendering"]["lights"] == [26.0, 25.0, 25.5]
    assert new.startswith(EXTENDING.rstrip())
    with pytest.raises(InputError, match="has no id"):
        rewrite.set_value(EXTENDING, extending, ("look", 1, "contrast"), 1.3)


def test_an_inherited_step_cannot_be_moved_until_it_is_brought_in(extending):
    with pytest.raises(InputError, match="bring the steps into this file first"):
        rewrite.move_step(EXTENDING, extending, ("look", 1), 0)
    own = rewrite.set_value(EXTENDING, extending, ("look", 0, "bands", 1, "turn"), -9.0)
    new = rewrite.bring_in(own, extending)
    assert "extends" not in tomllib.loads(new)
    assert tomllib.loads(new) == join(own, extending).data
    moved = rewrite.move_step(new, extending, ("look", 1), 0)
    assert [step["kind"] for step in tomllib.loads(moved)["look"][:2]] == ["contrast", "hue-bands"]
