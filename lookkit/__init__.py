"""lookkit: one film-like look, as one text recipe, on every shot of every camera."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lookkit.errors import (
    InputError,
    LookkitError,
    LutFileError,
    Problem,
    RecipeError,
    UnknownNameError,
)
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look, load, loads, shipped_looks

__all__ = [
    "InputError",
    "Look",
    "LookkitError",
    "LutFileError",
    "Problem",
    "RecipeError",
    "UnknownNameError",
    "__version__",
    "load",
    "loads",
    "shipped_looks",
]

_LAZY = ("Look", "load", "loads", "shipped_looks")


def __getattr__(name: str) -> Any:
    """Import the front door when it is first used, so that the command line starts at once."""
    if name in _LAZY:
        from lookkit import look

        return getattr(look, name)
    raise AttributeError(f"module 'lookkit' has no attribute {name!r}")
