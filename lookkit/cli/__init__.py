"""The command line: parses, calls one public function, prints."""

from __future__ import annotations

from lookkit.cli.main import main

__all__ = ["main"]
