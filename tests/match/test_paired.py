"""Matching on frames of one scene, without a chart."""

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.match.frames import Exposure, Footage
from lookkit.match.paired import match_frames
from lookkit.spaces.encodings import encoding
from tests.match import simulation as sim
from tests.match.trials import scene_of

pytest.importorskip("colour", reason="the spectra come from colour-science, an optional extra")
cv2 = pytest.importorskip("cv2", reason="frames are registered with opencv, of the extra 'match'")

CAMERA_A, CAMERA_B = sim.pair(sim.TYPICAL, 0)
HEIGHT, WIDTH = 720, 1280


def wall(rng):
    """A wall of overlapping coloured tiles: which spectrum and brightness is where."""
    labels = np.zeros((HEIGHT, WIDTH), dtype=int)
    for label in range(1, 420):
        middle = rng.uniform([0, 0], [WIDTH, HEIGHT])
        size = rng.uniform(40, 120, size=2)
        box = cv2.boxPoints((middle, size, rng.uniform(0, 90)))
        cv2.fillPoly(labels_view := labels.astype(np.int32), [box.astype(np.int32)], label)
        labels = labels_view
    spectra = sim.training_spectra()[rng.integers(0, 190, 420)]
    return labels, spectra * 2.0 ** rng.uniform(-3.0, 0.3, size=(420, 1))


@pytest.fixture(scope="module")
def filmed():
    """Camera A straight on; camera B from the side, 75 % overlap, with a moving thing."""
    rng = np.random.default_rng(4)
    labels, spectra = wall(rng)
    texture = 2.0 ** (0.06 * rng.normal(size=(HEIGHT // 4, WIDTH // 4)))
    texture = cv2.resize(texture, (WIDTH, HEIGHT))[..., None]
    a = CAMERA_A.truth(spectra)[labels] * texture
    b = CAMERA_B.linear(spectra, 0.0)[labels] * texture
    warp = np.array([[0.95, 0.06, -120.0], [-0.04, 0.97, 60.0], [1e-5, 2e-5, 1.0]])
    b = cv2.warpPerspective(b, warp, (WIDTH, HEIGHT), borderMode=cv2.BORDER_REFLECT)
    b[300:520, 500:760] = CAMERA_B.linear(spectra[:1], 0.0)[0]
    b = b + rng.normal(size=b.shape) * 0.006 * np.sqrt(np.maximum(b, 0) + 0.02)
    return CAMERA_A.codes(a, rng), sim.through_video(CAMERA_B.signal(b))


def footage(a, b):
    return (
        Footage("A", (Exposure(a, files=("a.dpx",)),), encoding("LogC4")),
        Footage("B", (Exposure(b, files=("b.mov",), bits=8, range="legal"),)),
    )


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
