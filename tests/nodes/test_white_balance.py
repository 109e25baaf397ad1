"""White balance against CIE illuminants and colour-science's adaptation."""

import numpy as np
import pytest

from lookkit.errors import RecipeError
from lookkit.nodes.white_balance import WhiteBalance
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.primaries import AP1

# CIE 15:2004: chromaticities of the 2 degree observer.
ILLUMINANTS = {"A": (0.44758, 0.40745), "D50": (0.34567, 0.35851), "D65": (0.31271, 0.32902)}


def grey_under(xy, level=0.18):
    x, y = xy
    return np.linalg.solve(AP1.to_xyz(), level * np.array([x / y, 1.0, (1 - x - y) / y]))


@pytest.mark.parametrize("method", ["cat02", "bradford"])
@pytest.mark.parametrize("name", ILLUMINANTS)
def test_a_grey_under_a_named_light_becomes_neutral_and_keeps_its_luminance(name, method):
    out = WhiteBalance(light=name, method=method).evaluate(grey_under(ILLUMINANTS[name]))
    np.testing.assert_allclose(out, 0.18, rtol=2e-4)


@pytest.mark.parametrize(
    ("kelvin", "xy"), [(6504.0, (0.31271, 0.32912)), (3200.0, (0.42336, 0.39895))]
)
def test_a_grey_on_the_locus_becomes_neutral(kelvin, xy):
    """Daylight locus at 6504 K and Planckian at 3200 K (CIE 15, computed by colour-science)."""
    out = WhiteBalance(kelvin=kelvin).evaluate(grey_under(xy))
    np.testing.assert_allclose(out, 0.18, rtol=1e-3)


def test_a_measured_grey_becomes_neutral():
    grey = (0.25, 0.18, 0.09)
    out = WhiteBalance(grey=grey).evaluate(np.array(grey))
    assert np.ptp(out) <= 1e-9


@pytest.mark.parametrize(("method", "theirs"), [("cat02", "CAT02"), ("bradford", "Bradford")])
def test_the_adaptation_is_that_of_colour_science(method, theirs):
    colour = pytest.importorskip("colour")
    source = np.array(ILLUMINANTS["A"])
    matrix = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(source), colour.xy_to_XYZ(np.array([0.32168, 0.33767])), transform=theirs
    )
    rgb = np.array([[0.3, 0.2, 0.1], [-0.1, 0.5, 2.0]])
    expected = rgb @ (np.linalg.inv(AP1.to_xyz()) @ matrix @ AP1.to_xyz()).T
    out = WhiteBalance(light="A", method=method).evaluate(rgb)
    np.testing.assert_allclose(out, expected, rtol=5e-4, atol=1e-5)


def test_a_target_takes_one_light_for_another():
    """What was balanced for tungsten and shot under daylight comes out as balanced for daylight."""
    once = WhiteBalance(light="D65", camera="A").evaluate(grey_under(ILLUMINANTS["D65"]))
    np.testing.assert_allclose(once, grey_under(ILLUMINANTS["A"]), rtol=2e-4)


def test_more_tint_means_a_greener_light_and_a_more_magenta_picture():
    grey = np.full(3, 0.18)
    red, green, blue = WhiteBalance(kelvin=5600, tint=0.01).evaluate(grey)
    red0, green0, blue0 = WhiteBalance(kelvin=5600).evaluate(grey)
    assert green / (red + blue) < green0 / (red0 + blue0)


@pytest.mark.parametrize(
    ("keys", "hint"),
    [
        ("kelvin = 3200\nlight = 'A'", "kelvin and light together"),
        ("tint = 0.01", "tint without kelvin"),
        ("camera = 'A'", "camera alone"),
        ("light = 'tungstn'", "did you mean 'tungsten'"),
        ("grey = [0, 0, 0]", "a lit grey"),
        ("kelvin = 100", "at least 1000"),
    ],
)
def test_what_cannot_be_a_light_is_refused_in_words(keys, hint):
    with pytest.raises(RecipeError, match=hint):
        parse_recipe(f"schema = 1\nname = 'x'\n[[look]]\nkind = 'white-balance'\n{keys}\n")
