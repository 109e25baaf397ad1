"""Colour differences against the published pairs and colour-science."""

import numpy as np
import pytest

from lookkit.accuracy.difference import XYZ_TO_BT2020, delta_e_2000, delta_e_itp, itp, lab

# Sharma, Wu, Dalal (2005), table 1; from memory, reproduced to four digits by
# colour-science 0.4.7.
PUBLISHED = [
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
    ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0009), 7.1792),
    ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0011), 7.2195),
    ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
]


@pytest.mark.parametrize(("first", "second", "wanted"), PUBLISHED)
def test_delta_e_2000_gives_the_published_values(first, second, wanted):
    found = delta_e_2000(np.array([first]), np.array([second]))
    assert found[0] == pytest.approx(wanted, abs=5e-5)


def lab_colours(count=50000):
    rng = np.random.default_rng(0)
    first = rng.random((count, 3)) * [100.0, 200.0, 200.0] - [0.0, 100.0, 100.0]
    return first, first + rng.normal(size=first.shape) * 10.0 ** rng.uniform(-2, 1.5, (count, 1))


def test_delta_e_2000_agrees_with_colour_science():
    # Source: colour-science 0.4, delta_E_CIE2000.
    colour = pytest.importorskip("colour")
    first, second = lab_colours()
    wanted = colour.difference.delta_E_CIE2000(first, second)
    np.testing.assert_allclose(delta_e_2000(first, second), wanted, atol=1e-6)


def test_delta_e_2000_of_greys_and_of_opposite_hues_is_finite():
    grey = np.array([[50.0, 0.0, 0.0]])
    assert delta_e_2000(grey, grey)[0] == 0.0
    assert delta_e_2000(grey, grey + np.array([1.0, 0.0, 0.0]))[0] == pytest.approx(1.0, abs=1e-3)
    opposite = delta_e_2000(np.array([[50.0, 10.0, 0.0]]), np.array([[50.0, -10.0, 0.0]]))
    assert np.isfinite(opposite).all()


def test_delta_e_2000_does_not_care_about_order():
    first, second = lab_colours(2000)
    np.testing.assert_allclose(delta_e_2000(first, second), delta_e_2000(second, first), atol=1e-9)


def test_delta_e_2000_keeps_float32_and_its_figures():
    first, second = (part.astype(np.float32) for part in lab_colours())
    single = delta_e_2000(first, second)
    assert single.dtype == np.float32
    double = delta_e_2000(first.astype(np.float64), second.astype(np.float64))
    # L*a*b* of 100 in float32 has steps of 8e-6; figures are given to three digits.
    away = np.abs(single - double)
    assert np.quantile(away, 0.999) < 5e-5
    assert away.max() < 1e-3


def test_lab_agrees_with_colour_science_from_black_to_twice_white():
    # Source: colour-science 0.4, XYZ_to_Lab.
    colour = pytest.importorskip("colour")
    white = np.array([95.047, 100.0, 108.883])
    xyz = np.random.default_rng(0).random((20000, 3)) ** 4 * 2.0 * white
    wanted = colour.XYZ_to_Lab(xyz / 100.0, colour.XYZ_to_xy(white))
    np.testing.assert_allclose(lab(xyz, white), wanted, atol=1e-9)


def test_lab_of_negative_light_is_finite_and_ordered():
    white = np.array([95.047, 100.0, 108.883])
    levels = np.linspace(-20.0, 20.0, 41)[:, None] * white / 100.0
    assert (np.diff(lab(levels, white)[:, 0]) > 0.0).all()


def test_delta_e_itp_agrees_with_colour_science():
    # Source: colour-science 0.4, delta_E_ITP on its BT.2100 PQ ICtCp.
    colour = pytest.importorskip("colour")
    rng = np.random.default_rng(0)
    first = rng.random((20000, 3)) ** 3 * 1000.0
    second = first * (1.0 + 0.1 * rng.random(first.shape))
    to_xyz = np.linalg.inv(XYZ_TO_BT2020)

    def ictcp(rgb):
        return colour.RGB_to_ICtCp(rgb, method="ITU-R BT.2100-2 PQ")

    wanted = colour.difference.delta_E_ITP(ictcp(first), ictcp(second))
    found = delta_e_itp(itp(first @ to_xyz.T), itp(second @ to_xyz.T))
    np.testing.assert_allclose(found, wanted, atol=1e-6)


def test_the_bt2020_matrix_is_that_of_its_primaries():
    # Source: primaries and D65 of ITU-R BT.2020, by way of colour-science 0.4.
    colour = pytest.importorskip("colour")
    wanted = colour.models.RGB_COLOURSPACE_BT2020.matrix_XYZ_to_RGB
    np.testing.assert_allclose(XYZ_TO_BT2020, wanted, atol=1e-9)
