"""The least-squares problem: its derivative, and that it finds what made the data."""

import numpy as np
import pytest

from lookkit.match import charts, solve
from lookkit.match.solve import Problem, Solution
from lookkit.matchfile.camera_curve import bt709_decode
from lookkit.matchfile.curve import RisingCurve
from lookkit.matchfile.roots import root_terms

KNOTS = bt709_decode(np.linspace(0.0, 1.09, 15))


def made_up(seed: int) -> tuple[Problem, Solution]:
    rng = np.random.default_rng(seed)
    target = rng.uniform(0.02, 0.9, size=(24, 3))
    stops = np.array([-2.0, 0.0, 1.0])
    shot = np.repeat(np.arange(3), 24)
    matrix = np.eye(3) * 1.1 + rng.normal(size=(3, 3)) * 0.05
    curve = RisingCurve(KNOTS, 0.2 * np.sin(np.arange(15)))
    light = np.tile(target @ np.linalg.inv(matrix).T, (3, 1)) * 2.0 ** stops[shot][:, None]
    problem = Problem(
        curve.inverse(light),
        stops,
        shot,
        np.tile(target, (3, 1)),
        np.ones(72, dtype=bool),
        np.tile(charts.centres() - 0.5, (3, 1)),
    )
    return problem, Solution(curve, matrix, np.zeros(3), np.zeros(3), np.zeros(2))


def test_the_jacobian_is_the_derivative():
    problem, truth = made_up(0)
    rng = np.random.default_rng(5)
    vector = solve._pack(truth, problem)
    vector = vector + rng.normal(size=vector.shape) * 0.03
    goal = solve.lab(problem.target)
    weights = solve.perceived(goal)

    def both(at):
        return solve._residuals(problem, solve._unpack(at, truth, problem), goal, weights, True)

    step = 1e-7
    numeric = np.stack(
        [
            (both(vector + step * unit)[0] - both(vector - step * unit)[0]) / (2.0 * step)
            for unit in np.eye(len(vector))
        ],
        axis=-1,
    )
    assert both(vector)[1] == pytest.approx(numeric, rel=1e-4, abs=2e-3)


def test_a_curve_and_matrix_are_found_again():
    problem, truth = made_up(1)
    found = solve.solve(problem, solve.start(problem, KNOTS))
    assert solve.errors(problem, found).max() < 0.3
    assert np.abs(found.exposure_errors).max() < 0.01
    assert np.abs(found.flare).max() < 2e-3
    # Scale is shared between curve and matrix, so it is their product that is compared.
    light = np.linspace(0.05, 0.9, 20)[:, None] * np.ones(3)
    assert found.scene(light) == pytest.approx(truth.scene(light), rel=0.02)


def test_root_terms_vanish_on_neutrals_and_follow_exposure():
    # Finlayson, Mackiewicz, Hurlbert (2015): root-polynomial terms scale with exposure.
    rng = np.random.default_rng(2)
    colours = rng.uniform(0.0, 1.0, size=(20, 3))
    assert root_terms(np.full((4, 3), 0.37)) == pytest.approx(0.0, abs=1e-15)
    assert root_terms(8.0 * colours) == pytest.approx(8.0 * root_terms(colours))
    assert np.isfinite(root_terms(-colours)).all()
