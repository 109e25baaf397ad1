"""The graph: branches, partial nodes, scenes; and what of it OpenColorIO carries."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.accuracy.samples import image_like
from lookkit.errors import InputError, RecipeError, UnknownNameError
from lookkit.evaluate import evaluate
from lookkit.graph import Branches, Graph, serial
from lookkit.look import Look
from lookkit.lower import lower, pieces
from lookkit.nodes import LOOK_KINDS, kind_name
from lookkit.ocio import Processor
from lookkit.recipe.load import parse_recipe
from tests.nodes.strategies import nodes, scene

HEAD = 'schema = 1\nname = "x"\n'
BRANCHED = """
[[look]]
kind = "exposure"
id = "first"
stops = 0.5
[[look]]
kind = "saturation"
id = "pale"
saturation = 0.5
[[look]]
kind = "lift-gamma-gain"
id = "warm"
input = "first"
gain = { hue = 40, strength = 0.2 }
[[look]]
kind = "blend"
id = "both"
input = "pale"
weight = 0.25
branches = [{ node = "warm", weight = 0.75 }]
[[look]]
kind = "contrast"
contrast = 1.2
"""


def graph(text):
    return Graph(parse_recipe(HEAD + text))


@given(scene())
def test_branches_join_by_weight(rgb):
    recipe = parse_recipe(HEAD + BRANCHED)
    first, pale, warm, _, contrast = recipe.look
    start = first.evaluate(rgb)
    joined = 0.25 * pale.evaluate(start) + 0.75 * warm.evaluate(start)
    np.testing.assert_allclose(
        evaluate(Graph(recipe).look(), rgb), contrast.evaluate(joined), rtol=1e-12, atol=1e-12
    )


def test_only_the_branching_part_becomes_one_step():
    steps = graph(BRANCHED).look()
    assert [isinstance(step, Branches) for step in steps] == [False, True, False]


BLOCKS = BRANCHED.strip().split("[[look]]\n")[1:]


@given(st.permutations(range(5)), scene())
def test_the_order_of_the_list_does_not_matter_where_edges_are_named(order, rgb):
    named = list(BLOCKS)
    named[0] += 'input = "start"\n'
    named[1] += 'input = "first"\n'
    named[4] += '\ninput = "both"\n'
    text = "".join("[[look]]\n" + named[place] for place in order)
    np.testing.assert_array_equal(
        evaluate(graph(text).look(), rgb), evaluate(graph(BRANCHED).look(), rgb)
    )


@pytest.mark.parametrize("kind", LOOK_KINDS, ids=kind_name)
@given(data=st.data(), rgb=scene())
def test_mix_0_is_the_identity_and_a_disabled_node_is_left_out(kind, data, rgb):
    node = data.draw(nodes(kind))
    still = node.model_copy(update={"mix": 0.0})
    np.testing.assert_array_equal(evaluate(serial([still]), rgb), rgb)
    assert serial([node.model_copy(update={"enabled": False})]) == ()


@given(scene(), st.floats(0, 1))
def test_mix_goes_straight_from_the_light_to_the_node(rgb, mix):
    text = f'[[look]]\nkind = "contrast"\ncontrast = 1.4\nmix = {mix!r}\n'
    (node,) = parse_recipe(HEAD + text).look
    whole = node.model_copy(update={"mix": 1.0}).evaluate(rgb)
    np.testing.assert_allclose(
        evaluate(graph(text).look(), rgb), rgb + mix * (whole - rgb), rtol=1e-12, atol=1e-12
    )


@given(scene(0.001, 4.0), st.floats(-4, 4))
def test_limits_in_hue_and_chroma_do_not_see_exposure(rgb, stops):
    text = """
    [[look]]
    kind = "saturation"
    saturation = 0.2
    only = { hue = { centre = 30, width = 80 }, chroma = { from = 0.05 } }
    """
    rgb = np.abs(rgb) + 0.001
    steps = graph(text).look()
    np.testing.assert_allclose(
        evaluate(steps, rgb * 2.0**stops), evaluate(steps, rgb) * 2.0**stops, rtol=1e-7, atol=1e-9
    )


@pytest.mark.parametrize(
    ("text", "line", "hint"),
    [
        ('[[look]]\nkind = "exposure"\nid = "a"\ninput = "b"\n'
         '[[look]]\nkind = "exposure"\nid = "b"\ninput = "a"\n', 6, "in a circle"),
        ('[[look]]\nkind = "exposure"\ninput = "nowhere"\n', 5, "no node has the id 'nowhere'"),
        ('[[look]]\nkind = "exposure"\nid = "a"\n[[look]]\nkind = "exposure"\nid = "a"\n', 8,
         "is the id of"),
        ('[[look]]\nkind = "exposure"\nid = "a"\n[[look]]\nkind = "exposure"\ninput = "start"\n',
         3, "no node takes the light"),
        ('[[look]]\nkind = "blend"\nbranches = [{ node = "start", weight = nan }]\n', 5, "finite"),
        ('[[look]]\nkind = "tone-bands"\nbands = [{ centre = 0, width = 0 }]\n', 5, "width"),
        ('[[look]]\nkind = "curve"\npoints = [[0, 0], [-1, 1]]\n', 5, ""),
        ('[[look]]\nkind = "exposure"\nonly = { stops = { from = 3, to = 1 } }\n', 5,
         "can never match"),
        ('[scenes.dusk]\ncameras = ["Z"]\n', 4, "unknown camera 'Z'"),
        ('[scenes.dusk.overrides.nothing]\nstops = 1.0\n', 3, "no node has the id 'nothing'"),
        ('extends = "../other.toml"\n', 3, "outside"),
        ('extends = "no-such-look"\n', 3, "no-such-look"),
    ],
)  # fmt: skip
def test_a_graph_that_is_wrong_is_told_at_its_line(text, line, hint):
    with pytest.raises(RecipeError) as caught:
        parse_recipe(HEAD + text, "r.toml")
    found = str(caught.value).splitlines()
    assert any(problem.startswith(f"r.toml:{line}:") and hint in problem for problem in found), (
        found
    )


FILM = """
[cameras.A]
encoding = "LogC4"
[cameras.C]
encoding = "sRGB"
[[cameras.C.trims]]
kind = "curve"
points = [[-8, -8], [0, 0], [2.4739, 4]]
[[look]]
kind = "exposure"
id = "level"
stops = 0.25
[outputs.monitor]
output = "Rec.709 BT.1886"
[scenes.flats]
cameras = ["A"]
light = "daylight"
[[scenes.flats.trims]]
kind = "exposure"
stops = 1.0
[scenes.flats.overrides.level]
stops = -0.5
[scenes.kiln]
light = 3000
"""


def film():
    text = HEAD + FILM
    return Look(parse_recipe(text), text)


@given(scene(0.0, 1.0))
def test_a_scene_trims_before_the_look_and_overrides_its_parameters(code):
    look = film()
    code = np.clip(code, 0, 1)
    plain = Look(parse_recipe((HEAD + FILM).replace("stops = 0.25", "stops = 0.5")), "")
    np.testing.assert_allclose(
        look.evaluate(code, camera="A", output="monitor", scene="flats"),
        plain.evaluate(code, camera="A", output="monitor"),
        atol=1e-9,
    )


def test_a_camera_trim_touches_only_its_camera():
    look = film()
    white = np.ones((1, 3))
    (step, *trims) = look.graph.camera("C")
    assert evaluate([step, *trims], white) == pytest.approx(0.18 * 2**4, rel=1e-3)
    assert len(look.graph.camera("A")) == 1


def test_a_scene_is_refused_for_a_camera_that_did_not_take_it():
    look = film()
    with pytest.raises(InputError, match="was not taken by camera 'C'"):
        look.evaluate(np.zeros((1, 3)), camera="C", output="monitor", scene="flats")
    with pytest.raises(UnknownNameError, match="unknown scene 'flat': did you mean 'flats'"):
        look.evaluate(np.zeros((1, 3)), camera="A", output="monitor", scene="flat")


def test_apply_follows_the_scene():
    look = film()
    codes = look.graph.input_transform("A").inverse(image_like(np.random.default_rng(3), 4000))
    exact = look.evaluate(codes, camera="A", output="monitor", scene="flats")
    whole = look.apply(codes, camera="A", output="monitor", scene="flats")
    assert np.abs(whole - exact).max() <= 0.1 / 1023


@pytest.mark.parametrize(
    "text",
    [
        'kind = "saturation"\nsaturation = 0.3',
        'kind = "exposure"\nstops = 1.5',
        'kind = "matrix"\nmatrix = [[0.9, 0.1, 0], [0, 1, 0], [0.2, 0, 0.8]]\noffset = [0.1, 0, 0]',
    ],
)
@given(rgb=scene(), mix=st.floats(0.01, 0.99))
def test_a_part_of_a_matrix_stays_analytic(text, rgb, mix):
    steps = graph(f"[[look]]\n{text}\nmix = {mix!r}\n").look()
    (part,) = pieces(steps)
    assert part.size == 0
    exact = evaluate(steps, rgb)
    scale = np.abs(rgb).max() + 1.0
    np.testing.assert_allclose(Processor(lower(steps)).apply(rgb), exact, atol=2e-6 * scale)


def test_signal_ranges_are_steps_of_their_own_and_change_no_pixel():
    text = (
        HEAD
        + """
    [cameras.B]
    encoding = "BT.709 camera"
    bits = 10
    [outputs.sdi]
    output = "Rec.709 BT.1886"
    range = "legal"
    excursions = true
    """
    )
    look = Look(parse_recipe(text), text)
    chain = look.graph.chain("B", "sdi")
    labels = [step.label for step in chain]
    assert labels[0] == "legal range to full range, 10 bits"
    assert labels[-1] == "full range to legal range, 10 bits"
    codes = np.array([0, 64, 512, 940, 1023])[:, None].repeat(3, axis=1) / 1023
    whole = (look.graph.input_transform("B"), *chain[2:-2])
    exact = look.graph.output("sdi").encode(evaluate(whole, codes))
    np.testing.assert_allclose(evaluate(chain, codes), exact, atol=1e-15)
    ends = [*chain[:2], *chain[-2:]]
    np.testing.assert_allclose(
        Processor(lower(ends)).apply(codes), evaluate(ends, codes), atol=2e-5
    )
