"""LUTs made for the tests of inspection, written and read like any other."""

from pathlib import Path

import numpy as np

from lookkit.accuracy.sampling import grid
from lookkit.inspect.function import Function
from lookkit.lutfile.cube import write_cube
from lookkit.lutfile.model import Curve, Lattice
from lookkit.spaces.working import Array


def function(lattice: Array) -> Function:
    """A lattice over 0-1 as a function."""
    low, high = np.zeros(3), np.ones(3)
    return Function((Lattice(lattice, low, high),), None, low, high)


def curves(table: Array) -> Function:
    """Curves over 0-1 as a function; the rows are evenly spaced inputs."""
    low, high = np.zeros(3), np.ones(3)
    return Function((Curve(table, low, high),), None, low, high)


def written(path: Path, lattice: Array, title: str = "made for a test") -> Path:
    write_cube(path, lattice, title=title, comments=[])
    return path


def contrast(size: int = 17) -> Array:
    """A mild display look: more contrast, a little less saturation, neutral greys."""
    x = grid(size)
    curved = x**1.2 / (x**1.2 + (1 - x) ** 1.2)
    return 0.9 * curved + 0.1 * curved.mean(axis=-1, keepdims=True)
