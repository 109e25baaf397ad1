"""Matching on frames of one scene, without a chart."""

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.match.paired import match_frames
from tests.match import simulation as sim
from tests.match import walls
from tests.match.trials import scene_of
from tests.match.walls import HEIGHT, WIDTH, footage

pytest.importorskip("colour", reason="the spectra come from colour-science, an optional extra")
cv2 = pytest.importorskip("cv2", reason="frames are registered with opencv, of the extra 'match'")

CAMERA_A, CAMERA_B = sim.pair(sim.TYPICAL, 0)


@pytest.fixture(scope="module")
def filmed():
    """Camera A straight on; camera B from the side, 75 % overlap, with a moving thing."""
    return walls.filmed(CAMERA_A, CAMERA_B)


def held_out(made):
    codes = CAMERA_B.exact(sim.held_out_spectra())
    truth = CAMERA_A.truth(sim.held_out_spectra())
    return sim.difference(scene_of(made.match, codes), truth).mean()


def test_overlapping_views_are_registered_and_matched(filmed):
    made = match_frames(*footage(*filmed))
    assert made.file.lights[0].method == "paired frames"
    assert held_out(made) <= 2.1
    assert not made.file.lights[0].statistics.approximate


def test_without_registration_only_exposure_and_white_are_matched_and_it_says_so(filmed):
    made = match_frames(*footage(*filmed), register=False)
    match = made.file.lights[0]
    assert match.method == "exposure and white"
    assert match.statistics.approximate
    assert any("approximate" in one.words for one in made.findings)
    assert any("approximate" in words for words in made.must_not)
    # What an earlier prototype reached with a plain decode and log-mean gain was 2.4-3.7.
    assert held_out(made) < 4.0


def test_views_that_share_nothing_are_not_forced_together(filmed):
    other = np.random.default_rng(9).uniform(0.2, 0.7, size=(HEIGHT // 40, WIDTH // 40, 3))
    other = cv2.resize(other, (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)
    made = match_frames(*footage(filmed[0], other))
    assert made.file.lights[0].method == "exposure and white"
    assert any("could not be registered" in one.words for one in made.findings)


def test_black_frames_and_the_same_frame_twice_are_refused(filmed):
    with pytest.raises(InputError, match="black or clipped nearly everywhere"):
        match_frames(*footage(filmed[0], np.full((HEIGHT, WIDTH, 3), 0.0627)))
    with pytest.raises(InputError, match="the reference is the camera itself"):
        match_frames(*footage(filmed[0], filmed[0]))
