"""Finding the chart in drawn pictures and in real photographs."""

import builtins

import numpy as np
import pytest

from lookkit.errors import InputError, LookkitError
from lookkit.match.find import find_chart, from_corners
from lookkit.match.frames import read_exposure
from tests.match import scenes

pytest.importorskip("colour_checker_detection", reason="finding needs the optional extra 'match'")


def drawn(**how):
    """A scene that is not left to chance."""
    given = {"tilt": 0.08, "mirrored": False, "log": False, "stops": -0.5} | how
    return scenes.scene_with(np.random.default_rng(7), 720, 1280, **given)


@pytest.mark.parametrize("seed", range(3))
def test_the_chart_is_found_anywhere_within_six_pixels(seed):
    # Sixty such scenes run in tests/benchmarks/match_finding.py; there 60 of 60 are found.
    scene = scenes.random_scene(seed)
    chart = find_chart(scene.picture)
    assert np.linalg.norm(chart.corners - scene.corners, axis=1).max() < 6.0


@pytest.mark.parametrize("how", [{"mirrored": True}, {"log": True, "stops": -2.0}])
def test_a_mirrored_and_a_dark_flat_log_picture_are_read_the_right_way_round(how):
    scene = drawn(**how)
    before, options = scene.picture.copy(), np.get_printoptions()
    chart = find_chart(scene.picture)
    assert np.linalg.norm(chart.corners - scene.corners, axis=1).max() < 6.0
    assert chart.mirrored == how.get("mirrored", False)
    # The library changes numpy's settings when it is imported; that must not leak.
    assert np.array_equal(before, scene.picture)
    assert np.get_printoptions() == options


def test_nothing_is_found_in_a_grid_of_other_colours():
    # Twenty such pictures run in tests/benchmarks/match_finding.py, without one false find.
    rng = np.random.default_rng(0)
    draw = scenes.squares_but_no_chart
    with pytest.raises(InputError, match=r"no chart found.*four corners"):
        find_chart(draw(rng, 720, 1280) ** 0.45)


def test_half_a_chart_is_called_that():
    scene = drawn(tilt=0.02)
    x = int(scene.corners.mean(axis=0)[0])
    with pytest.raises(InputError, match="only a part of the chart"):
        find_chart(scene.picture[:, x - 20 :])


def test_two_charts_are_refused_and_a_crop_chooses_one():
    scene = drawn(tilt=0.02)
    both = np.concatenate([scene.picture, scene.picture], axis=1)
    with pytest.raises(InputError, match="2 charts in one picture: give a crop"):
        find_chart(both)
    chart = find_chart(both, crop=(1280, 0, 1280, 720))
    assert np.linalg.norm(chart.corners - scene.corners - [1280, 0], axis=1).max() < 6.0


def test_a_crop_outside_of_the_picture_is_refused():
    with pytest.raises(InputError, match="crop 0,0,5000,10: expected"):
        find_chart(drawn().picture, crop=(0, 0, 5000, 10))


def test_black_frames_are_called_that():
    with pytest.raises(InputError, match="one flat colour"):
        find_chart(np.zeros((100, 200, 3)))


def test_given_corners_may_begin_anywhere_and_be_clicked_roughly():
    scene = drawn()
    rng = np.random.default_rng(2)
    size = np.linalg.norm(scene.corners[1] - scene.corners[0])
    for turn in range(4):
        clicked = np.roll(scene.corners, turn, axis=0) + rng.uniform(-1, 1, (4, 2)) * size * 0.02
        chart = from_corners(scene.picture, clicked)
        assert np.linalg.norm(chart.corners - scene.corners, axis=1).max() < size * 0.04
        assert chart.turned == (turn != 0)


@pytest.mark.parametrize(
    ("corners", "words"),
    [
        ([[0, 0], [10, 0], [10, 10]], "expected four pairs"),
        ([[0, 0], [600, 600], [600, 0], [0, 600]], "cross or fold"),
        ([[0, 0], [9, 0], [9, 9], [0, 9]], "smaller than 24 x 24"),
        ([[900, 500], [1900, 500], [1900, 1200], [900, 1200]], "of 24 patches would lie in"),
        ([[3, 3], [300, 3], [300, 200], [3, 200]], "is not the chart"),
    ],
)
def test_wrong_corners_are_refused_in_words(corners, words):
    with pytest.raises(InputError, match=words):
        from_corners(drawn().picture, corners)


def test_without_the_extra_the_message_says_what_to_install(monkeypatch):
    real = builtins.__import__

    def missing(name, *rest):
        if name.startswith("colour_checker_detection"):
            raise ImportError(name)
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", missing)
    with pytest.raises(LookkitError, match=r"lookkit\[match\].*four corners"):
        find_chart(np.random.default_rng(0).uniform(size=(40, 60, 3)))


REAL = {
    # Corners measured by eye on the photographs, dark skin, bluish green, black, white.
    "chart/camera_a.png": [[243, 157], [241, 282], [159, 281], [161, 156]],
    "chart/camera_b.png": [[243, 161], [241, 286], [159, 285], [161, 160]],
    "chart/classic_studio.png": [[250, 33], [246, 353], [45, 354], [33, 35]],
    "chart/nano_24.jpeg": [[49, 114], [358, 114], [357, 288], [49, 289]],
    "exr/Carrots.exr": [[281, 272], [265, 102], [377, 90], [393, 263]],
}


@pytest.mark.parametrize("name", REAL)
def test_real_charts_are_found_and_read_the_right_way_round(name, shared_data):
    chart = find_chart(read_exposure([shared_data / name]).picture)
    assert np.linalg.norm(chart.corners - np.array(REAL[name]), axis=1).max() < 4.0
    assert not chart.mirrored


@pytest.mark.parametrize(
    ("name", "refusal", "corners"),
    [
        (
            "chart/cropped_chart.png",
            "only a part of the chart",
            [[273, 149], [270, 386], [116, 385], [118, 148]],
        ),
        (
            "chart/field_tilted_edge.jpg",
            "no chart found",
            [[158, 249], [314, 255], [312, 362], [152, 356]],
        ),
    ],
)
def test_real_charts_that_defeat_the_search_are_refused_and_solved_with_corners(
    name, refusal, corners, shared_data
):
    picture = read_exposure([shared_data / name]).picture
    with pytest.raises(InputError, match=refusal):
        find_chart(picture)
    chart = from_corners(picture, corners)
    assert not chart.turned
    assert np.allclose(chart.corners, corners, atol=0.01)
