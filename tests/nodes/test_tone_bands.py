"""Bands keep ratios, weigh to one, hold at the ends, and refuse to fold."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import norm

from lookkit.errors import RecipeError
from lookkit.nodes.base import offsets_of_hue
from lookkit.nodes.tone_bands import NEAR_FOLD, ToneBand, ToneBands, flattest
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.level import level, luminance, stops_of
from lookkit.spaces.oklab import chroma_of, hue_of, oklab
from tests.nodes.strategies import number, scene

RAYS = np.array(
    [[1, 1, 1], [1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 0], [1, 0, 1], [0, 1, 1], [1, 0.3, 0.05]],
    dtype=float,
)


@st.composite
def ladder(draw, **fields):
    """Bands from dark to light with any widths and the given fields."""
    gaps = draw(st.lists(number(0.05, 5), min_size=1, max_size=5))
    centres = np.cumsum(gaps) - 6.0
    return tuple(
        ToneBand(
            centre=float(centre),
            width=draw(number(0.2, 6)),
            **{name: draw(values) for name, values in fields.items()},
        )
        for centre in centres
    )


def unchecked(bands):
    return ToneBands.model_construct(bands=bands, kind="tone-bands")


@given(bands=ladder(), stops=st.lists(number(-40, 40), min_size=1))
def test_weights_are_positive_and_sum_to_one(bands, stops):
    weights = ToneBands(bands=bands).weights(np.array(stops))
    assert (weights >= 0.0).all()
    np.testing.assert_allclose(weights.sum(axis=-1), 1.0, rtol=1e-14)


@given(bands=ladder())
def test_the_outermost_bands_hold_to_infinity(bands):
    far = ToneBands(bands=bands).weights(np.array([-1e6, 1e6]))
    np.testing.assert_allclose(far[0], np.eye(len(bands))[0], atol=1e-12)
    np.testing.assert_allclose(far[1], np.eye(len(bands))[-1], atol=1e-12)


@given(
    gaps=st.lists(number(0.5, 4), min_size=1, max_size=4),
    width=number(0.5, 3),
    stops=number(-8, 8),
)
def test_bands_of_equal_width_are_normalised_bell_curves(gaps, width, stops):
    """Source: SciPy's normal density, divided by the sum over the bands."""
    centres = np.cumsum([-5.0, *gaps])
    bands = ToneBands(bands=[{"centre": c, "width": width} for c in centres])
    logs = norm.logpdf(stops, centres, width)
    bells = np.exp(logs - logs.max())
    np.testing.assert_allclose(bands.weights(np.array(stops)), bells / bells.sum(), atol=1e-12)


@given(bands=ladder(exposure=number(-4, 4)), rgb=scene())
def test_exposure_in_bands_moves_neither_hue_nor_chroma(bands, rgb):
    rgb = rgb[level(rgb) > 1e-3]
    before, after = oklab(rgb), oklab(unchecked(bands).evaluate(rgb))
    np.testing.assert_allclose(chroma_of(after), chroma_of(before), atol=1e-9)
    vivid = chroma_of(before) > 1e-3
    turn = (hue_of(after) - hue_of(before) + 180.0) % 360.0 - 180.0
    assert np.abs(np.radians(turn[vivid]), dtype=float).max(initial=0.0) <= 1e-9


@given(bands=ladder(exposure=number(-4, 4)), rgb=scene())
def test_exposure_in_bands_multiplies_all_channels_alike(bands, rgb):
    """Common fact: light times one number keeps its chromaticity; no source needed."""
    out = unchecked(bands).evaluate(rgb)
    np.testing.assert_allclose(np.cross(out, rgb), 0.0, atol=1e-9 * np.abs(out * rgb).max())


@given(bands=ladder(exposure=number(-1, 1), saturation=number(0, 2)), stops=number(-12, 12))
def test_neutrals_stay_neutral_without_a_shift(bands, stops):
    out = unchecked(bands).evaluate(np.full(3, 0.18 * 2.0**stops))
    np.testing.assert_allclose(out, out[0], rtol=1e-12)


def test_a_band_exposes_by_its_stops_where_it_has_all_the_weight():
    bands = ToneBands(
        bands=[
            {"centre": -6, "width": 1.5, "exposure": 0.5},
            {"centre": 0, "width": 1.5},
            {"centre": 6, "width": 1.5, "exposure": -1},
        ]
    )
    grey = 0.18 * 2.0 ** np.array([-9.0, 0.0, 9.0])
    out = bands.evaluate(np.repeat(grey[:, None], 3, axis=1))
    np.testing.assert_allclose(np.log2(out[:, 0] / grey), [0.5, 0.0, -1.0], atol=2e-3)


def test_a_shift_is_per_channel_in_stops_or_a_hue_with_a_strength():
    by_channel = ToneBands(bands=[{"centre": 0, "shift": [0.2, -0.1, -0.1]}])
    by_hue = ToneBands(bands=[{"centre": 0, "shift": {"hue": 25, "strength": 0.2}}])
    grey = np.full(3, 0.18)
    np.testing.assert_allclose(by_channel.evaluate(grey), 0.18 * 2.0 ** np.array([0.2, -0.1, -0.1]))
    shifts = 0.2 * offsets_of_hue(25.0)
    np.testing.assert_allclose(by_hue.evaluate(grey), 0.18 * 2.0**shifts)
    assert hue_of(oklab(by_hue.evaluate(grey))) == pytest.approx(25.0, abs=1.0)


@given(rgb=scene())
def test_saturation_in_a_band_keeps_luminance(rgb):
    out = ToneBands(bands=[{"centre": 0, "saturation": 0.4}]).evaluate(rgb)
    np.testing.assert_allclose(luminance(out), luminance(rgb), atol=1e-12 * np.abs(rgb).max())


@given(rgb=scene(), stops=number(-8, 8))
def test_the_level_is_luminance_for_greys_never_below_it_and_scales_with_exposure(rgb, stops):
    np.testing.assert_allclose(level(np.full(3, 0.18)), 0.18)
    assert (level(rgb) >= luminance(rgb) - 1e-12).all()
    assert ((level(rgb) > 0.0) | (rgb == 0.0).all(axis=-1)).all()
    np.testing.assert_allclose(level(rgb * 2.0**stops), level(rgb) * 2.0**stops, rtol=1e-12)


def test_a_blue_lamp_is_not_taken_for_a_shadow():
    """Luminance puts AP1's pure blue four stops down (weight 0.0537, S-2014-004)."""
    lamp = np.array([0.0, 0.0, 0.18])
    assert np.log2(luminance(lamp) / 0.18) < -4.0
    assert stops_of(lamp) > -2.2


def ramps(node):
    """The output along every ray, shape (rays, stops, 3), and the ray's carriers."""
    stops = np.arange(-40.0, 40.0, 1.0 / 64.0)
    light = RAYS[:, None, :] * (0.18 * 2.0**stops)[None, :, None]
    return node.evaluate(light)


fields = {
    "exposure": number(-3, 3),
    "shift": st.tuples(number(-0.5, 0.5), number(-0.5, 0.5), number(-0.5, 0.5)),
    "saturation": number(0.2, 1.8),
}


@given(bands=ladder(**fields))
def test_an_accepted_setting_never_folds_along_any_ray(bands):
    _, slope = flattest(bands)
    assume(slope > 1e-3)
    out = ramps(ToneBands(bands=bands))
    for ray, values in zip(RAYS, out, strict=True):
        for channel in np.flatnonzero(ray == ray.max()):
            assert (np.diff(np.abs(values[:, channel])) > 0.0).all()


@given(gap=number(1, 3), width=number(0.5, 1.5), exposure=number(5, 8), base=number(-5, 5))
def test_a_refused_setting_folds_where_it_says(gap, width, exposure, base):
    bands = (
        ToneBand(centre=base, width=width, exposure=exposure),
        ToneBand(centre=base + gap, width=width, exposure=-exposure),
    )
    stop, slope = flattest(bands)
    assert slope < 0.0
    with pytest.raises(ValueError, match="folds tone"):
        ToneBands(bands=bands)
    pair = np.full((2, 3), 0.18) * 2.0 ** (stop + np.array([[-1e-4], [1e-4]]))
    out = unchecked(bands).evaluate(pair)
    assert out[1, 0] < out[0, 0]
    np.testing.assert_allclose(np.log2(out[1, 0] / out[0, 0]) / 2e-4, slope, atol=1e-3)


RECIPE = """schema = 1
name = "x"
[[look]]
kind = "tone-bands"
bands = [
  {{ centre = -3, width = 1.5 }},
  {{ centre = 0, width = 1.5 }},
  {{ centre = 3, width = {width}, exposure = {exposure} }},
]
"""


def problem(text):
    with pytest.raises(RecipeError) as caught:
        parse_recipe(text, "x.toml")
    (found,) = caught.value.problems
    return found


def test_a_fold_is_refused_at_the_line_of_its_band():
    found = problem(RECIPE.format(width=1.5, exposure=-4))
    assert found.line == 8
    assert "band 3 (centre +3) folds tone at +1.5 stops" in found.found


def test_a_warning_comes_before_the_fold():
    node = parse_recipe(RECIPE.format(width=1.5, exposure=-2.6)).look[0]
    _, slope = flattest(node.bands)
    assert 0.0 < slope < NEAR_FOLD
    (warning,) = node.warnings()
    assert "band 3 (centre +3) nearly folds tone: at +1.5 stops" in warning
    assert parse_recipe(RECIPE.format(width=1.5, exposure=-1)).look[0].warnings() == []


@pytest.mark.parametrize("width", ["0", "-1", "nan"])
def test_a_width_of_nothing_is_refused_at_its_line(width):
    assert problem(RECIPE.format(width=width, exposure=0)).line in (8, 5)


def test_bands_out_of_order_are_refused_at_the_line_of_the_second():
    text = RECIPE.format(width=1, exposure=0).replace("centre = 0", "centre = -3")
    found = problem(text)
    assert found.line == 7
    assert "from dark to light" in found.expected


def test_an_unknown_key_of_a_band_is_told_with_the_bands_own_keys():
    text = RECIPE.format(width=1, exposure=0).replace("centre = 0,", "centre = 0, exposre = 1,")
    found = problem(text)
    assert found.line == 7
    assert found.key == "look[1].bands[2].exposre"
    assert "'exposure'" in found.expected
