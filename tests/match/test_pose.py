"""Which way round the chart lies, for any exposure, curve, white balance or mirror."""

import numpy as np
import pytest

from lookkit.match import charts, pose

NEAR = charts.edition("2005").scene


def seen(rng, log):
    """Code values of the chart as a camera of unknown curve might give them."""
    light = NEAR * 2.0 ** rng.uniform(-5.0, 2.5) * 2.0 ** rng.uniform(-0.5, 0.5, size=3)
    light = np.maximum(light + rng.normal(size=light.shape) * 2e-4, 1e-5)
    if log:
        return np.clip(0.28 + 0.075 * np.log2(light / 0.18), 0.0, 1.0)
    return np.clip(light, 0.0, 1.0) ** 0.45


@pytest.mark.parametrize("log", [False, True])
def test_the_right_pose_wins_from_five_stops_under_to_two_and_a_half_over(log):
    rng = np.random.default_rng(11)
    ways = pose.poses()
    for trial in range(150):
        colours = seen(rng, log)
        true = trial % 4
        laid = np.empty_like(colours)
        laid[ways[true]] = colours
        scores = [pose.score(laid[order]) for order in ways]
        assert int(np.argmax(scores)) == true


def test_random_colours_are_not_taken_for_the_chart():
    rng = np.random.default_rng(12)
    scores = [
        max(pose.score(colours[order]) for order in pose.poses())
        for colours in rng.uniform(0.0, 1.0, size=(400, 24, 3))
    ]
    assert max(scores) < pose.ACCEPT


def test_every_edition_is_taken_for_the_chart():
    for name in charts.editions():
        assert pose.score(np.cbrt(np.maximum(charts.edition(name).scene, 0))) > 0.97
