"""What holds for every node kind."""

import textwrap

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.nodes import KINDS, LOOK_KINDS, RENDERING_KINDS, kind_name
from lookkit.ocio import Processor
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.outputs import output
from lookkit.spaces.working import State
from tests.nodes.strategies import FIELDS, REQUIRED, lut_folder, nodes, plain, scene

every_kind = pytest.mark.parametrize("kind", KINDS, ids=kind_name)
every_look_kind = pytest.mark.parametrize("kind", LOOK_KINDS, ids=kind_name)
every_rendering = pytest.mark.parametrize("kind", RENDERING_KINDS, ids=kind_name)

OUTPUTS = ("Rec.709 BT.1886", "P3-D65 2.6")

HIGHEST = 65504.0
"""The highest light of ACEScct (S-2016-001), and of half floats: beyond it nothing is compared."""

HOSTILE = np.array(
    [[0.0, 0.0, 0.0], [-1e4, 0.0, 1e4], [1e4, 1e4, 1e4], [-0.0, 1e-30, -1e-30], [1e6, -1e6, 0.0]]
)


def test_every_kind_has_a_strategy():
    assert set(FIELDS) == {kind_name(kind) for kind in KINDS}


def steps_of(node):
    """A look node itself; a rendering with all it takes to reach each output's gamut."""
    if node.gives == State.SCENE:
        return [[node]]
    return [node.ops_for(output(name)) for name in OUTPUTS]


def run(steps, rgb):
    for step in steps:
        rgb = step.evaluate(rgb)
    return rgb


def lowered(steps):
    """The steps as OpenColorIO runs them, or None where it cannot say one of them."""
    parts = [step.lower() for step in steps]
    if any(part is None for part in parts):
        return None
    return Processor([transform for part in parts for transform in part])


def float32_slack(steps, rgb, exact):
    """What float32 costs where large channels cancel each other, as nodes/base.py states."""
    rounding = 2.0**-22
    largest = rounding * np.abs(rgb).max(axis=-1, keepdims=True)
    moved = [run(steps, rgb + sign * largest * axis) for axis in np.eye(3) for sign in (-1.0, 1.0)]
    conditioning = np.max([np.abs(other - exact) for other in moved], axis=0)
    parts = [transform for step in steps for transform in step.lower() or ()]
    for cut in range(1, len(parts)):
        between = Processor(parts[:cut]).apply(rgb).astype(np.float64)
        after = Processor(parts[cut:])
        left = after.apply(between)
        largest = rounding * np.abs(between).max(axis=-1, keepdims=True)
        for axis in np.eye(3):
            for sign in (-1.0, 1.0):
                with np.errstate(invalid="ignore"):  # beyond HIGHEST both may be infinite
                    other = np.abs(after.apply(between + sign * largest * axis) - left)
                conditioning = np.fmax(conditioning, other)
    return conditioning + rounding * np.abs(exact).max(axis=-1, keepdims=True)


@pytest.mark.parametrize(
    "kind", [kind for kind in LOOK_KINDS if kind_name(kind) not in REQUIRED], ids=kind_name
)
@given(rgb=scene())
def test_defaults_are_the_identity_except_where_the_node_is_its_defaults(kind, rgb):
    if kind_name(kind) == "gamut-compress":
        inside = np.abs(rgb)
        inside = np.maximum(inside, 0.25 * inside.max(axis=-1, keepdims=True))
        np.testing.assert_allclose(kind().evaluate(inside), inside, atol=1e-12)
        return
    np.testing.assert_allclose(kind().evaluate(rgb), rgb, rtol=1e-12, atol=1e-12)


@every_kind
@given(data=st.data(), rgb=scene())
def test_evaluation_and_lowering_agree(kind, data, rgb):
    """OpenColorIO runs in float32: <= 1e-5 relative with a floor of 0.01."""
    node = data.draw(nodes(kind))
    for steps in steps_of(node):
        fast = lowered(steps)
        if fast is None:
            continue
        exact = run(steps, rgb)
        allowed = 1e-5 * np.maximum(np.abs(exact), 0.01) + float32_slack(steps, rgb, exact)
        within = np.abs(fast.apply(rgb) - exact) <= allowed
        assert (within | (np.abs(exact) > HIGHEST)).all()


@every_kind
@given(data=st.data(), rgb=scene(0.001, 8.0))
def test_the_inverse_undoes_the_node(kind, data, rgb):
    node = data.draw(nodes(kind))
    rgb = np.maximum(rgb, 0.001)
    back = node.inverse(node.evaluate(rgb)) if node.gives == State.SCENE else None
    if back is None:
        return
    np.testing.assert_allclose(back, rgb, rtol=1e-6, atol=1e-9)


@every_kind
@given(data=st.data())
def test_any_finite_input_gives_a_finite_output(kind, data):
    node = data.draw(nodes(kind))
    for steps in steps_of(node):
        assert np.isfinite(run(steps, HOSTILE)).all()


@every_kind
def test_any_number_of_dimensions_is_taken(kind):
    node = plain(kind)
    rgb = np.linspace(-0.1, 2.0, 24)
    for steps in steps_of(node):
        flat = run(steps, rgb.reshape(8, 3))
        np.testing.assert_array_equal(run(steps, rgb.reshape(2, 4, 3)).reshape(8, 3), flat)
        np.testing.assert_allclose(run(steps, rgb[:3]), flat[0], rtol=1e-12, atol=1e-15)


@every_kind
@given(data=st.data(), rgb=scene())
def test_the_input_array_is_left_alone(kind, data, rgb):
    node = data.draw(nodes(kind))
    before = rgb.copy()
    for steps in steps_of(node):
        run(steps, rgb)
        np.testing.assert_array_equal(rgb, before)


@every_kind
@given(data=st.data())
def test_a_node_survives_the_way_through_a_recipe(kind, data):
    fields = data.draw(FIELDS[kind_name(kind)])
    place = "look" if kind in LOOK_KINDS else "rendering"
    header = "[[look]]" if place == "look" else "[rendering]"
    lines = [f"{key} = {inline(value)}" for key, value in fields.items()]
    text = "\n".join(["schema = 1", 'name = "x"', header, f'kind = "{kind_name(kind)}"', *lines])
    recipe = parse_recipe(text)
    loaded = recipe.look[0] if place == "look" else recipe.rendering
    assert loaded == kind.model_validate(fields)


def inline(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {inline(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(inline(item) for item in value) + "]"
    return repr(value)


@every_kind
def test_the_example_of_the_docstring_loads(kind):
    head = 'schema = 1\nname = "example"\n'
    example = textwrap.dedent(kind.example).replace("luts/print.cube", "lattice.cube")
    recipe = parse_recipe(head + example, str(lut_folder() / "recipe.toml"))
    node = recipe.look[0] if kind in LOOK_KINDS else recipe.rendering
    assert isinstance(node, kind)
    if kind_name(kind) not in ("gamut-compress", "aces-2", *REQUIRED):
        assert node != kind(), "an example shows parameters"


@every_kind
def test_the_module_states_the_formula_and_every_parameter(kind):
    module = __import__(kind.__module__, fromlist=["__doc__"])
    assert "out" in module.__doc__
    assert "ource" in module.__doc__ or "no source" in module.__doc__
    for name, field in kind.model_fields.items():
        assert name == "kind" or field.description, name


@every_rendering
@given(rgb=scene())
def test_a_rendering_stays_inside_the_display_before_it_is_encoded(kind, rgb):
    """Film print: exactly. ACES 2 as OpenColorIO computes it: within float32 rounding."""
    for name in OUTPUTS:
        light = run(kind().ops_for(output(name)), rgb)
        assert light.min() >= -2e-4
        assert light.max() <= 1.0 + 2e-4
