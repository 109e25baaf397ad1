"""Hue and chroma against colour-science, and what exposure does to them: nothing."""

import colour
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from lookkit.spaces.oklab import chroma_of, from_oklab, hue_distance, hue_of, in_circle, oklab
from lookkit.spaces.primaries import ACES_WHITE, AP1, D65, adaptation
from tests.nodes.strategies import number, scene


@given(rgb=scene(0.0, 16.0))
def test_oklab_agrees_with_colour_science(rgb):
    """Source: colour-science's XYZ_to_Oklab (Ottosson 2020), XYZ adapted to D65 (Bradford).

    Its matrices make the neutral of D65 (0.3127, 0.3290) neutral to 1e-4 only; ours are scaled.
    """
    xyz = rgb @ (adaptation(ACES_WHITE, D65, "bradford") @ AP1.to_xyz()).T
    reference = colour.XYZ_to_Oklab(xyz)
    np.testing.assert_allclose(oklab(rgb), reference, atol=2e-4 * max(np.cbrt(rgb.max()), 1.0))


@given(rgb=scene(), stops=number(-10, 10))
def test_exposure_moves_neither_hue_nor_chroma(rgb, stops):
    before, after = oklab(rgb), oklab(rgb * 2.0**stops)
    np.testing.assert_allclose(chroma_of(after), chroma_of(before), atol=1e-9)
    vivid = chroma_of(before) > 1e-3
    turn = (hue_of(after) - hue_of(before) + 180.0) % 360.0 - 180.0
    assert np.abs(turn[vivid]).max(initial=0.0) <= 1e-6


@given(rgb=scene())
def test_the_way_back_undoes_it(rgb):
    np.testing.assert_allclose(from_oklab(oklab(rgb)), rgb, atol=1e-12 * np.abs(rgb).max() + 1e-15)


@given(grey=number(-8, 64))
def test_neutrals_have_no_chroma(grey):
    assert chroma_of(oklab(np.full(3, grey))) < 1e-14


@given(hue=number(-720, 720), centre=number(-360, 360), turns=st.integers(-2, 2))
def test_the_distance_of_hues_wraps(hue, centre, turns):
    distance = hue_distance(in_circle(np.array(hue)), in_circle(centre))
    assert 0.0 <= distance <= 180.0
    np.testing.assert_allclose(
        hue_distance(in_circle(np.array(hue + 360.0 * turns)), in_circle(centre)),
        distance,
        atol=1e-9,
    )


def test_black_has_no_chroma_and_is_finite():
    assert chroma_of(oklab(np.zeros(3))) == 0.0
    assert hue_of(oklab(np.zeros(3))) == 0.0
