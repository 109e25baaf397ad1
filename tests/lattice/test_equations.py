"""The least-squares solver against a dense one."""

from itertools import product

import numpy as np
import pytest

from lookkit.accuracy.sampling import CORNERS, corner_weights
from lookkit.kernel import engine
from lookkit.lattice import equations as solver
from lookkit.lattice.equations import EDGES, PAIRS, Equations

SIZE = 4
CELLS = (SIZE - 1) ** 3


@pytest.fixture(autouse=True, params=["compiled", "numpy"])
def engine_used(request, monkeypatch):
    """Every claim is held by both: the compiled solver and numpy's."""
    if request.param == "numpy":
        monkeypatch.setattr(solver, "_library", lambda: None)
    elif engine.name() != "compiled":
        pytest.skip("no compiled kernels here: python -m lookkit.kernel.build")


def problem(seed=0):
    """Random samples in every cell, as sums for the solver and as dense rows."""
    rng = np.random.default_rng(seed)
    places = rng.random((12, 3))
    share = corner_weights(places, "tetrahedral")
    weight = rng.random((12, CELLS)).astype(np.float32)
    missing = rng.normal(size=(12, 3, CELLS)).astype(np.float32)
    metric = rng.uniform(0.5, 2.0, (3, CELLS)).astype(np.float32)
    pairs = np.stack([share[:, a] * share[:, b] for a, b in PAIRS]) @ weight
    aims = np.einsum("pa,pcn->acn", share, weight[:, None] * missing)
    return share, weight, missing, metric, pairs, aims


def dense(channel):
    share, weight, missing, metric, _, _ = problem()
    matrix, right = np.zeros((SIZE**3, SIZE**3)), np.zeros(SIZE**3)
    for cell, low in enumerate(product(range(SIZE - 1), repeat=3)):
        index = [((low[0] + i) * SIZE + low[1] + j) * SIZE + low[2] + k for i, j, k in CORNERS]
        scale = weight[:, cell] * metric[channel, cell]
        matrix[np.ix_(index, index)] += share.T @ (scale[:, None] * share)
        np.add.at(right, index, share.T @ (scale * missing[:, channel, cell]))
    matrix[np.diag_indices_from(matrix)] *= 1.001
    return matrix, right


def solved(low, high):
    _, _, _, metric, pairs, aims = problem()
    limits = [np.full(SIZE**3, value, dtype=np.float32) for value in (low, high)]
    start = np.zeros(SIZE**3, dtype=np.float32)
    change = []
    for channel in range(3):
        equations = Equations(SIZE)
        equations.add(
            (pairs * metric[channel]).astype(np.float32),
            (aims[:, channel] * metric[channel]).astype(np.float32),
        )
        change.append(equations.solve(*limits, start, iterations=400))
    return np.stack(change)


def test_the_solution_is_that_of_the_dense_normal_equations():
    change = solved(-1e6, 1e6)
    for channel in range(3):
        matrix, right = dense(channel)
        wanted = np.linalg.solve(matrix, right)
        residual = matrix @ change[channel] - right
        assert np.linalg.norm(residual) < 0.02 * np.linalg.norm(right)
        assert np.abs(change[channel] - wanted).max() < 0.1 * np.abs(wanted).max()


def test_bounds_are_kept_and_the_rest_makes_up_for_them():
    bounded, clipped = solved(-0.1, 0.1), np.clip(solved(-1e6, 1e6), -0.1, 0.1)
    assert np.abs(bounded).max() <= 0.1 + 1e-7
    for channel in range(3):
        matrix, right = dense(channel)

        def cost(x, matrix=matrix, right=right):
            return 0.5 * x @ matrix @ x - right @ x

        assert cost(bounded[channel]) < cost(clipped[channel])


def test_equal_bounds_fix_values():
    assert np.abs(solved(0.0, 0.0)).max() == 0.0


def test_stiff_edges_change_at_both_ends_alike():
    _, _, _, metric, pairs, aims = problem()
    equations = Equations(SIZE)
    equations.add((pairs * metric[0]).astype(np.float32), aims[:, 0].astype(np.float32))
    equations.stiffen(np.full((len(EDGES), CELLS), 1e3, dtype=np.float32))
    limits = [np.full(SIZE**3, value, dtype=np.float32) for value in (-1e6, 1e6)]
    change = equations.solve(*limits, np.zeros(SIZE**3, dtype=np.float32), iterations=400)
    alone = solved(-1e6, 1e6)[0]
    assert np.abs(change).max() > 0.0
    assert np.ptp(change) < 0.1 * np.abs(change).max()
    assert np.ptp(alone) > np.abs(alone).max()


def test_the_result_is_that_of_numpy_to_the_last_digits(monkeypatch):
    rng = np.random.default_rng(5)
    size, cells = 17, 16**3
    share = rng.random((8, cells), dtype=np.float32)
    equations = Equations(size)
    equations.add(
        np.stack([share[a] * share[b] for a, b in PAIRS]),
        rng.standard_normal((8, cells)).astype(np.float32),
    )
    high = np.full(size**3, 0.5, dtype=np.float32)
    high[::7] = 0.0
    start = np.zeros(size**3, dtype=np.float32)
    found = equations.solve(-high, high, start)
    monkeypatch.setattr(solver, "_library", lambda: None)
    np.testing.assert_allclose(found, equations.solve(-high, high, start), atol=1e-5)
