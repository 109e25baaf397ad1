"""Tetrahedra turned inside out."""

import numpy as np

from lookkit.lattice.folds import orientation, turned
from lookkit.lattice.sampling import corner_values, grid


def upright(lattice):
    return orientation(corner_values(lattice))


def test_the_identity_is_upright_everywhere():
    np.testing.assert_allclose(upright(grid(4)), 1.0, atol=1e-5)


def test_swapping_two_channels_turns_everything():
    assert (upright(grid(4)[..., [1, 0, 2]]) < 0.0).all()


def test_a_flat_lattice_has_no_orientation():
    flat = np.repeat(grid(4)[..., :1], 3, axis=-1)
    assert np.abs(upright(flat)).max() < 1e-5


def test_a_point_pushed_past_its_neighbour_folds_the_cells_around_it():
    reference, pushed = grid(5), grid(5)
    pushed[2, 2, 2, 0] += 0.4
    found = turned(upright(pushed), upright(reference)).reshape(4, 4, 4)
    assert found[2, 1:3, 1:3].any()
    found[1:3, 1:3, 1:3] = False
    assert not found.any()


def test_shifts_of_less_than_four_codes_do_not_count():
    reference = grid(5) * 0.002
    assert not turned(upright(reference[::-1]), upright(reference)).any()
