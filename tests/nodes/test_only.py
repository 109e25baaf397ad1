"""Soft limits: half effect at the edges, the same at any exposure, and never nowhere."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pydantic import ValidationError

from lookkit.nodes.only import Only
from lookkit.spaces.oklab import chroma_of, hue_of, oklab
from tests.nodes.strategies import number, scene

RED = np.array([0.5, 0.08, 0.05])
GREY = np.full(3, 0.18)


def only(**limits):
    return Only.model_validate(limits)


def light(stops):
    return GREY * 2.0 ** np.asarray(stops, dtype=float)[..., None]


def test_an_edge_has_half_effect_and_takes_soft_from_none_to_all():
    weight = only(stops={"from": -1, "to": 2, "soft": 1}).weight(
        light([-1.5, -1.0, -0.5, 0.0, 1.5, 2.0, 2.5])
    )
    np.testing.assert_allclose(weight, [0, 0.5, 1, 1, 1, 0.5, 0], atol=1e-12)


def test_a_limit_left_out_is_open():
    np.testing.assert_array_equal(only(stops={"from": 0}).weight(light([1, 12, 30])), 1.0)
    np.testing.assert_array_equal(only(stops={"to": 0}).weight(light([-1, -12, -60])), 1.0)
    assert only(stops={"to": 0}).weight(np.zeros(3)) == 1.0


def test_a_hue_limit_takes_its_hue_and_leaves_the_opposite_and_grey():
    hue = float(hue_of(oklab(RED)))
    limit = only(hue={"centre": hue, "width": 60})
    np.testing.assert_allclose(limit.weight(RED), 1.0, atol=1e-9)
    assert only(hue={"centre": hue - 360.0}).weight(RED) == pytest.approx(1.0)
    assert only(hue={"centre": hue + 180.0}).weight(RED) == 0.0
    assert limit.weight(GREY) == 0.0


def test_a_chroma_limit_parts_the_grey_from_the_colourful():
    chroma = float(chroma_of(oklab(RED)))
    assert only(chroma={"from": chroma, "soft": 0.1}).weight(RED) == pytest.approx(0.5)
    assert only(chroma={"from": 0.1}).weight(GREY) == 0.0
    assert only(chroma={"to": 0.1}).weight(GREY) == 1.0


limits = st.fixed_dictionaries(
    {
        "hue": st.fixed_dictionaries(
            {"centre": number(-360, 360)}, optional={"width": number(1, 330)}
        )
    },
    optional={"chroma": st.fixed_dictionaries({"from": number(0.0, 0.3)}), "invert": st.booleans()},
)


@given(limits, scene(), number(-12, 12))
def test_exposure_moves_no_limit_in_hue_or_chroma(limits, rgb, stops):
    """An error of the hue counts by the steepness of the edge, 1.5 / 30 per degree."""
    limit = only(**limits)
    lab = oklab(rgb)
    assume((np.abs(lab).max(axis=-1) > 1e-3).all())
    np.testing.assert_allclose(limit.weight(rgb * 2.0**stops), limit.weight(rgb), atol=1e-6)


@given(limits, scene(-1e4, 1e4))
def test_a_weight_is_a_share_and_its_inverse_the_rest(limits, rgb):
    limits = {**limits, "stops": {"from": -4, "to": 5}, "invert": False}
    inside = only(**limits).weight(rgb)
    assert inside.min() >= 0.0
    assert inside.max() <= 1.0
    np.testing.assert_allclose(only(**{**limits, "invert": True}).weight(rgb), 1.0 - inside)


@given(limits, scene(0.0, 8.0))
def test_a_weight_has_no_jump(limits, rgb):
    """A millionth of a change in light changes no weight by more than an edge is steep."""
    rgb = rgb + 0.01
    limit = only(**{**limits, "stops": {"from": -4, "to": 5}})
    step = np.abs(limit.weight(rgb * np.array([1 + 1e-6, 1, 1 - 1e-6])) - limit.weight(rgb))
    assert step.max() < 1e-3


@pytest.mark.parametrize(
    ("limits", "hint"),
    [
        ({}, "no limit"),
        ({"invert": True}, "no limit"),
        ({"stops": {"from": 3, "to": 1}}, "from 3 to 1 can never match"),
        ({"chroma": {"from": 0.4, "to": 0.4}}, "can never match"),
        ({"hue": {"centre": 40}, "chroma": {"to": 0.0, "soft": 0.005}}, "never match together"),
        ({"stops": {"to": 30, "soft": 0.1}, "invert": True}, None),
        ({"stops": {"soft": 1}, "invert": True}, "inverted, these limits can never match"),
    ],
)
def test_limits_that_can_never_match_are_refused(limits, hint):
    if hint is None:
        assert only(**limits).weight(light([35.0])) == 1.0
        return
    with pytest.raises(ValidationError, match=hint):
        only(**limits)
