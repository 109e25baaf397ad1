"""A slice of the benchmark: two framings of the kiln room with true parallax and a walker."""

import pytest

pytest.importorskip("cv2")
pytest.importorskip("colour")

from lookkit.balance.pair import compare
from tests.balance import simulation as sim

WIDTH = 320


@pytest.fixture(scope="module")
def framings():
    found = {one: sim.rendered("kiln", one, WIDTH) for one in ("hero", "side")}
    found["flats"] = sim.rendered("flats", "hero", WIDTH)
    return found


def test_a_shot_from_another_place_agrees_with_its_hero(framings):
    hero = sim.take(framings["hero"], "kiln", "A", 0.0, 0.0, 1)
    shot = sim.take(framings["side"], "kiln", "A", 1.1, 700.0, 2, framings["flats"])
    pair = compare(hero.view, shot.view)
    assert pair.refusal == ""
    # The promises of the benchmark are means over many shots; one shot keeps to their 95 %.
    assert abs(float((pair.gain - shot.best).mean())) < 0.10
    before, _ = sim.delta(shot.light, shot.truth, shot.seen)
    after, worst = sim.delta(sim.trimmed(shot.light, pair.gain), shot.truth, shot.seen)
    assert before > 5
    assert after < 1.6
    assert worst < 4.0


def test_another_scene_gets_nothing(framings):
    hero = sim.take(framings["hero"], "kiln", "A", 0.0, 0.0, 1)
    shot = sim.take(framings["flats"], "flats", "A", 0.5, 0.0, 3)
    pair = compare(hero.view, shot.view)
    assert pair is None or pair.refusal
