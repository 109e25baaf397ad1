"""Hue bands wrap, leave neutrals alone, do not see exposure, and never jump."""

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.nodes.hue_bands import Band, HueBands, band_weight
from lookkit.spaces.oklab import chroma_of, from_oklab, hue_of, oklab
from lookkit.spaces.primaries import ACES_WHITE, AP1, D65, adaptation
from tests.nodes.strategies import number, scene

bands = st.lists(
    st.fixed_dictionaries(
        {"centre": number(-360, 360)},
        optional={
            "width": number(1, 300),
            "soft": number(1, 300),
            "turn": number(-60, 60),
            "saturation": number(0, 2),
            "exposure": number(-3, 3),
        },
    ),
    min_size=1,
    max_size=6,
).map(lambda fields: HueBands(bands=fields))


def at_hue(hue, chroma=0.3, lightness=0.6):
    """AP1 of Oklab's L, C, h."""
    angle = np.radians(hue)
    a, b = chroma * lightness * np.cos(angle), chroma * lightness * np.sin(angle)
    return from_oklab(np.stack(np.broadcast_arrays(lightness, a, b), axis=-1))


def share(chroma, half_chroma=0.05):
    """How much of a band's effect a colour gets, by the formula of the node."""
    return chroma**2 / (chroma**2 + half_chroma**2)


def angle_between(a, b):
    return np.abs((a - b + 180.0) % 360.0 - 180.0)


@given(node=bands, grey=st.one_of(number(-8, 64), st.just(1e6)))
def test_neutrals_stay_exactly(node, grey):
    rgb = np.full((1, 3), grey)
    np.testing.assert_array_equal(node.evaluate(rgb), rgb)


@given(node=bands, rgb=scene(), stops=number(-8, 8))
def test_exposing_before_is_exposing_after(node, rgb, stops):
    gain = 2.0**stops
    before = node.evaluate(rgb * gain)
    size = np.abs(node.evaluate(rgb)).max(axis=-1, keepdims=True) * gain
    assert (np.abs(before - node.evaluate(rgb) * gain) <= 1e-9 * size + 1e-12).all()


@given(node=bands, place=st.one_of(number(-360, 360), st.sampled_from([-180.0, 0.0, 180.0, 360.0])))
def test_there_is_no_seam_around_the_circle(node, place):
    """Steepest: six edges of 1 degree, 60 degrees, double saturation and 3 stops each."""
    out = oklab(node.evaluate(at_hue(place + np.array([-1e-8, 1e-8]))))
    assert np.abs(out[1] - out[0]).max() < 1e-4


@given(node=bands, rgb=scene(0.01, 8.0), towards=scene(0.01, 8.0))
def test_the_result_is_continuous_along_any_line(node, rgb, towards):
    coarse = node.evaluate(rgb)
    errors = [
        np.abs(node.evaluate(rgb + size * (towards - rgb)) - coarse).max()
        for size in (1e-6, 1e-9, 1e-12)
    ]
    assert errors[2] <= max(1e-4 * np.abs(coarse).max(), 1e-9)
    assert errors[2] <= errors[0] + 1e-9


@given(node=bands, hue=number(0, 360))
def test_close_to_neutral_little_happens(node, hue):
    rgb = at_hue(hue, chroma=1e-6)
    np.testing.assert_allclose(node.evaluate(rgb), rgb, rtol=1e-4)


@given(node=bands)
def test_nothing_is_not_a_number(node):
    extremes = np.array([0.0, -0.0, 1e-300, -1e-300, 1e-30, -1.0, 1.0, 1e6, -1e6])
    rgb = np.stack(np.meshgrid(extremes, extremes, extremes), axis=-1)
    assert np.isfinite(node.evaluate(rgb)).all()


@pytest.mark.parametrize("centre", [25.0, 385.0 - 360.0, -335.0])
@pytest.mark.parametrize("turn", [-20.0, 15.0])
def test_a_band_turns_hue_by_its_degrees_at_its_centre(centre, turn):
    """Source: hue angle by colour-science's Oklab."""
    rgb = at_hue(centre, chroma=0.2)
    out = HueBands(bands=[{"centre": centre, "width": 40, "turn": turn}]).evaluate(rgb)
    to_d65 = adaptation(ACES_WHITE, D65, "bradford") @ AP1.to_xyz()
    before, after = (colour.XYZ_to_Oklab(to_d65 @ value) for value in (rgb, out))
    hues = [np.degrees(np.arctan2(value[2], value[1])) for value in (before, after)]
    assert angle_between(hues[1] - hues[0], turn * share(0.2)) < 0.1
    np.testing.assert_allclose(
        np.hypot(*after[1:]), np.hypot(*before[1:]), rtol=2e-3, err_msg="chroma stays"
    )
    np.testing.assert_allclose(after[0], before[0], rtol=1e-3, err_msg="lightness stays")


def test_saturation_multiplies_chroma_and_exposure_multiplies_light():
    rgb = at_hue(120.0, chroma=0.4)
    pale = oklab(HueBands(bands=[{"centre": 120, "saturation": 0.5}]).evaluate(rgb))
    before = oklab(rgb)
    np.testing.assert_allclose(pale[1:] / before[1:], 1.0 - 0.5 * share(0.4), rtol=1e-9)
    dark = HueBands(bands=[{"centre": 120, "exposure": -1}]).evaluate(rgb)
    np.testing.assert_allclose(dark, rgb * 2.0 ** -share(0.4), rtol=1e-9)


@given(hue=number(0, 360), node=bands)
def test_a_hue_outside_all_bands_stays_exactly(hue, node):
    rgb = at_hue(hue, chroma=0.3)[None]
    place = hue_of(oklab(rgb))
    if max(band_weight(place, band)[0] for band in node.bands) == 0.0:
        np.testing.assert_array_equal(node.evaluate(rgb), rgb)


def test_a_band_is_half_at_half_its_width_and_ends_at_its_edge():
    band = Band(centre=350, width=40, soft=20)
    weights = band_weight(np.array([350.0, 0.0, 10.0, 20.0, 330.0, 320.0, 170.0]), band)
    np.testing.assert_allclose(weights, [1.0, 1.0, 0.5, 0.0, 0.5, 0.0, 0.0], atol=1e-12)


def test_reversing_the_order_of_hues_is_warned_of():
    """f rises by at most 1.5 / soft, so a turn needs soft of 1.5 times itself."""
    (warning,) = HueBands(bands=[{"centre": 25, "turn": 40, "soft": 30}]).warnings()
    assert "band 1 (centre 25) reverses the order of hues" in warning
    assert "soft = 60" in warning
    assert HueBands(bands=[{"centre": 25, "turn": 40, "soft": 61}]).warnings() == []


def test_the_band_that_reverses_hues_is_named():
    bands = [
        {"centre": 250, "width": 90, "turn": 10, "soft": 40},
        {"centre": 25, "turn": 40, "soft": 30},
        {"centre": 120, "width": 10, "turn": 5, "soft": 40},
    ]
    (warning,) = HueBands(bands=bands).warnings()
    assert warning.startswith("band 2 (centre 25)")


@pytest.mark.parametrize("half_chroma", [0.05, 0.15])
def test_no_saturation_leaves_vivid_colours_grey_and_pale_ones_a_trace(half_chroma):
    """At most half of `half_chroma` is left: r k^2 / (r^2 + k^2) is largest where r = k."""
    chroma = np.linspace(0.001, 0.8, 200)
    bands = [{"centre": 120, "width": 60, "saturation": 0}]
    node = HueBands(bands=bands, half_chroma=half_chroma)
    left = chroma_of(oklab(node.evaluate(at_hue(120.0, chroma))))
    assert left.max() <= 0.5 * half_chroma + 1e-9
    assert left[-1] < 0.02 * half_chroma / 0.05


@given(node=bands, hue=number(0, 360))
def test_effects_fade_out_towards_neutral(node, hue):
    """Beside neutral a band's effect falls as the cube of the chroma: no hue is amplified."""
    near, nearer = (
        np.abs(node.evaluate(at_hue(hue, chroma)) - at_hue(hue, chroma)).max()
        for chroma in (2e-3, 1e-3)
    )
    exposed = any(band.exposure for band in node.bands)
    assert nearer <= near / (3.0 if exposed else 6.0) + 1e-12
