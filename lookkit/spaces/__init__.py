"""Encodings, outputs, signal ranges, primaries and whites."""
