"""Words, curves and sheets about a look."""
