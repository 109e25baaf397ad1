"""Matching: transforms that make one camera's picture land where another's does."""
