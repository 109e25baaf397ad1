"""Tetrahedra turned inside out."""

import numpy as np

from lookkit.accuracy.folds import orientation, turned
from lookkit.accuracy.sampling import corner_values, grid


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


def test_what_the_eye_forgives_in_the_dark_it_sees_in_the_light():
    # Source: CIE L*: a step of signal in a deep shadow of a 2.4 display is hardly a tenth as
    # visible as in the mid-tones; 40 and 190 Delta E 2000 per unit of signal stand for both.
    reference = grid(5) * 0.02
    swapped = reference[..., [1, 0, 2]]
    dark, light = (np.full((3, 64), rate**2, dtype=np.float32) for rate in (40.0, 190.0))
    for metric, seen in ((dark, False), (light, True)):
        now, before = (orientation(corner_values(one), metric) for one in (swapped, reference))
        assert turned(now, before).all() == seen
        assert turned(now, before).any() == seen
