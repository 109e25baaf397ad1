"""Whites of light and the balance between them."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lookkit.errors import InputError, UnknownNameError
from lookkit.spaces.encodings import encoding
from lookkit.spaces.primaries import ACES_WHITE, AP1, white_xyz
from lookkit.spaces.whitepoints import (
    balance,
    daylight,
    grey_white,
    illuminant,
    illuminants,
    kelvin_and_tint,
    locus,
    planckian,
    white,
)
from tests.spaces.reference import colour

kelvins = st.floats(1000, 25000)
tints = st.floats(-0.05, 0.05)


def uv(xy):
    """CIE 1960 UCS, by colour-science."""
    return np.asarray(colour.xy_to_UCS_uv(np.asarray(xy)))


def test_daylight_locus_at_6000_kelvin():
    """Academy TB-2018-001 (V): 0.32169 0.33780."""
    assert daylight(6000) == pytest.approx((0.32169, 0.33780), abs=5e-6)


def test_daylight_locus_at_the_temperature_of_d65():
    """CIE 15 equations at 6504 K (C)."""
    assert daylight(6504) == pytest.approx((0.31271, 0.32912), abs=5e-6)


@pytest.mark.parametrize("kelvin", [4000, 5000, 6504, 7000, 9300, 25000])
def test_daylight_locus_agrees_with_colour_science(kelvin):
    expected = colour.temperature.CCT_to_xy_CIE_D(kelvin)
    assert daylight(kelvin) == pytest.approx(np.asarray(expected), abs=1e-12)


@pytest.mark.parametrize(("kelvin", "xy"), [(3200, (0.42336, 0.39895)), (2000, (0.52668, 0.41330))])
def test_planckian_locus(kelvin, xy):
    """CIE 1931 observer, c2 = 0.014388 m K (C)."""
    assert planckian(kelvin) == pytest.approx(xy, abs=5.5e-6)


def test_planckian_at_the_temperature_of_illuminant_a():
    """CIE 15: A is the black body of 2848 K with c2 = 0.01435, 2855.5 K with 0.014388."""
    kelvin = 2848 * 0.014388 / 0.01435
    assert planckian(kelvin) == pytest.approx(illuminant("A"), abs=1.2e-5)


def test_nothing_jumps_as_the_temperature_is_turned():
    """Steps of one mired move the white by 0.2 to 0.5 thousandths in u, v, tint or not."""
    mired = np.arange(41.0, 999.0)
    for tint in (-0.02, 0.0, 0.02):
        whites = np.array([uv(white(1e6 / one, tint)) for one in mired])
        steps = np.hypot(*np.diff(whites, axis=0).T)
        assert steps.max() < 7e-4
        assert np.abs(np.diff(steps)).max() < 4e-5


def test_daylight_from_4000_and_planckian_to_3500():
    assert locus(4000) == daylight(4000)
    assert locus(3500) == planckian(3500)
    between = np.array(locus(3750))
    ends = np.array([daylight(3750), planckian(3750)])
    assert (between > ends.min(axis=0)).all()
    assert (between < ends.max(axis=0)).all()


@given(kelvin=kelvins, tint=tints)
def test_tint_is_the_distance_from_the_locus(kelvin, tint):
    centre, moved = uv(white(kelvin)), uv(white(kelvin, tint))
    assert np.hypot(*(moved - centre)) == pytest.approx(abs(tint), abs=1e-9)
    if abs(tint) > 1e-6:
        # Green has the larger v.
        assert np.sign(moved[1] - centre[1]) == np.sign(tint)


@pytest.mark.parametrize(("kelvin", "duv"), [(2700, 0.01), (3000, -0.01), (3400, 0.005)])
def test_tint_on_the_planckian_locus_is_duv(kelvin, duv):
    """Ohno's method in colour-science finds the temperature and Duv that went in."""
    found = np.asarray(colour.temperature.uv_to_CCT_Ohno2013(uv(white(kelvin, duv))))
    assert found[0] == pytest.approx(kelvin, rel=2e-3)
    assert found[1] == pytest.approx(duv, abs=2e-4)


@given(kelvin=kelvins, tint=tints)
def test_temperature_and_tint_come_back(kelvin, tint):
    found = kelvin_and_tint(white(kelvin, tint))
    # Where lines of equal temperature meet far from the locus, the white is what counts.
    assert white(*found) == pytest.approx(white(kelvin, tint), abs=1e-7)
    if abs(tint) < 0.015:
        assert found[0] == pytest.approx(kelvin, rel=1e-5)
        assert found[1] == pytest.approx(tint, abs=1e-6)


@pytest.mark.parametrize("kelvin", [999, 0, -5000, 25001, float("nan"), float("inf")])
def test_temperatures_without_a_white_are_refused(kelvin):
    with pytest.raises(InputError, match="1000 to 25000 K"):
        white(kelvin)


@pytest.mark.parametrize("tint", [0.051, -0.2, float("nan"), float("inf")])
def test_tints_too_far_from_the_locus_are_refused(tint):
    with pytest.raises(InputError, match="tint"):
        white(5000, tint)


@pytest.mark.parametrize("xy", [(0.7, 0.3), (0.2, 0.7), (0.15, 0.06)])
def test_a_saturated_colour_has_no_temperature(xy):
    with pytest.raises(InputError, match="too far"):
        kelvin_and_tint(xy)


def test_named_illuminants_are_those_of_cie_15():
    """To the four digits that colour-science carries."""
    theirs = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    named = {name: xy for name, xy in illuminants().items() if name in theirs and name != "D60"}
    assert len(named) > 30
    for name, xy in named.items():
        assert xy == pytest.approx(np.asarray(theirs[name]), abs=6e-5), name
    assert illuminant("D60") == ACES_WHITE


def test_tungsten_and_daylight_are_the_usual_balances():
    """3200 K and 5600 K: common practice, no source."""
    assert illuminant("tungsten") == planckian(3200)
    assert illuminant("Daylight") == daylight(5600)


def test_an_unknown_illuminant_is_told_the_nearest():
    with pytest.raises(UnknownNameError, match="did you mean 'tungsten'"):
        illuminant("tungstn")


@given(kelvin=st.floats(1500, 20000), tint=st.floats(-0.03, 0.03))
@pytest.mark.parametrize("method", ["cat02", "bradford"])
def test_a_grey_under_the_light_becomes_neutral_and_keeps_its_luminance(method, kelvin, tint):
    light = white(kelvin, tint)
    grey = np.linalg.solve(AP1.to_xyz(), 0.18 * white_xyz(light))
    assert balance(light, method=method) @ grey == pytest.approx(0.18, abs=1e-12)


@given(
    rgb=st.tuples(*[st.floats(0.02, 2.0)] * 3),
    method=st.sampled_from(["cat02", "bradford"]),
)
def test_a_measured_grey_becomes_neutral(rgb, method):
    try:
        light = grey_white(rgb)
    except InputError:
        assume(False)
    after = balance(light, method=method) @ np.array(rgb)
    assert np.ptp(after) <= 1e-9 * after.max()
    luminance = AP1.to_xyz()[1] @ np.array(rgb)
    assert after[0] == pytest.approx(luminance, rel=1e-9)


@given(first=kelvins, second=kelvins)
def test_balancing_there_and_back_changes_nothing(first, second):
    there = balance(white(first), white(second))
    back = balance(white(second), white(first))
    assert there @ back == pytest.approx(np.eye(3), abs=1e-9)


def test_balancing_the_working_white_changes_nothing():
    assert balance(ACES_WHITE) == pytest.approx(np.eye(3), abs=1e-15)


def test_a_shot_under_tungsten_with_the_camera_at_daylight():
    """Two lights in one cone space: correcting what the camera took for white.

    The camera carried its own setting to the working white; a grey in the actual light,
    seen that way, is made neutral by balancing from the light to the setting.
    """
    setting, light = illuminant("daylight"), illuminant("tungsten")
    grey = np.linalg.solve(AP1.to_xyz(), 0.18 * white_xyz(light))
    seen = balance(setting) @ grey
    assert seen[0] > 2 * seen[2]
    corrected = balance(setting) @ balance(light, setting) @ np.linalg.inv(balance(setting)) @ seen
    assert corrected == pytest.approx(0.18, abs=1e-12)


def test_a_neutral_grey_of_a_camera_has_the_working_white():
    scene = encoding("V-Log").decode(np.full(3, 0.42))
    assert grey_white(scene) == pytest.approx(ACES_WHITE, abs=1e-8)


@pytest.mark.parametrize(
    "rgb", [(0, 0, 0), (np.nan, 0.2, 0.2), (-1, 0.1, 0.1), (np.inf, 1, 1), (0.1, 0.1)]
)
def test_what_is_no_lit_grey_is_refused(rgb):
    with pytest.raises(InputError, match="lit grey"):
        grey_white(rgb)
