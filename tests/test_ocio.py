"""Processors do what their transforms say, whatever was made before them."""

import numpy as np
import PyOpenColorIO as ocio
import pytest

from lookkit.ocio import Processor, lattice_transform

MIDDLE = np.full(3, 0.5)


def curve(values):
    table = ocio.Lut1DTransform(len(values), False)
    table.setData(np.repeat(np.array(values)[:, None], 3, axis=1).astype(np.float32).ravel())
    return table


def lattice(middle):
    steps = np.linspace(0.0, 1.0, 3)
    points = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
    points[1, 1, 1] = middle
    return lattice_transform(points)


@pytest.mark.parametrize("table", [lambda m: curve([0.0, m, 1.0]), lattice])
def test_tables_of_one_size_and_range_are_not_taken_for_each_other(table):
    """OpenColorIO's own cache of processors tells tables apart by size and ends only."""
    for middle in (0.5, 0.8, 0.2):
        np.testing.assert_allclose(Processor([table(middle)]).apply(MIDDLE), middle, atol=1e-6)
