"""Halation and softness: light goes elsewhere, and none is made."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lookkit.texture.filters import blur, blurred, edge_taps, mirrored, soft_taps
from lookkit.texture.halation import INDEX, Reduced, spread_of

SHARE = np.array([0.02, 0.007, 0.0], np.float32)


def halo(rows, pixel, share=SHARE, base=130.0):
    """Rows with halation."""
    reduced = Reduced.of(*rows.shape[:2], pixel)
    planes = reduced.empty()
    reduced.add(planes, rows, 0)
    low = reduced.spread(planes, pixel * reduced.by, base, share)
    out = rows.copy()
    reduced.mix(out, 0, low, share)
    return out


def lamp(height=240, width=360, size=1, light=2.0**16):
    rows = np.full((height, width, 3), 0.18, np.float32)
    top, left = height // 2, width // 2
    rows[top : top + size, left : left + size] = light
    return rows


@pytest.mark.parametrize("shape", [(240, 360), (241, 363), (7, 5), (1, 1), (1, 90)])
def test_light_sums_up(shape):
    rows = lamp(*shape)
    before, after = (one.sum(axis=(0, 1), dtype=np.float64) for one in (rows, halo(rows, 6.5)))
    assert after == pytest.approx(before, rel=1e-4)


def test_a_lamp_of_one_pixel_leaves_nothing_below_the_ground():
    after = halo(lamp(), 6.5)
    assert after.min() >= 0.18 * (1 - 1e-5)
    assert np.isfinite(after).all()


def test_the_red_sensitive_layer_has_the_largest_halo():
    after = halo(lamp(), 6.5)
    aside = after[120, 180 + 35]  # where the ring is
    assert aside[0] > aside[1] > aside[2] == np.float32(0.18)


def test_the_ring_is_where_light_is_thrown_back_whole():
    # The critical angle: its sine is 1 / n.
    ring = 2 * 130 * np.tan(np.arcsin(1 / INDEX))
    rho = np.linspace(1, 800, 1600)
    back = spread_of(rho, 130.0)
    inside, outside = back[rho < 0.8 * ring].max(), back[np.abs(rho - ring) < 40].max()
    assert outside > 1.2 * inside
    assert 2 * np.pi * (rho * back).sum() * (rho[1] - rho[0]) > 0


def test_the_same_lamp_has_the_same_halo_at_twice_the_pixels():
    small = lamp(120, 180, 4)
    large = small.repeat(2, axis=0).repeat(2, axis=1)
    boxed = halo(large, 6.5).reshape(120, 2, 180, 2, 3).mean(axis=(1, 3))
    found = halo(small, 13.0)
    assert np.abs(boxed - found).max() / 2.0**16 < 1e-3


def test_numpy_reduces_and_mixes_alike():
    rng = np.random.default_rng(1)
    rows = rng.random((53, 61, 3), dtype=np.float32)
    reduced = Reduced.of(53, 61, 6.5)
    planes = reduced.empty()
    reduced.add(planes, rows, 0)
    assert planes == pytest.approx(reduced._by_numpy(rows, reduced.height), rel=1e-6)
    low = planes.astype(np.float32)
    one, other = rows.copy(), rows.copy()
    reduced.mix(one, 0, low, SHARE)
    reduced.mix_by_numpy(other, 0, low, SHARE)
    assert one == pytest.approx(other, abs=1e-6)


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 40), st.integers(1, 40), st.floats(0.1, 8.0), st.integers(0, 2**32 - 1))
def test_softness_takes_no_light_and_makes_none_negative(height, width, side, seed):
    rows = np.random.default_rng(seed).random((height, width, 3), dtype=np.float32)
    taps = soft_taps((60.0, 70.0, 75.0), 1000.0 / 60.0 * 0.1874 / side)
    reach = taps.shape[1] - 1
    wide = rows[mirrored(-reach, height + reach, height)]
    soft = blur(np.ascontiguousarray(wide), taps)
    assert soft.min() >= 0.0
    assert soft.sum(axis=(0, 1)) == pytest.approx(rows.sum(axis=(0, 1)), rel=1e-4)
    assert soft == pytest.approx(blurred(wide, taps), abs=2e-6)
    raised = blur(np.ascontiguousarray(wide), taps, 0.3)
    assert raised == pytest.approx(rows + 0.3 * (rows - soft), abs=2e-6)


@pytest.mark.parametrize("pixel", [1.6, 3.3, 6.5])
def test_half_of_the_detail_is_left_where_the_recipe_says(pixel):
    # At pixels fine enough for the frequency: under half of it, none of the taps is cut.
    half = 40.0
    taps = soft_taps((half,) * 3, pixel)[0].astype(float)
    waves = np.cos(2 * np.pi * half * pixel / 1000 * np.arange(len(taps)))
    assert taps[0] + 2 * (taps[1:] * waves[1:]).sum() == pytest.approx(0.5, abs=0.02)


def test_the_mean_beside_an_edge_sums_to_one():
    taps = edge_taps(18.0, 6.5)
    assert taps[:, 0] + 2 * taps[:, 1:].sum(axis=1) == pytest.approx(1.0, abs=1e-6)
