"""The bounded way: pictures graded through a lattice, no pixel off by more than a code."""

from lookkit.bounded.lattice import Affine, Grade, Lattice, Planes, available
from lookkit.bounded.pictures import grade_packed, grade_planes

__all__ = ["Affine", "Grade", "Lattice", "Planes", "available", "grade_packed", "grade_planes"]
