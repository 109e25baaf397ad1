"""Lattices: sampling, fitting and certifying what a graph becomes in a LUT file."""
