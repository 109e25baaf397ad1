"""Light that changes inside a shot is told from .03 stop, and can be followed."""

import numpy as np
import pytest

pytest.importorskip("cv2")

from lookkit.balance import Wanted, balance
from lookkit.balance.drift import TOLD
from lookkit.balance.write import write_trims
from lookkit.look import load
from tests.balance.film import RECIPE, framed, shoot, wall

WALL = wall(1)


@pytest.fixture
def film(tmp_path):
    (tmp_path / "film.toml").write_text(RECIPE)
    return tmp_path


def sequence(folder, stops, walking=False):
    draw = np.random.default_rng(3)
    for number, one in enumerate(stops):
        light = framed(WALL, 600, 350)
        light = light * (1 + 0.02 * draw.standard_normal(light.shape, dtype=np.float32))
        light *= np.float32(2.0**one)
        if walking:
            light[80:, 30 * number : 30 * number + 90] = 0.04
        shoot(folder, f"A1.{1001 + number}.tif", light)


def test_a_cloud_is_told_and_followed_by_key_frames(film):
    sequence(film, np.linspace(0.0, 0.5, 9), walking=True)
    made = balance(load(film / "film.toml"), [film])
    drift = made.shots[0].drift
    assert drift.stops == pytest.approx(0.5, abs=0.02)
    write_trims(film / "film.toml", made, follow=True)
    look = load(film / "film.toml")
    (keys,) = [shot.keys for shot in look.recipe.shots if shot.keys]
    # Each frame is brought to the middle one: a quarter stop up at the start, down at the end.
    np.testing.assert_allclose([keys[0].stops, keys[-1].stops], [0.25, -0.25], atol=0.02)
    assert [key.frame for key in keys] == list(range(9))
    again = balance(look, [film])
    assert write_trims(film / "film.toml", again, follow=True) == 0


def test_a_steady_shot_with_people_in_it_does_not_drift(film):
    sequence(film, np.zeros(5), walking=True)
    (shot,) = balance(load(film / "film.toml"), [film]).shots
    assert shot.drift is None


def test_a_drift_of_less_than_a_thirtieth_stop_is_not_told(film):
    sequence(film, np.linspace(0.0, TOLD - 0.01, 5))
    assert balance(load(film / "film.toml"), [film]).shots[0].drift is None


def test_a_camera_that_moves_is_not_taken_for_light_that_does(film):
    for number in range(5):
        shoot(film, f"A1.{1001 + number}.tif", framed(WALL, 500 + 60 * number, 350))
    assert balance(load(film / "film.toml"), [film]).shots[0].drift is None


def test_no_one_looks_inside_shots_unasked(film):
    sequence(film, np.linspace(0.0, 0.5, 5))
    made = balance(load(film / "film.toml"), [film], wanted=Wanted(drifts=False))
    assert made.shots[0].drift is None
