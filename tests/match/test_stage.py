"""The colour stage: its derivatives, its mixing, and the numbers that were learnt."""

import numpy as np
import pytest

from lookkit.match import stage
from lookkit.match.colour import difference, lab, perceived
from lookkit.match.stage import ColourStage, Mixing

RNG = np.random.default_rng(0)
SCENE = RNG.uniform(0.02, 0.9, size=(24, 3))
ALL = np.ones(24, dtype=bool)


def asked_for(made: ColourStage, keep=ALL):
    goal = lab(made(SCENE))
    return ColourStage.of(stage.own_change(SCENE, goal, perceived(goal), keep))


def test_a_stage_that_made_the_chart_is_found_again():
    change = np.concatenate([RNG.normal(size=(3, 3)) * 0.03, RNG.normal(size=(3, 3)) * 0.04], 1)
    made = ColourStage.of(change)
    found = asked_for(made)
    # The pull towards nothing costs a little.
    assert difference(found(SCENE), made(SCENE)).mean() < 0.15
    assert difference(SCENE, made(SCENE)).mean() > 1.0


def test_patches_that_do_not_count_have_no_say():
    goal, keep = lab(SCENE), ALL.copy()
    keep[5] = False
    goal[5] += 40.0
    assert stage.own_change(SCENE, goal, perceived(goal), keep) == pytest.approx(0.0, abs=1e-9)
    assert stage.chart_residuals(SCENE, goal, perceived(goal), keep) == pytest.approx(0.0)


def test_residuals_are_bounded_so_that_one_bad_patch_cannot_lead():
    goal = lab(SCENE)
    goal[3] += [30.0, -40.0, 20.0]
    found = stage.chart_residuals(SCENE, goal, perceived(goal), ALL).reshape(24, 3)
    assert np.linalg.norm(found[3]) == pytest.approx(stage.LIMIT)


def test_neutrals_are_left_alone_by_roots_and_exposure_goes_through():
    made = ColourStage.of(np.concatenate([np.zeros((3, 3)), RNG.normal(size=(3, 3))], 1))
    greys = np.full((4, 3), [[0.01], [0.18], [0.9], [4.0]])
    assert made(greys) == pytest.approx(greys)
    assert made(8.0 * SCENE) == pytest.approx(8.0 * made(SCENE))


def test_the_share_of_what_is_learnt_falls_with_unlikeness():
    mixing = Mixing(0.6, 2.0, 1.0)
    assert mixing.share(0.3) == mixing.share(1.0) == 0.6
    assert mixing.share(2.0) == pytest.approx(0.15)
    ones = np.ones((3, 6))
    assert Mixing(0.6, 2.0, 1.0, 0.8).mixed(2.0, ones, 2.0 * ones) == pytest.approx(
        0.15 + 0.8 * 0.85 * 2.0
    )


def test_the_numbers_that_were_learnt_have_their_shape_and_say_their_source():
    held = stage.prior()
    assert held.axes.shape == (24, 72)
    assert held.change.shape == (25, 18)
    assert held.axes @ held.axes.T == pytest.approx(np.eye(24), abs=2e-3)
    assert held.unlikeness(held.centre) == 0.0
    assert "Apache License 2.0" in stage.source()
    assert np.abs(held.stage(held.centre).change).max() < 0.3
