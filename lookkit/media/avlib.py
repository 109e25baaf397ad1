"""PyAV, imported only when a clip is met, and its errors in the user's words."""

from __future__ import annotations

from functools import cache
from typing import Any

from lookkit.errors import InputError


@cache
def library() -> Any:
    """Return PyAV, silent.

    Raises
    ------
    InputError
        If it is not installed.
    """
    try:
        import av
        import av.logging
    except ImportError as error:
        raise InputError(
            "movies need PyAV, which is not installed: pip install 'lookkit[clips]'"
        ) from error
    av.logging.set_level(None)
    return av


def reason(error: BaseException) -> str:
    """Return what went wrong, short."""
    text = getattr(error, "strerror", None) or str(error)
    return str(text).split(":", maxsplit=1)[0].strip().lower() or "no reason given"
