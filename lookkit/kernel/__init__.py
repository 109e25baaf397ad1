"""Formulas over planes: written once, run by numpy in float64 and compiled in float32."""

from lookkit.kernel.formula import Call, Formula, Program, formula, padded

__all__ = ["Call", "Formula", "Program", "formula", "padded"]
