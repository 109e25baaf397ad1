"""Wheels do what hands expect: each its own tones, and none the reverse elsewhere."""

import numpy as np
import pytest
from hypothesis import given

from lookkit.errors import RecipeError
from lookkit.nodes.base import offsets_of_hue
from lookkit.nodes.lift_gamma_gain import LiftGammaGain
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.oklab import hue_of, oklab
from tests.nodes.strategies import nodes, number, scene

STOPS = np.arange(-9.0, 9.01, 0.125)
GREYS = 0.18 * 2.0 ** STOPS[:, None].repeat(3, axis=1)


def moved(**fields):
    """How many stops each tone moves."""
    return np.log2(LiftGammaGain(**fields).evaluate(GREYS)[:, 0] / GREYS[:, 0])


def at(stops, values):
    return float(np.interp(stops, STOPS, values))


@pytest.mark.parametrize(
    ("fields", "where", "elsewhere"),
    [
        ({"lift": 0.004}, -5, (0, 5)),
        ({"gamma": 1.2}, 0, (-6, 6)),
        ({"gain": 1.3}, 5, (-5, 0)),
    ],
)
def test_each_wheel_moves_its_own_tones_most_and_none_the_other_way(fields, where, elsewhere):
    """What wheels are expected to do: common practice, no source."""
    stops = moved(**fields)
    assert (stops >= 0.0).all()
    for other in elsewhere:
        assert at(other, stops) < 0.3 * at(where, stops)
    down = moved(**{name: {"lift": -0.0001, "gamma": 1 / 1.2, "gain": 1 / 1.3}[name]
                    for name in fields})  # fmt: skip
    assert (down <= 0.0).all()


def test_gamma_moves_mid_grey_as_a_power_between_black_and_white_does():
    """0.18^(1 / gamma), the power function of a display-referred gamma wheel."""
    for gamma in (0.8, 1.1, 1.5):
        out = LiftGammaGain(gamma=gamma).evaluate(np.full(3, 0.18))
        np.testing.assert_allclose(out, 0.18 ** (1.0 / gamma), rtol=1e-9)


def test_lift_moves_black_by_itself():
    np.testing.assert_allclose(LiftGammaGain(lift=0.01, gamma=1.4).evaluate(np.zeros(3)), 0.01)


@given(nodes(LiftGammaGain))
def test_no_setting_folds(node):
    light = np.sort(np.concatenate([-GREYS[::-1], np.zeros((1, 3)), GREYS]), axis=0)
    assert (np.diff(node.evaluate(light), axis=0) > 0.0).all()


@given(nodes(LiftGammaGain), scene())
def test_the_wheels_can_be_undone(node, rgb):
    there = node.evaluate(rgb)
    back = node.inverse(there)
    np.testing.assert_allclose(back, rgb, rtol=1e-6, atol=1e-9)


@given(number(-360, 360))
def test_a_wheels_hue_is_that_of_hue_bands(hue):
    """A grey that is shifted a little has the hue in Oklab."""
    offsets = offsets_of_hue(hue)
    assert offsets.sum() == pytest.approx(0.0, abs=1e-12)
    found = hue_of(oklab(0.18 * (1.0 + 1e-4 * offsets)))
    assert (found - hue + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.05)


def test_keys_of_earlier_wheels_are_told_what_to_write_now():
    text = (
        'schema = 1\nname = "x"\n[[look]]\nkind = "lift-gamma-gain"\nwhite = 2.0\n'
        'gain = { hue = 0, amount = 0.1 }\n[rendering]\nkind = "film-print"\n'
    )
    with pytest.raises(RecipeError) as caught:
        parse_recipe(text)
    words = {problem.line: problem.expected for problem in caught.value.problems}
    assert "by themselves" in words[5]
    assert "strength" in words[6]
    assert "red 25" in words[6]
