"""Readers against OpenColorIO and colour-science."""

import numpy as np
import PyOpenColorIO as ocio
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.accuracy.interpolate import READERS, interpolate, tetrahedral, trilinear

OCIO_READER = {"tetrahedral": ocio.INTERP_TETRAHEDRAL, "trilinear": ocio.INTERP_LINEAR}


def random_lattice(size, seed=0):
    # Rounded to float32, which is what OpenColorIO holds.
    values = np.random.default_rng(seed).random((size, size, size, 3))
    return values.astype(np.float32).astype(np.float64)


def codes(count=20000):
    """Random codes, beyond the range too, and codes on edges, faces and diagonals."""
    rng = np.random.default_rng(1)
    special = np.array(np.meshgrid(*[[0.0, 0.25, 0.5, 1.0]] * 3)).reshape(3, -1).T
    grey = np.repeat(np.linspace(0.0, 1.0, 65)[:, None], 3, axis=1)
    code = np.concatenate([rng.uniform(-0.1, 1.1, (count, 3)), special, grey])
    return code.astype(np.float32).astype(np.float64)


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("size", [2, 5, 17, 33])
def test_a_reader_agrees_with_opencolorio(reader, size):
    # Source: OpenColorIO's Lut3DTransform, lossless CPU. Sizes of 2^n + 1, where its
    # float32 scaling of the code is exact.
    lattice, code = random_lattice(size), codes()
    transform = ocio.Lut3DTransform(size, interpolation=OCIO_READER[reader])
    transform.setData(lattice.astype(np.float32).ravel())
    cpu = (
        ocio.Config.CreateRaw()
        .getProcessor(transform)
        .getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
    )
    buffer = code.astype(np.float32).reshape(1, -1, 3)
    cpu.apply(ocio.PackedImageDesc(buffer, len(code), 1, 3))
    assert np.abs(interpolate(lattice, code, reader) - buffer[0]).max() <= 1e-6


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("size", [2, 6, 33])
def test_a_reader_agrees_with_colour_science(reader, size):
    # Source: colour-science 0.4, table_interpolation_*.
    colour = pytest.importorskip("colour")
    other = {
        "tetrahedral": colour.algebra.table_interpolation_tetrahedral,
        "trilinear": colour.algebra.table_interpolation_trilinear,
    }[reader]
    lattice, code = random_lattice(size), np.clip(codes(4000), 0.0, 1.0)
    assert np.abs(interpolate(lattice, code, reader) - other(code, lattice)).max() <= 1e-6


@pytest.mark.parametrize("reader", READERS)
def test_codes_outside_the_range_are_clamped_and_nan_is_zero(reader):
    # As OpenColorIO 2.6 does, measured: NaN becomes 0 in LUTs.
    lattice = random_lattice(4)
    code = np.array([[-1.0, 2.0, np.nan], [np.inf, -np.inf, 0.5]])
    clean = np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.5]])
    np.testing.assert_array_equal(
        interpolate(lattice, code, reader), interpolate(lattice, clean, reader)
    )


@pytest.mark.parametrize("reader", READERS)
@given(seed=st.integers(0, 1000), size=st.integers(2, 9))
def test_a_lattice_of_a_linear_graph_is_exact_everywhere(reader, seed, size):
    rng = np.random.default_rng(seed)
    matrix, offset = rng.normal(size=(3, 3)), rng.normal(size=3)
    axis = np.linspace(0.0, 1.0, size)
    grid = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
    code = rng.random((50, 3))
    found = interpolate(grid @ matrix.T + offset, code, reader)
    np.testing.assert_allclose(found, code @ matrix.T + offset, atol=1e-12)


@pytest.mark.parametrize("shape", [(3,), (2, 3), (2, 5, 3), (0, 3)])
def test_any_shape_of_pixels_comes_back(shape):
    for read in (tetrahedral, trilinear):
        assert read(random_lattice(3), np.zeros(shape)).shape == shape


@pytest.mark.parametrize("shape", [(3, 3, 3), (2, 3, 3, 3), (1, 1, 1, 3), (3, 3, 3, 4)])
def test_what_is_no_lattice_is_refused(shape):
    with pytest.raises(ValueError, match="expected a lattice"):
        tetrahedral(np.zeros(shape), np.zeros((1, 3)))
