"""The one place where matplotlib is set up."""

from __future__ import annotations

from typing import Any

from lookkit.errors import LookkitError


def new_figure(width: float, height: float, **how: Any) -> Any:
    """Return an empty figure, its size in inches; `how` goes on to matplotlib.

    Raises
    ------
    LookkitError
        If matplotlib is not installed.
    """
    try:
        from matplotlib.figure import Figure
    except ImportError as error:
        raise LookkitError(
            "pictures need matplotlib: install lookkit with its extra, lookkit[pictures]"
        ) from error
    return Figure(figsize=(width, height), **how)


def figure(rows: int, width: float = 9.0, height: float = 4.2) -> tuple[Any, list[Any]]:
    """Return a figure of `rows` plots one above the other, and its axes.

    Raises
    ------
    LookkitError
        If matplotlib is not installed.
    """
    drawing = new_figure(width, height * rows, dpi=120, layout="constrained")
    axes = drawing.subplots(rows, 1, squeeze=False)[:, 0]
    return drawing, list(axes)
