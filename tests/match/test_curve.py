"""The rising curve: what its parameters mean, and that it cannot fold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lookkit.matchfile.camera_curve import bt709_decode
from lookkit.matchfile.curve import RisingCurve

KNOTS = bt709_decode(np.linspace(0.0, 1.09, 12))
SLOPES = arrays(np.float64, 12, elements=st.floats(-2.0, 2.0))


def test_zero_log_slopes_are_the_identity():
    x = np.linspace(-0.3, 1.6, 50)
    assert np.allclose(RisingCurve(KNOTS, np.zeros(12))(x), x, atol=1e-15)


def test_bt709_decoding_is_the_published_formula_s_inverse():
    # ITU-R BT.709-6 item 1.2: V = 1.099 L^0.45 - 0.099 above L = 0.018, 4.5 L below; its
    # constants are the three-digit form of those that make curve and slope continuous.
    light = np.array([0.0, 0.01, 0.018, 0.1, 0.5, 1.0])
    signal = np.where(light < 0.018, 4.5 * light, 1.099 * light**0.45 - 0.099)
    assert bt709_decode(signal) == pytest.approx(light, abs=3e-4)
    ends = bt709_decode(np.array([-0.05, 1.09]))
    assert ends[0] < 0.0
    assert ends[1] == pytest.approx(((1.09 + 0.099) / 1.099) ** (1 / 0.45), rel=1e-3)


@given(SLOPES)
def test_the_curve_rises_everywhere_whatever_its_slopes(log_slopes):
    y = RisingCurve(KNOTS, log_slopes)(np.linspace(-0.5, 2.0, 400))
    assert (np.diff(y) > 0.0).all()


@given(SLOPES)
def test_the_inverse_undoes_the_curve(log_slopes):
    curve = RisingCurve(KNOTS, log_slopes)
    x = np.linspace(-0.5, 2.0, 101)
    assert np.abs(curve.inverse(curve(x)) - x).max() < 1e-9


@given(SLOPES)
def test_the_curve_is_the_integral_of_its_slope(log_slopes):
    curve = RisingCurve(KNOTS, log_slopes)
    fine = np.linspace(0.0, KNOTS[-1], 40001)
    slope = np.exp(np.interp(fine, KNOTS, log_slopes))
    whole = np.sum(0.5 * (slope[1:] + slope[:-1]) * np.diff(fine))
    assert curve(np.array([KNOTS[-1]]))[0] == pytest.approx(whole, rel=1e-6)


def test_the_jacobian_is_the_derivative():
    rng = np.random.default_rng(1)
    log_slopes = rng.normal(size=12) * 0.5
    x = rng.uniform(-0.2, 1.6, size=(20, 3))
    step = 1e-6
    numeric = np.stack(
        [
            RisingCurve(KNOTS, log_slopes + step * unit)(x)
            - RisingCurve(KNOTS, log_slopes - step * unit)(x)
            for unit in np.eye(12)
        ],
        axis=-1,
    ) / (2.0 * step)
    assert np.abs(RisingCurve(KNOTS, log_slopes).jacobian(x) - numeric).max() < 1e-8
