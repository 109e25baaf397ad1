"""Halation, softness and grain of the negative, between its exposure and its print."""
