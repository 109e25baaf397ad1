"""File rules of the config choose as the shot list does; views are offered where they suit."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.deliver.config import write_config
from lookkit.deliver.config_rules import path_expression
from lookkit.look import Look
from lookkit.ocio import library
from lookkit.recipe.load import parse_recipe
from lookkit.recipe.shots import Shot, shot_for
from tests.test_look import RECIPE

SHOTS = """
[[shots]]
match = "A_[0-9]*.mov"
camera = "A"
[[shots]]
match = "night/*"
camera = "B"
[[shots]]
match = "DSC?1*"
camera = "C"
[scenes.kiln]
"""
NAMES = ("A_001.mov", "a_9.MOV", "A_x.mov", "night", "B.mxf", "DSC_1.png", "dsc01", "x A_0.mov")


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE + SHOTS), RECIPE + SHOTS)


@pytest.fixture(scope="module")
def config(look, tmp_path_factory):
    return library().Config.CreateFromFile(str(write_config(look, tmp_path_factory.mktemp("o"))))


@given(parts=st.lists(st.sampled_from([*NAMES, "card", "Night"]), min_size=1, max_size=3))
def test_the_config_gives_a_file_to_the_camera_of_the_shot_list(look, config, parts):
    """OpenColorIO's own reading of the rules."""
    path = "/".join(parts)
    shot = shot_for(look.recipe.shots, Path(path))
    expected = f"Camera {shot.camera}" if shot else "Raw"
    assert config.getColorSpaceFromFilepath(path)[0] == expected


@given(
    pattern=st.text("ab.*?+(", min_size=1, max_size=4).filter(lambda text: text != "."),
    name=st.text("abAB.+(x", min_size=1, max_size=5).filter(lambda text: text not in (".", "..")),
)
def test_patterns_mean_the_same_in_the_config(pattern, name):
    shot = Shot(match=pattern, camera="A")
    config = library().Config.CreateRaw()
    rules = library().FileRules()
    rules.setDefaultRuleColorSpace("raw")
    rules.insertRule(0, "shot", "raw", path_expression(pattern))
    config.setFileRules(rules)
    assert (config.getColorSpaceFromFilepath(name)[1] == 0) == shot.fits(Path(name))


def test_a_folder_separator_of_another_system_is_one_too(config):
    assert config.getColorSpaceFromFilepath(r"D:\night\x.mxf")[0] == "Camera B"


def test_the_look_is_offered_for_pictures_and_raw_numbers_for_data(config):
    display = "Rec.709 BT.1886"
    assert list(config.getViews(display, "Camera A")) == ["Warm print", "Without the look"]
    assert list(config.getViews(display, "Raw")) == ["Raw"]


def test_a_view_that_is_the_same_on_every_display_is_shared(tmp_path):
    text = RECIPE.replace('rendering = { kind = "aces-2" }', "").replace("P3-D65 2.6", "sRGB")
    look = Look(parse_recipe(text), text)
    written = write_config(look, tmp_path)
    config = library().Config.CreateFromFile(str(written))
    assert set(config.getSharedViews()) == {"Warm print", "Without the look", "Raw"}


def test_a_camera_that_is_its_encoding_and_no_more_bears_its_published_id(config):
    """The ids are those of the interop forum's texture assets recommendation."""
    assert config.getColorSpace("Camera A").getInteropID() == "ocio:arrilogc4_awg4_scene"
    assert config.getCanonicalName("ocio:arrilogc4_awg4_scene") == "Camera A"
    assert config.getColorSpace("ACES2065-1").getInteropID() == "lin_ap0_scene"


def test_a_camera_with_trims_bears_no_published_id(tmp_path):
    trim = '[[cameras.A.trims]]\nkind = "exposure"\nstops = 1.0\n[[look]]'
    text = RECIPE.replace("[[look]]", trim, 1)
    path = write_config(Look(parse_recipe(text), text), tmp_path)
    config = library().Config.CreateFromFile(str(path))
    assert config.getColorSpace("Camera A").getInteropID() == ""


@pytest.mark.parametrize("name", ["raw", "Raw", "Without the look"])
def test_a_look_may_have_the_name_of_another_view(tmp_path, name):
    text = (
        f'schema = 1\nname = "{name}"\n[cameras.A]\nencoding = "LogC4"\n'
        '[outputs.web]\noutput = "sRGB"\n[deliver]\nfit = false\n'
    )
    path = write_config(Look(parse_recipe(text), text), tmp_path)
    config = library().Config.CreateFromFile(str(path))
    views = list(config.getViews(config.getDefaultDisplay()))
    assert views == [f"look {name}", "Without the look", "Raw"]
    assert list(config.getLookNames()) == [f"look {name}"]
