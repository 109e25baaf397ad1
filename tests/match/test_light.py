"""Whether a match belongs to the scene's light, on frames of the scene by both cameras.

tests/benchmarks/match_light.py counts false and missed warnings on many scenes.
"""

import re

import numpy as np
import pytest

from lookkit.match.frames import Exposure, Footage
from lookkit.match.light import compare_pairs, with_scene
from lookkit.match.make import match_charts
from lookkit.spaces.encodings import encoding
from tests.match import filming as film
from tests.match import simulation as sim
from tests.match import walls

pytest.importorskip("colour", reason="the spectra come from colour-science, an optional extra")
pytest.importorskip("cv2", reason="frames are registered with opencv, of the extra 'match'")

CAMERA_A, CAMERA_B = sim.pair(sim.TYPICAL, 0)
UNDER_LAMP = sim.CameraB(sim.TYPICAL[1], sim.light("A"), 0)


def matched(camera_b):
    """A match from charts: A's in daylight, B's in its own light."""
    rng = np.random.default_rng(0)
    a = Exposure(film.frame_a(CAMERA_A, 0.0, rng), files=("a.dpx",), sha256="a")
    b = tuple(
        Exposure(film.frame_b(camera_b, stops, rng), stops, (f"b{stops:+g}.mov",), f"b{stops}", 8,
                 "legal")
        for stops in (-2.0, 0.0, 2.0)
    )  # fmt: skip
    return match_charts(
        Footage("A", (a,), encoding("LogC4"), corners=film.A_CORNERS),
        Footage("B", b, corners=film.B_CORNERS),
    )


@pytest.fixture(scope="module")
def good():
    return matched(CAMERA_B)


@pytest.fixture(scope="module")
def scene():
    """The scene in daylight, by both cameras."""
    return walls.filmed(CAMERA_A, CAMERA_B)


def only(findings):
    (found,) = (one for one in findings if one.check == "scene")
    return found


def test_the_error_on_the_scene_itself_is_told(good, scene):
    made = with_scene(good, *walls.footage(*scene))
    found = only(made.findings)
    assert found.level == "note"
    seen = made.file.lights[0].statistics.scene
    assert found.figure == pytest.approx(seen.median, abs=0.01)
    # Flat blocks of an 8-bit picture, some of them wrong pairs.
    assert 0.3 < seen.median < 1.6
    assert seen.median - seen.refitted < 0.6
    assert "half of" in found.words
    # Nothing else of the file is touched.
    assert made.file.lights[0].matrix == good.file.lights[0].matrix


def test_a_chart_under_another_light_than_the_scene_s_is_seen(scene):
    made = with_scene(matched(UNDER_LAMP), *walls.footage(*scene))
    found = only(made.findings)
    assert found.level == "warning"
    assert found.figure > 1.5
    assert "shot under a light unlike the scene's" in found.words
    assert found.words in made.file.lights[0].statistics.warnings


def test_wrong_pairs_do_not_make_another_light():
    rng = np.random.default_rng(3)
    target = rng.uniform(0.02, 0.8, size=(120, 3))
    landed = target * 1.4 * 2.0 ** rng.normal(0.0, 0.01, size=(120, 3))
    landed[:30] = rng.uniform(0.02, 0.8, size=(30, 3))
    compared = compare_pairs(landed, target)
    assert not compared.other_light
    assert compared.median < 1.0
    warm = compare_pairs(landed * [1.3, 1.0, 0.75] @ (np.eye(3) + 0.05), target)
    assert warm.other_light


@pytest.mark.parametrize(
    ("picture", "words"),
    [
        (np.full((walls.HEIGHT, walls.WIDTH, 3), 0.0627), "of camera B is black"),
        (np.full((walls.HEIGHT, walls.WIDTH, 3), 0.4), "of camera B is flat"),
        (
            np.kron(np.random.default_rng(9).uniform(0.2, 0.7, (18, 32, 3)), np.ones((40, 40, 1))),
            "could not be registered|too few even areas",
        ),
    ],
)  # fmt: skip
def test_frames_that_prove_nothing_say_so(good, scene, picture, words):
    made = with_scene(good, *walls.footage(scene[0], picture))
    found = only(made.findings)
    assert found.level == "warning"
    assert "prove nothing about its light" in found.words
    assert re.search(words, found.words)
    assert made.file.lights[0].statistics.scene is None
