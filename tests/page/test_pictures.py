"""Pictures are made small by areas; their light has a place in the film's domain."""

import numpy as np
import pytest

from lookkit.coordinates import SHOWN, SceneColours
from lookkit.page.pictures import Domain, resized


@pytest.mark.parametrize(
    ("wide", "width"), [(100, 7), (101, 33), (1281, 1280), (5, 4), (3, 1), (3, 7), (4, 4)]
)
def test_a_resized_picture_has_the_means_of_areas(wide, width):
    image = np.random.default_rng(wide).normal(size=(4, wide, 3)).astype(np.float32)
    found = resized(image, width, 4)
    # Each pixel by itself: the integral of a staircase between two edges.
    edges = np.linspace(0, wide, width + 1)
    whole = np.concatenate([np.zeros((4, 1, 3)), np.cumsum(image, axis=1, dtype=np.float64)], 1)
    ends = [
        np.stack([np.interp(edges, np.arange(wide + 1), whole[y, :, k]) for k in range(3)], -1)
        for y in range(4)
    ]
    means = np.diff(np.stack(ends), axis=1) * width / wide
    np.testing.assert_allclose(found, means, atol=1e-6)
    across = resized(image.transpose(1, 0, 2), 4, width)
    np.testing.assert_allclose(across, means.transpose(1, 0, 2), atol=1e-6)


def test_a_pixel_beyond_all_light_stays_in_its_own_area():
    image = np.ones((1, 9, 3), np.float32)
    image[0, 1] = 1e30
    np.testing.assert_allclose(resized(image, 3, 1)[0, 1:], 1.0)


def test_codes_of_light_are_its_places_between_the_ends_of_the_film():
    rng = np.random.default_rng(2)
    light = (2.0 ** rng.uniform(-9, 5, (40, 50, 1)) * rng.uniform(0.2, 1, (40, 50, 3))) - 0.01
    light = light.astype(np.float32)
    domain = Domain.of([light])
    place = SceneColours(33, SHOWN).place(light.astype(np.float64))
    wanted = 65535 * (place - domain.low) / (domain.high - domain.low)
    np.testing.assert_allclose(domain.coded(light), wanted, atol=0.7)
    assert domain.holds(light)
    assert not domain.holds(2 * light)
