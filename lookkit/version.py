"""The version, alone in its file so that the build can read it."""

__version__ = "0.1.0"
