"""Facts of a LUT's shape, on lattices whose shape is known by construction."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lookkit.accuracy.sampling import grid
from lookkit.inspect.shape import shape_of
from tests.inspect.luts import contrast, curves, function


def test_the_identity_changes_nothing_and_can_be_undone():
    shape = shape_of(function(grid(9)))
    assert shape.identity
    assert shape.per_channel
    assert shape.invertible == "yes"
    assert shape.ramp.reversals == ()
    assert shape.ramp.tint == 0
    assert (shape.ramp.flat_low, shape.ramp.flat_high) == (0, 1)
    assert shape.ramp.steepest == pytest.approx(1)
    assert shape.solid.folded == shape.solid.flat == 0
    assert shape.solid.volume == pytest.approx(1)
    assert shape.solid.scallop == pytest.approx(0)
    assert shape.solid.clipped_low == (0, 0, 0)


@given(arrays(np.float64, (3, 3), elements=st.floats(-0.5, 1.0)))
def test_the_volume_of_a_matrix_is_its_determinant(matrix):
    # Linear algebra: a linear map scales every volume by |det|.
    shape = shape_of(function(grid(4) @ matrix.T))
    assert shape.solid.volume == pytest.approx(abs(np.linalg.det(matrix)), abs=1e-9)


def test_a_matrix_is_no_separate_curves_and_a_power_is():
    mixed = grid(9) @ np.array([[0.8, 0.1, 0.1], [0.1, 0.8, 0.1], [0.1, 0.1, 0.8]])
    assert not shape_of(function(mixed)).per_channel
    assert shape_of(function(grid(9) ** 1.3)).per_channel


def test_a_fall_on_the_grey_ramp_is_found_where_it_is():
    lattice = grid(17)
    lattice[..., 1] = np.interp(lattice[..., 1], [0, 0.5, 0.75, 1], [0, 0.6, 0.4, 1])
    shape = shape_of(function(lattice))
    (turn,) = shape.ramp.reversals
    assert turn.channel == "green"
    assert turn.depth == pytest.approx(0.2, abs=1e-3)
    assert turn.start == pytest.approx(0.5, abs=2e-3)
    assert turn.end == pytest.approx(0.75, abs=2e-3)
    assert shape.invertible == "no"
    # A quarter of the green axis runs backwards: so does a quarter of the cube.
    assert shape.solid.folded == pytest.approx(0.25)


def test_a_fold_away_from_grey_is_found_though_the_ramp_is_fine():
    lattice = grid(9)
    lattice[7, 1, 1] = lattice[5, 1, 1]
    shape = shape_of(function(lattice))
    assert shape.ramp.reversals == ()
    assert shape.solid.folded > 0
    assert np.abs(np.array(shape.solid.folded_at) - [0.8125, 0.125, 0.125]).max() < 0.13
    assert shape.invertible == "no"


def test_swapped_axes_are_told_from_folds():
    swapped = shape_of(function(grid(9)[..., ::-1])).solid
    assert swapped.swapped_axes
    assert swapped.mirrored
    assert swapped.folded == 0
    turned = shape_of(function(grid(9)[..., [1, 2, 0]])).solid
    assert not turned.mirrored


def test_clipping_is_found_on_the_ramp_and_in_the_cube():
    shape = shape_of(function(np.clip(grid(33) * 1.25 - 0.125, 0, 1)))
    # 0.125/1.25 and 1.125/1.25 lie between points: the ramp clips up to the point before.
    assert shape.ramp.flat_low == pytest.approx(0.1, abs=1 / 32)
    assert shape.ramp.flat_high == pytest.approx(0.9, abs=1 / 32)
    assert shape.invertible == "except where it clips"
    # 4 of 33 points of each axis are at 0, of which one always is.
    assert shape.solid.clipped_low == pytest.approx([3 / 33] * 3)
    assert shape.solid.folded == 0


def test_tint_is_measured_between_channels():
    lattice = grid(17)
    lattice[..., 2] = lattice[..., 2] + 0.1 * np.sin(np.pi * lattice[..., 2])
    shape = shape_of(function(lattice))
    assert shape.ramp.tint == pytest.approx(0.1, abs=1e-3)
    assert shape.ramp.tint_at == pytest.approx(0.5, abs=2e-3)


@pytest.mark.parametrize("bits", [8, 10, 12])
def test_rounding_of_the_values_is_found(bits):
    top = 2**bits - 1
    assert shape_of(function(np.round(contrast() * top) / top)).rounded_bits == bits
    assert shape_of(function(contrast())).rounded_bits is None


def test_stairs_are_counted():
    axis = np.repeat(np.linspace(0, 1, 11), 8)[:65]
    lattice = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
    # Eight points alike span seven steps of 16 ten-bit codes.
    assert shape_of(function(lattice)).ramp.longest_flat == pytest.approx(7 * 16, abs=2)


def test_scallop_is_how_far_straight_lines_miss_the_curve():
    # Calculus: between points h apart a parabola departs from its chord by h^2/8 x curvature.
    shape = shape_of(function(grid(9) ** 2))
    assert shape.solid.scallop == pytest.approx(2 * (1 / 8) ** 2 / 8 * 1023)


def test_values_beyond_the_range_are_counted():
    lattice = grid(5)
    lattice[0, 0, 0, 0] = -0.2
    lattice[4, 4, :2, 1] = 1.5
    solid = shape_of(function(lattice)).solid
    assert solid.below == pytest.approx(1 / 125)
    assert solid.above == pytest.approx(2 / 125)


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_lattice_that_is_not_finite_has_no_shape(value):
    lattice = grid(5)
    lattice[1, 2, 3, 0] = value
    assert shape_of(function(lattice)) is None


@pytest.mark.parametrize(
    ("rows", "invertible"),
    [
        ([0, 0.2, 1], "yes"),
        ([0, 0, 0.5, 1], "except where it clips"),
        ([0, 0.6, 0.4, 1], "no"),
        ([0, 0.5, 0.5, 1], "no"),
    ],
)
def test_a_curve_is_judged_by_its_ramp(rows, invertible):
    shape = shape_of(curves(np.repeat(np.array(rows, float)[:, None], 3, axis=1)))
    assert shape.invertible == invertible
    assert shape.solid is None
    assert shape.per_channel


def test_what_leaves_greys_or_one_colour_is_named_for_it():
    lattice = grid(9)
    grey = shape_of(function(np.repeat(lattice.mean(axis=-1, keepdims=True), 3, axis=-1)))
    assert (grey.gives, grey.invertible) == ("greys", "no")
    one = shape_of(function(np.full_like(lattice, 0.4)))
    assert (one.gives, one.invertible) == ("one colour", "no")
    assert shape_of(curves(np.full((4, 3), 0.4))).gives == "one colour"
    assert shape_of(function(lattice)).gives == "colours"
