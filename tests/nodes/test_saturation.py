"""Saturation keeps luminance; its density variant darkens what is pure, and only that."""

import numpy as np
from hypothesis import given

from lookkit.nodes.saturation import Saturation, purity
from lookkit.spaces.level import luminance
from tests.nodes.strategies import number, scene

# Luminance row of AP1, Academy S-2014-004.
WEIGHTS = np.array([0.2722287168, 0.6740817658, 0.0536895174])


@given(rgb=scene(), saturation=number(0, 4))
def test_without_density_luminance_stays(rgb, saturation):
    out = Saturation(saturation=saturation).evaluate(rgb)
    grey = (rgb @ WEIGHTS)[..., None]
    scale = 1e-12 * max(np.abs(rgb).max(), 1.0)
    np.testing.assert_allclose(out, grey + saturation * (rgb - grey), atol=4 * scale)
    np.testing.assert_allclose(luminance(out), grey[..., 0], atol=4 * scale)


@given(grey=number(-8, 64), saturation=number(0, 4), density=number(0, 4))
def test_neutrals_stay(grey, saturation, density):
    rgb = np.full(3, grey)
    out = Saturation(saturation=saturation, density=density).evaluate(rgb)
    np.testing.assert_allclose(out, rgb, rtol=1e-13, atol=1e-300)


@given(rgb=scene(), density=number(0, 4), stops=number(-8, 8))
def test_exposing_before_is_exposing_after(rgb, density, stops):
    node = Saturation(saturation=1.3, density=density)
    size = np.abs(rgb).max(axis=-1, keepdims=True) * 2.0**stops
    difference = node.evaluate(rgb * 2.0**stops) - node.evaluate(rgb) * 2.0**stops
    assert (np.abs(difference) <= 1e-12 * size).all()


@given(rgb=scene(), density=number(0, 4))
def test_density_darkens_and_never_by_more_than_its_stops(rgb, density):
    plain = Saturation(saturation=1.2).evaluate(rgb)
    out = Saturation(saturation=1.2, density=density).evaluate(rgb)
    assert (np.abs(out) <= np.abs(plain)).all()
    assert (np.abs(out) >= np.abs(plain) * 2.0**-density * (1 - 1e-12)).all()


def test_the_purer_the_colour_the_darker():
    grey = np.full(3, 0.18)
    red = np.array([0.18, 0.0, 0.0])
    share = np.linspace(0.0, 1.0, 50)[:, None]
    mixed = grey + share * (red - grey)
    out = Saturation(density=1.0).evaluate(mixed)
    assert (np.diff(out[:, 0] / mixed[:, 0]) < 0.0).all()


def test_the_purity_of_primaries_is_one_less_their_weight():
    """q = 1 - w^2 / w for a pure channel of weight w: arithmetic from the stated formula."""
    np.testing.assert_allclose(purity(np.eye(3))[:, 0], 1.0 - WEIGHTS, atol=1e-9)


def test_skin_darkens_little():
    """The two skin patches of the 24-patch chart, AP1, from colour-science's table (2014)."""
    skin = np.array([[0.1357, 0.0851, 0.0582], [0.4474, 0.2963, 0.2254]])
    assert (purity(skin) < 0.06).all()
    assert (purity(skin) > 0.01).all()


@given(rgb=scene(), saturation=number(0.125, 2), density=number(0, 4))
def test_the_inverse_is_exact(rgb, saturation, density):
    node = Saturation(saturation=saturation, density=density)
    back = node.inverse(node.evaluate(rgb))
    size = np.abs(rgb).max(axis=-1, keepdims=True)
    assert (np.abs(back - rgb) <= 1e-9 * size).all()
