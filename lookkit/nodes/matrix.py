"""A 3x3 matrix and an offset.

    out = matrix in + offset

Any affine change of scene-linear RGB. Negatives are carried. Invertible unless the
matrix is singular, which is refused. Source: common practice, no source.
"""

from __future__ import annotations

from typing import ClassVar, Literal

import numpy as np
from pydantic import field_validator
from pydantic_core import PydanticCustomError

from lookkit.kernel.formula import Program, affine_call
from lookkit.nodes.base import Matrix, Node, Triple, matrix_transform, param
from lookkit.spaces.working import Array, OcioTransform


class MatrixNode(Node):
    """Mix the channels linearly."""

    example: ClassVar[str] = """
        [[look]]
        kind = "matrix"
        matrix = [[0.95, 0.05, 0.0], [0.0, 1.0, 0.0], [0.0, 0.04, 0.96]]
    """

    kind: Literal["matrix"] = "matrix"
    matrix: Matrix = param(
        ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
        "three rows; rows that sum to one keep neutrals neutral",
    )
    offset: Triple = param((0.0, 0.0, 0.0), "added afterwards", unit="scene-linear")

    @field_validator("matrix")
    @classmethod
    def _invertible(cls, value: Matrix) -> Matrix:
        rows = np.array(value)
        if abs(np.linalg.det(rows)) < 1e-9 * max(np.abs(rows).max(), 1e-9) ** 3:
            raise PydanticCustomError("singular", "a singular matrix, expected an invertible one")
        return value

    def program(self) -> Program:
        """Return the matrix and the offset."""
        return (affine_call(self.matrix, self.offset),)

    def lower(self) -> list[OcioTransform]:
        """Return one matrix."""
        return [matrix_transform(np.array(self.matrix), np.array(self.offset))]

    def inverse(self, rgb: Array) -> Array:
        """Return matrix^-1 (out - offset)."""
        inverted = np.linalg.inv(np.array(self.matrix))
        return np.asarray((rgb - np.array(self.offset)) @ inverted.T)
