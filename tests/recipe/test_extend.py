"""Recipes that extend recipes: one level over the other, and errors that name both files."""

import numpy as np
import pytest

from lookkit.errors import RecipeError
from lookkit.look import load, shipped_looks
from lookkit.recipe.extend import join
from lookkit.recipe.load import parse_recipe, read_recipe
from lookkit.recipe.write import toml_text

BASE = """schema = 1
name = "Base"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
range = "full"
[cameras.B]
encoding = "V-Log"
[[look]]
kind = "exposure"
id = "level"
stops = 0.5
[[look]]
kind = "lift-gamma-gain"
id = "warm"
gain = { hue = 40, strength = 0.1 }
[rendering]
kind = "film-print"
id = "print"
contrast = 1.3
black = 3.5
[outputs.monitor]
output = "Rec.709 BT.1886"
[deliver]
sizes = [17]
formats = ["cube"]
"""
ABOVE = """schema = 1
name = "Above"
extends = "base.toml"
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "base.toml").write_text(BASE)
    return tmp_path


def recipe(folder, text=""):
    (folder / "above.toml").write_text(ABOVE + text)
    return read_recipe(folder / "above.toml")[0]


def problems(folder, text="", head=ABOVE):
    (folder / "above.toml").write_text(head + text)
    with pytest.raises(RecipeError) as caught:
        read_recipe(folder / "above.toml")
    return [line.replace(f"{folder}/", "") for line in str(caught.value).splitlines()]


def test_what_is_not_said_comes_from_below(folder):
    made = recipe(folder)
    assert (made.name, made.show) == ("Above", "Pottery")
    assert [node.id for node in made.look] == ["level", "warm"]
    assert made.deliver.sizes == (17,)


def test_named_tables_join_by_entry_and_an_entry_is_replaced_whole(folder):
    made = recipe(folder, '[cameras.A]\nencoding = "S-Log3/S-Gamut3"\n[cameras.C]\nencoding="sRGB"')
    assert set(made.cameras) == {"A", "B", "C"}
    assert made.cameras["A"].encoding == "S-Log3/S-Gamut3"
    assert made.cameras["A"].range is None
    made = recipe(folder, "[deliver]\nsizes = [33]\n")
    assert made.deliver.sizes == (33,)
    assert made.deliver.formats == ("cube",)


def test_nodes_follow_those_below_and_may_name_them(folder):
    made = recipe(folder, '[[look]]\nkind = "blend"\nbranches = [{ node = "level" }]\n')
    assert [node.kind for node in made.look] == ["exposure", "lift-gamma-gain", "blend"]


def test_an_override_changes_single_parameters_of_look_and_rendering(folder):
    made = recipe(
        folder,
        "[overrides.level]\nstops = -1.0\n[overrides.print]\ncontrast = 1.25\n"
        "[overrides.warm]\nenabled = false\n",
    )
    assert made.look[0].stops == -1.0
    assert not made.look[1].enabled
    assert made.rendering.contrast == 1.25
    assert made.rendering.black == 3.5, "what the override does not name stays"


def test_each_level_changes_what_lies_under_it(folder):
    (folder / "middle.toml").write_text(
        'schema = 1\nextends = "base.toml"\n[overrides.level]\nstops = 1.0\n'
    )
    head = ABOVE.replace("base", "middle")
    (folder / "above.toml").write_text(head + "[overrides.level]\nmix = 0.5\n")
    level = read_recipe(folder / "above.toml")[0].look[0]
    assert (level.stops, level.mix) == (1.0, 0.5)


@pytest.mark.parametrize("name", shipped_looks())
def test_every_shipped_look_can_be_extended(name):
    made = parse_recipe(
        f'schema = 1\nname = "Mine"\nextends = "{name}"\n'
        "[overrides.print]\nlights = 26\ncontrast = 1.23\n"
    )
    assert made.name == "Mine"
    assert made.rendering.lights == 26
    assert made.rendering.contrast == 1.23


def test_the_text_of_a_joined_recipe_is_whole_and_reads_back_the_same(folder):
    (folder / "above.toml").write_text(ABOVE + "[overrides.level]\nstops = 2.0\n")
    made, text = read_recipe(folder / "above.toml")
    assert "extends" not in text.replace("# Joined from above.toml, base.toml.", "")
    assert parse_recipe(text).model_dump() == made.model_dump()
    assert load(folder / "above.toml").text == text


def test_a_lut_of_the_recipe_below_is_looked_for_beside_it(folder):
    from lookkit.lutfile.cube import write_cube

    (folder / "looks").mkdir()
    steps = np.linspace(0.0, 1.0, 3)
    points = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
    write_cube(folder / "looks" / "plain.cube", points, title="plain", comments=[])
    (folder / "looks" / "base.toml").write_text(
        'schema = 1\nname = "x"\n[[look]]\nkind = "lut"\nfile = "plain.cube"\n'
        'expects = "ACEScct"\nreturns = "ACEScct"\n'
    )
    (folder / "above.toml").write_text(ABOVE.replace("base", "looks/base"))
    (node,) = read_recipe(folder / "above.toml")[0].look
    assert node.path == folder / "looks" / "plain.cube"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "[overrides.level]\nstop = 1.0\n",
            ["above.toml:5: overrides.level.stop: unknown key (changes the node at base.toml:9)"],
        ),
        (
            "[overrides.level]\nstops = 99.0\n[overrides.warm.gain]\nhue = 'red'\n",
            [
                "above.toml:5: overrides.level.stops: 99.0 (changes the node at base.toml:9), "
                "expected at most 20",
                'above.toml:7: overrides.warm.gain.hue: "red" (changes the node at base.toml:13)',
            ],
        ),
        (
            "[overrides.hot]\nstops = 1.0\n",
            ["above.toml:4: overrides.hot: no node of base.toml has the id 'hot'"],
        ),
        (
            "[overrides.level]\nkind = 'cdl'\n",
            ["above.toml:5: overrides.level.kind: an override cannot change this"],
        ),
        ("[overrides]\nlevel = 3\n", ["above.toml:5: overrides.level: 3"]),
        (
            '[[look]]\nkind = "exposure"\nid = "level"\n',
            ["above.toml:6: look[1].id: 'level' is the id of the list's node number 1 already"],
        ),
    ],
)
def test_what_an_override_does_wrong_names_both_files(folder, text, expected):
    found = problems(folder, text)
    assert len(found) == len(expected), found
    for line, start in zip(found, expected, strict=True):
        assert line.startswith(start), line


def test_a_fault_below_is_told_with_who_extends_it(folder):
    (folder / "base.toml").write_text(BASE.replace("stops = 0.5", "stop = 0.5"))
    (line,) = problems(folder)
    assert line.startswith("base.toml:12: look[1].stop: unknown key (extended by above.toml:3)")
    (folder / "base.toml").write_text("schema = 1\nname = \n")
    (line,) = problems(folder)
    assert line.startswith("base.toml:2: not valid TOML")
    assert "(extended by above.toml:3)" in line
    (folder / "base.toml").write_text("schema = 2\n")
    (line,) = problems(folder)
    assert line.startswith("base.toml:1: schema: 2 (made for a newer lookkit) (extended by above")


@pytest.mark.parametrize(
    ("value", "hint"),
    [
        ('"../other.toml"', "'../other.toml' lies outside the folder of above.toml"),
        ('"/etc/passwd.toml"', "lies outside the folder"),
        ('"missing.toml"', "missing.toml: does not exist"),
        ('"above.toml"', "extend each other in a circle: above.toml -> above.toml"),
        ('"plain-prnt"', "did you mean 'plain-print'"),
        ("3", "3, expected"),
        ('""', "'', expected"),
    ],
)
def test_a_recipe_that_cannot_be_extended_is_refused_at_its_line(folder, value, hint):
    (line,) = problems(folder, head=ABOVE.replace('"base.toml"', value))
    assert line.startswith("above.toml:3: extends: ")
    assert hint in line


def test_a_circle_is_told_with_all_its_files(folder):
    (folder / "base.toml").write_text(BASE.replace("show", 'extends = "above.toml"\nshow'))
    (line,) = problems(folder)
    assert line.startswith("base.toml:3: extends: ")
    assert "circle: above.toml -> base.toml -> above.toml" in line


def test_a_link_that_leads_outside_is_refused(folder, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside") / "other.toml"
    outside.write_text(BASE)
    (folder / "base.toml").unlink()
    (folder / "base.toml").symlink_to(outside)
    (line,) = problems(folder)
    assert "lies outside the folder" in line


def test_overrides_without_extends_are_refused():
    with pytest.raises(RecipeError, match="overrides without extends"):
        parse_recipe('schema = 1\nname = "x"\n[overrides.level]\nstops = 1.0\n')


def test_joined_tables_know_where_each_key_was_written(folder):
    text = ABOVE + '[[look]]\nkind = "exposure"\n[overrides.warm.gain]\nhue = 50\n'
    joined = join(text, str(folder / "above.toml"))

    def place(*path):
        return joined.place(path).replace(f"{folder}/", "")

    assert place("look", 0, "stops") == "base.toml:12"
    assert place("look", 2, "kind") == "above.toml:5"
    assert place("look", 1, "gain", "hue") == "above.toml:7"
    assert place("look", 1, "gain", "strength") == "base.toml:16"
    assert place("name") == "above.toml:2"
    assert "extends" not in joined.data
    assert "overrides" not in joined.data
    assert 'name = "Above"' in toml_text(joined.data)
