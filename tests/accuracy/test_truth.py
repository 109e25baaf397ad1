"""Sampling a graph safely."""

import numpy as np
import pytest

from lookkit.accuracy.truth import Light, in_chunks, steady
from tests.lattice.graphs import LIGHT, aces


def test_an_isolated_black_pixel_is_not_kept():
    def upset(code):
        signal = 0.5 + 0.3 * code
        signal[np.isclose(code[:, 0], 0.25, rtol=0.0, atol=1e-9)] = 0.0
        return signal

    code = np.array([[0.25, 0.3, 0.4], [0.75, 0.3, 0.4]])
    np.testing.assert_allclose(steady(upset)(code), 0.5 + 0.3 * code, atol=1e-5)


def test_not_a_number_and_infinity_become_what_lies_around():
    def upset(code):
        signal = code.copy()
        signal[code[:, 0] == 0.5] = [np.nan, np.inf, -np.inf]
        return signal

    np.testing.assert_allclose(steady(upset)(np.full((1, 3), 0.5)), 0.5, atol=1e-5)


def test_real_black_and_white_stay():
    def hard(code):
        return np.where(code > 0.5, 1.0, 0.0)

    code = np.array([[0.0, 0.0, 0.0], [0.2, 0.2, 0.2], [1.0, 1.0, 1.0]])
    np.testing.assert_array_equal(steady(hard)(code), hard(code))


def test_a_graph_that_hands_out_what_it_keeps_is_not_changed():
    kept = np.zeros((4, 3))
    kept[1] = np.nan
    steady(lambda code: kept[: len(code)])(np.full((4, 3), 0.3))
    assert np.isnan(kept[1]).all()


def test_the_result_does_not_depend_on_the_chunks():
    graph = steady(aces().exact)
    code = np.random.default_rng(0).random((50000, 3))
    whole = graph(code)
    np.testing.assert_array_equal(whole[1000:1100], graph(code[1000:1100]))
    assert graph(code.reshape(100, 500, 3)).shape == (100, 500, 3)


def test_chunks_keep_their_order_over_several_columns():
    first, second = np.arange(90000.0), np.arange(90000.0)[::-1].copy()
    np.testing.assert_array_equal(in_chunks(np.add, first, second), first + second)


def test_the_white_of_a_display_is_lightness_100():
    assert LIGHT.lab(np.ones((1, 3)))[0] == pytest.approx([100.0, 0.0, 0.0], abs=1e-9)
    # Diffuse white of an HDR display: 203 cd/m2 (ITU-R BT.2408).
    brighter = Light(LIGHT.xyz, white=tuple(LIGHT.adapted_white * 2.03))
    # L* = 116 (100 / 203)^(1/3) - 16 (ISO/CIE 11664-4).
    assert brighter.lab(np.ones((1, 3)))[0, 0] == pytest.approx(75.6135, abs=1e-3)


def test_the_light_of_the_test_display_is_bt1886():
    # ITU-R BT.1886, Lw 100, Lb 0: V = .5 gives 18.94646 cd/m2 (from memory, computed).
    assert LIGHT.xyz(np.full((1, 3), 0.5))[0, 1] == pytest.approx(18.94646, abs=1e-4)
