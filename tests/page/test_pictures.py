"""Pictures are made small by areas, in strips."""

import numpy as np
import pytest

from lookkit.page.pictures import _narrowed, resized


@pytest.mark.parametrize(("wide", "width"), [(100, 7), (101, 33), (1281, 1280), (5, 4), (3, 1)])
def test_a_strip_is_narrowed_to_the_means_of_areas(wide, width):
    image = np.random.default_rng(wide).normal(size=(4, wide, 3)).astype(np.float32)
    found = _narrowed(image, width)
    np.testing.assert_allclose(found, resized(image, width, 4), atol=1e-6)
    # Each pixel by itself: the integral of a staircase between two edges.
    edges = np.linspace(0, wide, width + 1)
    whole = np.concatenate([np.zeros((4, 1, 3)), np.cumsum(image, axis=1, dtype=np.float64)], 1)
    ends = [
        np.stack([np.interp(edges, np.arange(wide + 1), whole[y, :, k]) for k in range(3)], -1)
        for y in range(4)
    ]
    means = np.diff(np.stack(ends), axis=1) * width / wide
    np.testing.assert_allclose(found, means, atol=1e-6)
