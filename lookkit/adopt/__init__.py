"""Freeing a look: from a LUT, or from frames before and after, to a recipe."""
