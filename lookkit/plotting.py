"""The one place where matplotlib is set up, and the palette of every page and picture."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from lookkit.errors import LookkitError

_LINES: Final = {
    "line-1": "#0f6a6a", "line-2": "#b4541a", "line-3": "#5a4a9c", "line-4": "#7a7a12",
    "line-5": "#a03060", "line-6": "#3a6a2a",
    "red": "#a8322a", "green": "#33702f", "blue": "#34569b",
}  # fmt: skip
LIGHT: Final[Mapping[str, str]] = {
    "paper": "#f6f4ef", "sheet": "#fffdf8", "ink": "#26231f", "quiet": "#6a645b",
    "rule": "#d5cfc3", "mark": "#a8481c", **_LINES,
}  # fmt: skip
"""The palette on a light page, and of pictures that are no page."""
DARK: Final[Mapping[str, str]] = {
    "paper": "#1b1916", "sheet": "#24211d", "ink": "#ece6da", "quiet": "#a8a092",
    "rule": "#46413a", "mark": "#f0a070",
    "line-1": "#5cc4bf", "line-2": "#f0a060", "line-3": "#b0a2f0", "line-4": "#cfc95a",
    "line-5": "#ee8fb4", "line-6": "#93c982",
    "red": "#ff8d80", "green": "#7fd08b", "blue": "#9aa9ff",
}  # fmt: skip
PRINT: Final[Mapping[str, str]] = {
    "paper": "#ffffff", "sheet": "#ffffff", "ink": "#000000", "quiet": "#444444",
    "rule": "#cccccc", "mark": "#000000", **_LINES,
}  # fmt: skip
CHANNELS: Final = ("red", "green", "blue")
"""Names in a palette of what stands for each channel."""


def dress(axis: Any, palette: Mapping[str, str] = LIGHT) -> None:
    """Draw a plot's edges, grid and words in a palette: left and bottom edge, a quiet grid."""
    axis.set_facecolor(palette["sheet"])
    for name, spine in axis.spines.items():
        spine.set_visible(name in ("left", "bottom"))
        spine.set_color(palette["rule"])
    axis.tick_params(which="both", color=palette["quiet"], labelcolor=palette["ink"], length=3)
    for text in (axis.xaxis.label, axis.yaxis.label, axis.title):
        text.set_color(palette["ink"])
    axis.grid(visible=True, color=palette["rule"], linewidth=0.5)
    axis.set_axisbelow(True)


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
