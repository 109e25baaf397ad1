"""A recipe's own encodings and displays, and how its files are delivered."""

import numpy as np
import pytest

from lookkit.errors import RecipeError
from lookkit.look import Look
from lookkit.recipe.load import parse_recipe

HEAD = 'schema = 1\nname = "x"\n'
OWN = """
[curves.odd]
family = "power"
gamma = 2.2
[encodings."Odd log"]
primaries = "BT.709"
curve = "odd"
range = "legal"
[displays."Odd screen"]
primaries = "BT.709"
curve = { family = "power", gamma = 2.0 }
peak = 100
[cameras.A]
encoding = "Odd log"
[outputs.screen]
output = "Odd screen"
"""


def problems(text):
    with pytest.raises(RecipeError) as caught:
        parse_recipe(HEAD + text, "r.toml")
    return str(caught.value).splitlines()


def test_an_encoding_and_a_display_of_ones_own_are_used():
    recipe = parse_recipe(HEAD + OWN)
    look = Look(recipe, HEAD + OWN)
    step = look.graph.input_transform("A")
    assert step.signal_range == "legal"
    white = np.full(3, 940.0 / 1023.0)
    np.testing.assert_allclose(step.evaluate(white), 1.0, atol=1e-6)
    target = look.graph.output("screen")
    np.testing.assert_allclose(target.encode(np.full(3, 0.25)), 0.5, atol=1e-9)
    out = look.apply(white, camera="A", output="screen")
    np.testing.assert_allclose(out, look.evaluate(white, camera="A", output="screen"), atol=5e-5)


def test_every_fault_of_the_tables_is_told_on_its_line_and_those_who_name_them_are_not():
    found = problems(OWN.replace("gamma = 2.2", "gama = 2.2").replace("peak = 100", "peek = 100"))
    assert len(found) == 2, found
    assert found[0].startswith("r.toml:6: curves.odd.gama: unknown key")
    assert found[1].startswith("r.toml:14: displays.Odd screen.peek: unknown key")


def test_a_misspelt_name_of_ones_own_gets_the_nearest():
    (found,) = problems(OWN.replace('encoding = "Odd log"', 'encoding = "Od log"'))
    assert found.startswith("r.toml:16: cameras.A.encoding: unknown encoding 'Od log'")
    assert "Odd log" in found


def delivered(**settings):
    lines = "\n".join(f"{key} = {value}" for key, value in settings.items())
    text = f'{HEAD}[outputs.m]\noutput = "Rec.709 BT.1886"\n{lines}\n'
    return parse_recipe(text).output_of("m")


def test_range_and_bits_are_as_the_recipe_says():
    """ITU-R BT.709: 10-bit black and white of video signals are 64 and 940."""
    legal = delivered(range='"legal"', bits=10)
    np.testing.assert_allclose(
        1023 * legal.encode(np.array([0.0, 1.0, 2.0])), [64.0, 940.0, 940.0], atol=1e-9
    )
    wide = delivered(range='"legal"', bits=10, excursions="true")
    assert 1023 * wide.encode(np.full(3, 1.2))[0] > 940.0


def test_a_black_of_the_display_lifts_the_darkest_light():
    """ITU-R BT.1886 with Lb = 0.1: V = 0.5 is 21.6049 cd/m2."""
    lifted = delivered(black=0.1)
    np.testing.assert_allclose(lifted.decode(np.full(3, 0.5)), 0.216049, atol=1e-6)


@pytest.mark.parametrize(
    ("text", "place", "hint"),
    [
        ('output = "sRGB"\nblack = 0.1\n', "r.toml:5: outputs.m.black", "BT.1886"),
        ('output = "Rec.709"\nblack = 100.0\n', "r.toml:5: outputs.m.black", ""),
        ('output = "Rec.709"\nblack = -1.0\n', "r.toml:5: outputs.m.black", "at least 0"),
        ('output = "Rec.709"\nrange = "video"\n', "r.toml:5: outputs.m.range", "'legal'"),
        ('output = "Rec.709"\nbits = 9\n', "r.toml:5: outputs.m.bits", "10"),
    ],
)
def test_a_delivery_that_cannot_be_is_refused(text, place, hint):
    (found,) = problems(f"[outputs.m]\n{text}")
    assert found.startswith(place)
    assert hint in found


def test_legal_range_of_scene_linear_light_is_refused():
    (found,) = problems('[cameras.A]\nencoding = "ACEScg"\nrange = "legal"\n')
    assert found.startswith("r.toml:5: cameras.A.range: legal range of scene-linear light")


@pytest.mark.parametrize(
    ("text", "place", "hint"),
    [
        ("light = 300\n", "r.toml:4: scenes.s.light: 300", "at least 1000"),
        ("light = 'candel'\n", "r.toml:4: scenes.s.light: unknown light 'candel'", ""),
        ("light = [1]\n", "r.toml:4: scenes.s.light: [1]", "a number"),
        ("cameras = ['A', 'A']\n", "r.toml:4: scenes.s.cameras", "2 times"),
        ("cameras = 'A'\n", "r.toml:4: scenes.s.cameras", "a list"),
        ("[scenes.s.overrides]\na = 1\n", "r.toml:5: scenes.s.overrides.a", ""),
    ],
)
def test_a_scene_that_cannot_be_is_refused(text, place, hint):
    found = problems(f"[scenes.s]\n{text}[cameras.A]\nencoding = 'sRGB'\n")
    assert found[0].startswith(place), found
    assert hint in found[0]


def test_an_override_of_a_scene_names_the_node_it_changes():
    (found,) = problems(
        '[[look]]\nkind = "exposure"\nid = "level"\n[scenes.s.overrides.level]\nstop = 1.0\n'
    )
    assert found.startswith(
        "r.toml:7: scenes.s.overrides.level.stop: unknown key (changes the node at r.toml:3)"
    )


def test_a_build_of_unknown_scenes_is_refused():
    (found,) = problems('[deliver]\nscenes = ["dusk"]\n')
    assert found.startswith("r.toml:4: deliver.scenes[1]: unknown scene 'dusk'")
