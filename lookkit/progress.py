"""How long work tells the outside how far it is, without knowing who listens."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, int, int], None]
"""Called as progress(what is being done, steps done, steps in all)."""


def silent(what: str, done: int, total: int) -> None:
    """Tell nobody."""
