"""Trims that change over a shot: each frame has its own, other forms have the middle."""

import numpy as np
import pytest

from lookkit.deliver.names import codes_of
from lookkit.errors import RecipeError
from lookkit.look import loads
from lookkit.media.cluster import segments
from lookkit.media.jobs import Options, plan
from lookkit.media.run import run
from lookkit.media.stills import read_still, write_still
from lookkit.media.work import perform
from tests.media.movies import decoded, flat, write_movie

RECIPE = """
schema = 1
name = "Plain"
[cameras.A]
encoding = "ACEScct"
[scenes.dusk]
light = 5000
[[shots]]
match = "A*"
camera = "A"
scene = "dusk"
keys = [{ frame = 0, stops = 0.0 }, { frame = 4, stops = 1.0, mired = 20.0 }]
[outputs.monitor]
output = "Rec.709 BT.1886"
"""
SETTING = "dusk/A*"


def test_between_key_frames_lie_straight_lines_and_beyond_them_nothing_changes():
    (shot,) = loads(RECIPE).recipe.shots
    assert shot.key_at(1) == (0.25, 5.0)
    assert shot.key_at(9) == shot.key_at(4) == (1.0, 20.0)
    assert shot.key_at() == (0.5, 10.0)


def test_the_light_of_a_key_is_in_mired_from_the_scenes():
    balance = loads(RECIPE).at_frame(SETTING, 4).graph.trims(SETTING)[1].node
    # 20 mired warmer than 5000 K: 1e6 / (200 + 20) K.
    assert balance.kelvin == pytest.approx(1e6 / 220)
    assert balance.camera == 5000


def test_each_frame_of_a_clip_is_graded_by_its_own(tmp_path):
    write_movie(tmp_path / "A1.mkv", [flat((420, 512, 512))] * 5, tags=(1, 1, 1))
    look = loads(RECIPE)
    made = plan(look, [tmp_path / "A1.mkv"], Options())
    (done,) = run(look, made)
    assert not done.problem
    code = np.full(3, (420 - 64) / 876)
    for number, frame in enumerate(decoded(done.target)):
        exact = look.at_frame(SETTING, number).evaluate(
            code, camera="A", output="monitor", scene=SETTING
        )
        luma = int(np.frombuffer(frame.planes[0], np.uint16)[0])
        # Y' of ITU-R BT.709, and its legal codes.
        assert luma == pytest.approx(64 + 876 * exact @ [0.2126, 0.7152, 0.0722], abs=1.5)


def test_each_frame_of_a_sequence_is_graded_by_its_own(tmp_path):
    for number in range(5):
        write_still(
            tmp_path / f"A.{1001 + number}.tif", np.full((4, 4, 3), 0.41, np.float32), None, bits=16
        )
    look = loads(RECIPE)
    made = plan(look, [tmp_path], Options(into=tmp_path / "out"))
    (done,) = run(look, made)
    assert not done.problem
    paths = sorted((tmp_path / "out").rglob("*.tif"))
    assert len(paths) == 5
    for number, path in enumerate(paths):
        exact = look.at_frame(SETTING, number).evaluate(
            np.full(3, 0.41), camera="A", output="monitor", scene=SETTING
        )
        np.testing.assert_allclose(read_still(path).pixels[1, 1], exact, atol=1e-3)


def test_segments_of_a_sequence_count_from_its_own_first_frame(tmp_path, monkeypatch):
    monkeypatch.setattr("lookkit.media.cluster.SEGMENT", 2)
    grey = np.full((4, 4, 3), 0.41, np.float32)
    for number in range(5):
        write_still(tmp_path / f"A.{1001 + number}.tif", grey, None, bits=16)
    look = loads(RECIPE)
    (job,) = plan(look, [tmp_path], Options(into=tmp_path / "out")).jobs
    for part in segments(job):
        assert not perform(look, part).problem
    paths = sorted((tmp_path / "out").rglob("*.tif"))
    assert len(paths) == 5
    for number, path in enumerate(paths):
        exact = look.at_frame(SETTING, number).evaluate(
            grey[0, 0], camera="A", output="monitor", scene=SETTING
        )
        assert (
            np.abs(read_still(path).pixels[0, 0] - exact).max() < 5e-5
        )  # Two roundings to 16 bits.


def test_other_forms_hold_the_middle_and_say_so():
    look = loads(RECIPE)
    code = np.full(3, 0.41)
    middle = look.evaluate(code, camera="A", output="monitor", scene=SETTING)
    at_two = look.at_frame(SETTING, 2).evaluate(code, camera="A", output="monitor", scene=SETTING)
    np.testing.assert_array_equal(middle, at_two)
    assert codes_of(look, "A", SETTING).endswith("the middle of its key frames")


def test_key_frames_out_of_order_are_refused():
    with pytest.raises(RecipeError, match="frames out of order"):
        loads(RECIPE.replace("frame = 4", "frame = 0"))
