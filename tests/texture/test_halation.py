"""Halation and softness: light goes elsewhere, and none is made."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import erf

from lookkit.texture.boxes import Boxes
from lookkit.texture.compiled import wide_of
from lookkit.texture.filters import Edge, blur, blurred, mirrored, soft_taps
from lookkit.texture.halation import INDEX, Reduced, spread_of
from lookkit.texture.planes import joined, parted

SHARE = np.array([0.02, 0.007, 0.0], np.float32)


def planes_of(pixels):
    made = np.empty((3, pixels.shape[0], wide_of(pixels.shape[1])), np.float32)
    parted(pixels, made)
    return made


def pixels_of(planes, width):
    made = np.empty((planes.shape[1], width, 3), np.float32)
    joined(planes, made)
    return made


def halo(pixels, pixel, share=SHARE, base=130.0, aspect=1.0):
    """Pixels with halation."""
    width = pixels.shape[1]
    rows = planes_of(pixels)
    reduced = Reduced.of(*pixels.shape[:2], pixel, pixel * aspect)
    planes = reduced.empty()
    reduced.add(planes, rows, 0, width)
    low = reduced.spread(planes, pixel, pixel * aspect, base, share)
    reduced.mix(rows, 0, low, share, rows)
    return pixels_of(rows, width)


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


@pytest.mark.parametrize("light", [60.0 * 16, 2.0**16])
def test_a_lamp_of_one_pixel_leaves_nothing_below_the_ground(light):
    # The weaker one is under 64 as the mean of a box, and goes through float32.
    after = halo(lamp(light=light), 6.5)
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


@pytest.mark.parametrize("boxes", [Boxes(4, 4), Boxes(1, 1), Boxes(2, 4), Boxes(3, 5)])
def test_numpy_reduces_and_mixes_alike(boxes):
    rng = np.random.default_rng(1)
    rows = planes_of(rng.random((53, 61, 3), dtype=np.float32))
    points = -(-61 // boxes.broad)
    planes = np.zeros((3, -(-53 // boxes.high), points), np.float32)
    other = planes.copy()
    boxes.means(rows, 61, planes)
    boxes._by_numpy(rows[:, :, :61], other)
    assert planes == pytest.approx(other, rel=1e-6)
    one, other = np.empty_like(rows), np.empty_like(rows)
    boxes.mix(rows, 0, planes, SHARE, one, points=points)
    boxes.mix_by_numpy(rows, 0, planes, SHARE, other, 0)
    assert one == pytest.approx(other, abs=1e-6)


def with_rows(rows, around, height, below=0):
    return np.ascontiguousarray(rows[:, mirrored(-around, height + around + below, height)])


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 40), st.integers(1, 40), st.floats(0.1, 8.0), st.integers(0, 2**32 - 1))
def test_softness_takes_no_light_and_makes_none_negative(height, width, side, seed):
    pixels = np.random.default_rng(seed).random((height, width, 3), dtype=np.float32)
    down = soft_taps((60.0, 70.0, 75.0), 1000.0 / 60.0 * 0.1874 / side)
    across = soft_taps((60.0, 70.0, 75.0), 1000.0 / 60.0 * 0.1874 / (2 * side))
    wide = with_rows(planes_of(pixels), down.shape[1] - 1, height)
    soft = pixels_of(blur(wide, width, down, across), width)
    assert soft.min() >= 0.0
    assert soft.sum(axis=(0, 1)) == pytest.approx(pixels.sum(axis=(0, 1)), rel=1e-4)
    slow = np.moveaxis(blurred(wide[:, :, :width], down, across), 0, -1)
    assert soft == pytest.approx(slow, abs=2e-6)


@pytest.mark.parametrize("pixel", [1.6, 3.3, 6.5])
def test_half_of_the_detail_is_left_where_the_recipe_says(pixel):
    # At pixels fine enough for the frequency: under half of it, none of the taps is cut.
    half = 40.0
    taps = soft_taps((half,) * 3, pixel)[0].astype(float)
    waves = np.cos(2 * np.pi * half * pixel / 1000 * np.arange(len(taps)))
    assert taps[0] + 2 * (taps[1:] * waves[1:]).sum() == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize(("high", "broad"), [(13.0, 13.0), (6.5, 6.5), (3.26, 3.26), (6.5, 13.0)])
def test_the_rise_beside_an_edge_is_that_of_a_gaussian(high, broad):
    # A step of density 1 down or across: 1 + .1 (1 - what the Gaussian's integral says).
    edge = Edge.of(0.1, 18.0, high, broad)
    height = width = 96
    for axis, side in ((0, high), (1, broad)):
        pixels = np.zeros((height, width, 3), np.float32)
        pixels[(slice(None),) * axis + (slice(48, None),)] = 1.0
        made = np.empty((3, height, width), np.float32)
        edge.raised(with_rows(planes_of(pixels), edge.around, height), 0, made, width)
        line = made[0].mean(axis=1 - axis)
        at = (np.arange(96) + 0.5 - 48) * side
        wanted = (at > 0) + 0.1 * ((at > 0) - 0.5 * (1 + erf(at / 18.0 / np.sqrt(2))))
        # A box's mean is read along straight lines: a twentieth of the rise.
        assert line == pytest.approx(wanted, abs=0.005)
        assert made.sum() == pytest.approx(pixels.sum(), rel=1e-4)


def test_anamorphic_pixels_have_a_round_halo():
    # 0.5 wide pixels of a lamp as broad as high in micrometres, laid out square: the same picture.
    square, narrow = lamp(240, 240, 8), lamp(240, 240, 8).repeat(2, axis=1)
    found = halo(narrow, 6.5, aspect=0.5).reshape(240, 240, 2, 3).mean(axis=2)
    assert np.abs(found - halo(square, 6.5)).max() / 2.0**16 < 1e-3
