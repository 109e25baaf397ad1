"""A match in the chain: where it stands, and the same pixels in every form of the chain."""

import numpy as np
import pytest

from lookkit.accuracy.samples import image_like
from lookkit.deliver.config import write_config
from lookkit.evaluate import evaluate
from lookkit.graph import InputTransform, RangeStep
from lookkit.look import load
from lookkit.lower import lower, pieces
from lookkit.matchfile.curve import RisingCurve
from lookkit.matchfile.steps import MatchColours, MatchCurve
from lookkit.ocio import Processor, library
from lookkit.spaces.encodings import encoding
from lookkit.spaces.whitepoints import illuminants
from lookkit.trace import trace
from tests.recipe.matched import MATRICES, ROOTS, SLOPES, match_of, write_film


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return write_film(tmp_path_factory.mktemp("film"))


@pytest.fixture(scope="module")
def look(path):
    return load(path)


CODES = np.random.default_rng(0).uniform(0.05, 1.0, (2000, 3))


def test_a_match_made_without_the_encoding_takes_the_place_of_the_input_transform(look):
    steps = look.graph.camera("B", "yard")
    assert [type(step) for step in steps[:3]] == [RangeStep, MatchCurve, MatchColours]
    assert steps[2].label == "match B to A (window)"
    assert [step.label for step in steps[3:]] == ["exposure"]


def test_a_match_made_with_the_encoding_follows_the_input_transform(look):
    steps = look.graph.camera("C", None)
    assert [type(step) for step in steps] == [InputTransform, MatchColours]
    light = encoding("LogC3 EI800").decode(CODES)
    wanted = light @ np.array(MATRICES["shade"]).T
    assert evaluate(steps, CODES) == pytest.approx(wanted, rel=1e-12)


def test_the_formula_of_a_match_is_what_its_file_says(look):
    # ITU-R BT.709-6, 1.2, inverted, with the continuous constants of BT.2020.
    signal = (CODES * 1023.0 - 64.0) / 876.0

    def decode(v):
        return np.where(v < 0.0812, v / 4.5, (np.abs(v + 0.0993) / 1.0993) ** (1 / 0.45))

    # The correction: its slope, log-linear in the light between the knots, summed up finely;
    # straight on beyond its ends.
    fine = np.linspace(0.0, decode(np.array(1.09)), 400_001)
    knots = decode(np.linspace(0.0, 1.09, len(SLOPES)))
    slope = np.exp(np.interp(fine, knots, np.log(SLOPES)))
    rise = np.concatenate([[0.0], np.cumsum(0.5 * (slope[1:] + slope[:-1]) * np.diff(fine))])
    light = decode(signal)
    beyond = np.minimum(light, 0.0) * SLOPES[0] + np.maximum(light - fine[-1], 0.0) * SLOPES[-1]
    wanted = np.interp(light, fine, rise) + beyond
    wanted = wanted @ np.array(MATRICES["window"]).T
    found = evaluate(look.graph.camera("B", "yard")[:3], CODES)
    assert found == pytest.approx(wanted, rel=2e-3, abs=2e-4)


def test_a_scene_changes_the_match_and_another_light_has_none(look):
    def landed(scene):
        return look.evaluate(CODES, camera="B", output="monitor", scene=scene)

    assert np.abs(landed("yard") - landed("kitchen")).max() > 0.05
    assert np.array_equal(landed("attic"), landed(None))
    steps = look.graph.camera("B", "cellar")
    assert [type(step) for step in steps[:2]] == [RangeStep, InputTransform]


@pytest.mark.parametrize("camera", ["B", "C"])
@pytest.mark.parametrize("scene", [None, "yard", "kitchen", "cellar"])
def test_lowering_gives_the_pixels_of_the_exact_chain(look, camera, scene):
    steps = look.graph.camera(camera, scene)
    assert all(part.size == 0 for part in pieces(steps))
    found = Processor(lower(steps)).apply_exact(CODES)
    exact = evaluate(steps, CODES)
    scale = np.maximum(np.abs(exact).max(axis=-1, keepdims=True), 0.01)
    # A table of 4096 entries stands for the curve.
    assert (np.abs(found - exact) / scale).max() < (5e-4 if camera == "B" else 2e-5)
    given = look.apply(CODES, camera=camera, output="monitor", scene=scene)
    wanted = look.evaluate(CODES, camera=camera, output="monitor", scene=scene)
    assert np.abs(given - wanted).max() < 0.3 / 1023


@pytest.mark.parametrize(("camera", "scene"), [("B", "kitchen"), ("B", None), ("C", None)])
def test_codes_go_to_the_scene_and_back(look, camera, scene):
    meaning = look.graph.decoding(camera, scene)
    assert meaning.inverse(meaning.evaluate(CODES)) == pytest.approx(CODES, abs=1e-9)


def test_a_colour_stage_becomes_a_lattice_and_the_rest_stays_analytic(tmp_path):
    path = write_film(tmp_path, b=match_of(roots=ROOTS), c=match_of("C", ("shade",), "LogC3 EI800",
                                                                    roots=ROOTS))  # fmt: skip
    look = load(path)
    for camera in "BC":
        steps = look.graph.camera(camera)
        parts = pieces(steps, look.lattices)
        (lattice,) = (part for part in parts if part.size)
        assert lattice.label.startswith("match ")
        assert parts[0].size == 0
        light = image_like(np.random.default_rng(5), 4000)
        codes = np.clip(look.graph.decoding(camera).inverse(light), 0.08, 0.9)
        given = look.apply(codes, camera=camera, output="monitor")
        exact = look.evaluate(codes, camera=camera, output="monitor")
        assert np.quantile(np.abs(given - exact), 0.99) < 6 / 1023
    plain = look.graph.decoding("B", "yard")
    assert plain.inverse(plain.evaluate(CODES)) == pytest.approx(CODES, abs=1e-9)


def test_a_cube_is_baked_through_the_match(look):
    baked = look.cube(camera="B", output="monitor", size=5, scene="kitchen")
    points = np.linspace(0.0, 1.0, 5)
    grid = np.stack(np.meshgrid(points, points, points, indexing="ij"), axis=-1)
    exact = look.evaluate(grid, camera="B", output="monitor", scene="kitchen")
    assert np.abs(baked - exact).max() < 1e-9
    other = look.cube(camera="B", output="monitor", size=5, scene="cellar")
    assert np.abs(baked - other).max() > 0.02


@pytest.mark.parametrize(
    ("camera", "scene", "name"),
    [("B", None, "Camera B"), ("B", "kitchen", "Camera B in kitchen"), ("C", None, "Camera C"),
     ("B", "cellar", "Camera B in cellar")],
)  # fmt: skip
def test_the_ocio_config_has_a_space_for_each_match(look, tmp_path, camera, scene, name):
    ocio = library()
    config = ocio.Config.CreateFromFile(str(write_config(look, tmp_path)))
    assert "Camera B in yard" not in config.getColorSpaceNames()
    processor = config.getProcessor(name, "ACEScg").getDefaultCPUProcessor()
    pixels = CODES.astype(np.float32)
    found = np.array([processor.applyRGB(one.tolist()) for one in pixels])
    exact = evaluate(look.graph.camera(camera, scene), CODES)
    scale = np.maximum(np.abs(exact).max(axis=-1, keepdims=True), 0.01)
    assert (np.abs(found - exact) / scale).max() < 1e-3


def test_a_trace_shows_the_match(look):
    labels = [step.label for step in trace(look, [0.5, 0.4, 0.3], camera="B", output="monitor",
                                           scene="kitchen")]  # fmt: skip
    assert labels[1:4] == [
        "legal range to full range, 10 bits",
        "curve of match B to A (3200)",
        "match B to A (3200)",
    ]


def test_the_curve_of_a_file_is_the_curve_that_was_fitted(look):
    curve = look.recipe.match_of("B", "yard").one.curve.rising
    again = RisingCurve(curve.knots, np.log(SLOPES))
    assert curve(np.linspace(-0.1, 2.0, 50)) == pytest.approx(again(np.linspace(-0.1, 2.0, 50)))


def test_no_light_of_the_test_recipe_is_an_illuminant_but_the_one_without_a_match(look):
    assert {"window", "3200"}.isdisjoint(illuminants())
    assert "tungsten" in illuminants()
