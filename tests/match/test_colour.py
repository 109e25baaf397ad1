"""L*a*b*, its derivative, and the local form of Delta E 2000."""

import numpy as np
import pytest

from lookkit.match.colour import difference, lab, lab_jacobian, perceived

colour = pytest.importorskip("colour", reason="colour-science is an optional extra")

SCENE = np.random.default_rng(3).uniform(0.003, 1.2, size=(60, 3))


def test_lab_and_delta_e_2000_are_colour_science_s():
    space = colour.RGB_COLOURSPACES["ACEScg"]
    xyz = SCENE @ space.matrix_RGB_to_XYZ.T
    wanted = colour.XYZ_to_Lab(xyz, space.whitepoint)
    assert lab(SCENE) == pytest.approx(wanted, abs=5e-3)
    other = SCENE * np.array([1.1, 0.95, 1.02])
    by_library = colour.delta_E(
        wanted, colour.XYZ_to_Lab(other @ space.matrix_RGB_to_XYZ.T, space.whitepoint)
    )
    assert difference(SCENE, other) == pytest.approx(by_library, abs=5e-3)


def test_the_jacobian_is_the_derivative_down_to_black_and_below():
    scene = np.concatenate([SCENE, SCENE * 0.002, -SCENE * 0.01])
    step = 1e-7
    numeric = np.stack(
        [(lab(scene + step * unit) - lab(scene - step * unit)) / (2 * step) for unit in np.eye(3)],
        axis=-1,
    )
    assert lab_jacobian(scene) == pytest.approx(numeric, rel=1e-4, abs=1e-3)


def test_small_steps_are_weighted_as_delta_e_2000_weighs_them():
    rng = np.random.default_rng(4)
    colours = lab(SCENE)
    step = rng.normal(size=colours.shape) * 0.4
    wanted = colour.delta_E(colours - 0.5 * step, colours + 0.5 * step, method="CIE 2000")
    found = np.linalg.norm(np.einsum("nij,nj->ni", perceived(colours), step), axis=1)
    assert found == pytest.approx(wanted, rel=0.05, abs=0.01)
