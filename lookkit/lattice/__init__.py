"""Lattices: fitting what a graph becomes in a LUT file."""
