"""LUT files: our own writer, and strict readers that name every fault by its line."""
