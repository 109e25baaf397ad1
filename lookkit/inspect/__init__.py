"""Examining a LUT from anywhere: what it is, what is wrong, who will misread it."""
