"""Sampling: what is taken of a patch, and what is left out."""

import numpy as np
import pytest

from lookkit.match import charts
from lookkit.match.homography import UNIT, carry, from_points, is_convex
from lookkit.match.patches import sample
from tests.match.scenes import draw_chart


@pytest.fixture
def chart():
    colours = np.random.default_rng(0).uniform(0.1, 0.8, size=(24, 3))
    picture, corners = draw_chart(colours, swatch=40, gap=6)
    return colours, picture, from_points(UNIT, corners)


def test_each_patch_gives_its_own_colour_in_order(chart):
    colours, picture, homography = chart
    patches = sample(picture, homography, lambda codes: codes)
    assert patches.codes == pytest.approx(colours, abs=1e-12)
    assert (patches.pixels >= 18 * 18).all()
    assert patches.noise.max() < 1e-12


def test_specks_do_not_count(chart):
    colours, picture, homography = chart
    rng = np.random.default_rng(1)
    specks = rng.random(picture.shape[:2]) < 0.05
    picture[specks] = 1.0
    patches = sample(picture, homography, lambda codes: codes)
    assert patches.codes == pytest.approx(colours, abs=1e-12)


def test_light_is_the_mean_of_decoded_pixels_not_the_decoded_mean(chart):
    _, picture, homography = chart
    rng = np.random.default_rng(2)
    noisy = picture + rng.normal(size=picture.shape) * 0.05
    patches = sample(noisy, homography, lambda codes: np.exp(6.0 * codes))
    # E[exp(6 x)] = exp(6 m + 18 s^2) for normal x: 4.6 % above exp(6 m) with s = 0.05.
    above = np.log(patches.light) - 6.0 * patches.codes
    assert above.mean() == pytest.approx(18.0 * 0.05**2, abs=0.01)


def test_clipped_and_crushed_pixels_are_counted(chart):
    _, picture, homography = chart
    where = np.floor(carry(homography, charts.centres())).astype(int)
    for index, value in ((3, 1.0), (7, 0.0)):
        x, y = where[index]
        picture[y - 3 : y + 3, x - 10 : x + 10, 0] = value
    patches = sample(picture, homography, lambda codes: codes)
    assert patches.clipped[3] == pytest.approx(0.3, abs=0.05)
    assert patches.crushed[7] == pytest.approx(0.3, abs=0.05)
    others = np.delete(np.arange(24), [3, 7])
    assert patches.clipped[others].max() == patches.crushed[others].max() == 0.0


def test_patches_outside_of_the_picture_have_no_pixels(chart):
    _, picture, homography = chart
    patches = sample(picture[:, : picture.shape[1] // 2], homography, lambda codes: codes)
    assert (patches.pixels.reshape(4, 6)[:, :3] > 0).all()
    assert (patches.pixels.reshape(4, 6)[:, 3:] == 0).all()


def test_a_homography_carries_its_points_and_back():
    rng = np.random.default_rng(3)
    target = UNIT * [300, 200] + rng.uniform(-20, 20, size=(4, 2)) + 50
    homography = from_points(UNIT, target)
    assert carry(homography, UNIT) == pytest.approx(target, abs=1e-9)
    inside = rng.uniform(size=(30, 2))
    back = carry(np.linalg.inv(homography), carry(homography, inside))
    assert back == pytest.approx(inside, abs=1e-10)
    assert is_convex(target)
    assert not is_convex(target[[0, 2, 1, 3]])
