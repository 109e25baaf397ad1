"""The front door: apply is fast, evaluate is exact, and they agree."""

import copy
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

import lookkit
from lookkit.errors import InputError
from lookkit.look import Look
from lookkit.recipe.load import parse_recipe

RECIPE = """
schema = 1
name = "Warm print"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "BT.709 camera"
[cameras.C]
encoding = "sRGB"
[cameras.linear]
encoding = "ACEScg"
[[look]]
kind = "exposure"
stops = 0.3
[[look]]
kind = "lift-gamma-gain"
gain = { hue = 40.0, strength = 0.03 }
[[look]]
kind = "cdl"
slope = [1.02, 1.0, 0.98]
[[look]]
kind = "saturation"
saturation = 0.9
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.cinema]
output = "P3-D65 2.6"
[outputs.aces]
output = "sRGB"
rendering = { kind = "aces-2" }
"""


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE), RECIPE)


codes = hnp.arrays(np.float64, (40, 3), elements=st.floats(0, 1, width=32))


@pytest.mark.parametrize("camera", ["A", "B", "C"])
@pytest.mark.parametrize("output", ["monitor", "cinema", "aces"])
@given(pixels=codes)
def test_apply_agrees_with_the_exact_graph(look, camera, output, pixels):
    """Signals are 0-1: a hundredth of a 10-bit code."""
    exact = look.evaluate(pixels, camera=camera, output=output)
    fast = look.apply(pixels, camera=camera, output=output)
    assert np.abs(fast - exact).max() <= 2e-5
    assert exact.min() >= 0.0
    assert exact.max() <= 1.0


def test_integers_come_back_as_the_same_integers(look):
    ramp = np.linspace(0, 255, 300).astype(np.uint8).reshape(10, 10, 3)
    graded = look.apply(ramp, camera="C", output="monitor")
    exact = look.evaluate(ramp / 255.0, camera="C", output="monitor")
    assert graded.dtype == np.uint8
    assert np.abs(graded - exact * 255).max() <= 0.51
    wide = look.apply(ramp.astype(np.uint16) * 257, camera="C", output="monitor")
    assert wide.dtype == np.uint16
    assert np.abs(wide / 65535 - exact).max() <= 2e-5


def test_any_layout_of_memory_gives_the_same_pixels_and_is_left_alone(look):
    rng = np.random.default_rng(5)
    picture = rng.random((67, 1024, 3), dtype=np.float32)
    whole = look.apply(picture, camera="A", output="monitor")
    for view in (np.asfortranarray(picture), picture[::-1][::-1], picture.astype(np.float64)):
        before = view.copy()
        np.testing.assert_array_equal(look.apply(view, camera="A", output="monitor"), whole)
        np.testing.assert_array_equal(view, before)
    flipped = look.apply(picture[::-1, ::2], camera="A", output="monitor")
    np.testing.assert_array_equal(flipped, whole[::-1, ::2])
    frozen = picture.copy()
    frozen.setflags(write=False)
    np.testing.assert_array_equal(look.apply(frozen, camera="A", output="monitor"), whole)
    out = np.empty_like(picture)
    assert look.apply(picture, camera="A", output="monitor", out=out) is out
    np.testing.assert_array_equal(out, whole)
    assert look.apply(np.empty((0, 3)), camera="A", output="monitor").shape == (0, 3)


def test_pixels_that_are_not_finite_come_out_finite(look):
    bad = np.array([[np.nan, 0.5, 0.5], [np.inf, 0.5, 0.5], [-np.inf, 0.1, 0.2]])
    for camera in look.cameras:
        assert np.isfinite(look.apply(bad, camera=camera, output="monitor")).all()
        assert np.isfinite(look.evaluate(bad, camera=camera, output="monitor")).all()


def test_wrong_arguments_are_refused_in_words(look):
    pixels = np.zeros((2, 3))
    with pytest.raises(InputError, match=r"unknown camera 'D'.*A, B, C"):
        look.apply(pixels, camera="D", output="monitor")
    with pytest.raises(InputError, match="unknown output 'cinma': did you mean 'cinema'"):
        look.evaluate(pixels, camera="A", output="cinma")
    with pytest.raises(InputError, match="int64"):
        look.apply(np.zeros((2, 3), dtype=np.int64), camera="A", output="monitor")
    with pytest.raises(ValueError, match=r"\(\.\.\., 3\)"):
        look.apply(np.zeros((2, 4)), camera="A", output="monitor")


def test_a_cube_is_the_exact_graph_at_its_points(look):
    made = look.cube(camera="A", output="monitor", size=17)
    assert made.shape == (17, 17, 17, 3)
    code = np.array([3, 9, 14]) / 16
    np.testing.assert_allclose(
        made[3, 9, 14], look.evaluate(code, camera="A", output="monitor"), atol=1e-12
    )


def test_a_scene_linear_camera_gets_no_cube(look):
    with pytest.raises(InputError, match=r"scene-linear.*lose its highlights"):
        look.cube(camera="linear", output="monitor")


def test_aces_2_renders_mid_grey_to_ten_candelas(look):
    """Academy, ACES 2 tone scale: 0.18 is 10.000 cd/m2 at a 100 cd/m2 peak."""
    (step,) = look.graph.rendering("aces")
    np.testing.assert_allclose(step.evaluate(np.full(3, 0.18)) * 100.0, 10.0, atol=0.005)
    np.testing.assert_allclose(step.evaluate(np.full(3, 1.0)) * 100.0, 45.757, atol=0.01)
    np.testing.assert_allclose(step.evaluate(np.full(3, 2.0)) * 100.0, 63.988, atol=0.01)


@pytest.mark.parametrize(
    "pixels", [[[0, 1, 0]], np.zeros((2, 3), bool), np.zeros((2, 3), complex), [["a", "b", "c"]]]
)
def test_evaluate_refuses_what_is_no_float(look, pixels):
    with pytest.raises(InputError, match="expected floats"):
        look.evaluate(pixels, camera="A", output="monitor")


@pytest.mark.parametrize(
    "copied", [copy.copy, copy.deepcopy, lambda x: pickle.loads(pickle.dumps(x))]
)
def test_a_used_look_can_be_copied_and_pickled(look, copied):
    ramp = np.linspace(0, 1, 30).reshape(10, 3)
    before = look.apply(ramp, camera="A", output="monitor")
    twin = copied(look)
    assert twin.recipe.model_dump() == look.recipe.model_dump()
    assert twin.recipe_hash == look.recipe_hash
    assert (twin.apply(ramp, camera="A", output="monitor") == before).all()


def test_a_look_loads_from_text_and_says_what_it_is():
    look = lookkit.loads(RECIPE)
    assert repr(look) == (
        "<Look 'Warm print' from <recipe>: cameras A, B, C, linear; outputs monitor, cinema, aces>"
    )
    with pytest.raises(lookkit.RecipeError, match=r"<recipe>:1: schema"):
        lookkit.loads("schema = 'one'")


def test_a_text_finds_the_files_it_names_in_the_given_folder(tmp_path):
    (tmp_path / "base.toml").write_text(RECIPE)
    text = 'schema = 1\nname = "Warmer"\nshow = "Pottery"\nextends = "base.toml"\n'
    assert lookkit.loads(text, folder=tmp_path).recipe.name == "Warmer"
