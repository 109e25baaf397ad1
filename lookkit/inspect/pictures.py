"""Pictures of a LUT: its curves, and its lattice as a net that a person can read.

Each colour keeps the same place in all pictures of the net: grey in the middle, hues
around it, so that a LUT's effect reads as how the net is pulled.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.errors import LookkitError
from lookkit.files import made_folder, write_beside
from lookkit.inspect.function import Function
from lookkit.inspect.inspection import Inspection
from lookkit.plotting import CHANNELS, LIGHT, dress, new_figure
from lookkit.spaces.working import Array

_CHANNEL_INKS: Final = tuple(LIGHT[name] for name in CHANNELS)
_CHANNEL_MARKS: Final = ("-", "--", "-.")
"""Lines differ by dash as well as by colour, for readers who cannot tell the colours."""
_PAPER, _INK, _FAINT = LIGHT["sheet"], LIGHT["ink"], LIGHT["rule"]
_STEPS: Final = 513
_HUES: Final = 48
_RINGS: Final = 5
_DISPLAY_LEVELS: Final = (("dark", 0.3), ("middle", 0.6), ("bright", 0.9))
_LOG_LEVELS: Final = (("dark", 0.22), ("middle", 0.36), ("bright", 0.52))
"""Brightest channel of the colours in each panel."""
_LOG_SATURATION: Final = 0.4
"""Log codes of real scenes are pale; pure ones would only show clipping."""
_TO_PLANE: Final[Array] = np.array([[1.0, -0.5, -0.5], [0.0, 0.75**0.5, -(0.75**0.5)]])
"""RGB to a plane across the grey axis: red to the right, green and blue a third turn on."""


def draw(inspection: Inspection, folder: Path) -> list[Path]:
    """Draw a LUT into `folder` as two PNG files, and return their paths.

    `NAME_curves.png` shows what greys become, `NAME_net.png` what colours become.

    Raises
    ------
    LookkitError
        If matplotlib is not installed, nothing could be read from the file, its values are
        not finite, or the disk fails.
    InputError
        If the folder cannot be written.
    """
    function = inspection.function
    if function is None or inspection.shape is None:
        raise LookkitError(f"{inspection.file.path}: nothing to draw, its values are not known")
    name = inspection.file.path.name
    made_folder(folder)
    made = []
    log = (
        any(
            guess.about == "input" and next(iter(guess.likelihood)) == "log"
            for guess in inspection.guesses
        )
        or "log" in inspection.told.get("input", "").casefold()
    )
    for kind, figure in (("curves", curves(function, name)), ("net", net(function, name, log))):
        path = folder / f"{inspection.file.path.stem}_{kind}.png"
        with write_beside(path) as beside:
            figure.savefig(beside, format="png", facecolor=_PAPER)
        made.append(path)
    return made


def curves(function: Function, name: str) -> Any:
    """Return a figure of each channel's output for grey input, and of its slope."""
    figure = _figure(9.0, 8.0)
    above, below = figure.subplots(2, 1, sharex=True, height_ratios=[3, 1])
    steps = np.linspace(0.0, 1.0, _STEPS)
    inputs = function.over(np.repeat(steps[:, None], 3, axis=1))
    outputs = function(inputs)
    axis = inputs.mean(axis=1)
    above.plot(axis, axis, color=_FAINT, linewidth=1, linestyle=":", label="unchanged")
    for channel, label in enumerate(("red", "green", "blue")):
        style = {"color": _CHANNEL_INKS[channel], "linestyle": _CHANNEL_MARKS[channel]}
        above.plot(axis, outputs[:, channel], label=label, linewidth=1.8, **style)
        slope = np.gradient(outputs[:, channel], axis)
        below.plot(axis, slope, linewidth=1.2, **style)
        falls = slope < -1e-3
        if falls.any():
            above.plot(
                axis[falls], outputs[falls, channel], "x", color=_CHANNEL_INKS[channel],
                markersize=5, label=f"{label} falls",
            )  # fmt: skip
    low, high = float(outputs.min()), float(outputs.max())
    above.set_ylim(min(low, 0.0) - 0.03, max(high, 1.0) + 0.03)
    above.set(title=f"{name}: what greys become", ylabel="output")
    below.set(xlabel="grey input", ylabel="slope")
    below.axhline(0.0, color=_FAINT, linewidth=1)
    above.legend(frameon=False, loc="upper left")
    for axes in (above, below):
        dress(axes)
    return figure


def net(function: Function, name: str, log: bool = False) -> Any:
    """Return a figure of the net of colours at three levels, before and after the LUT.

    For `log` input the levels and saturations are those of log pictures.
    """
    from matplotlib.collections import LineCollection

    figure = _figure(13.5, 5.2)
    levels = _LOG_LEVELS if log else _DISPLAY_LEVELS
    saturation = _LOG_SATURATION if log else 1.0
    panels = figure.subplots(1, len(levels))
    for axes, (level, peak) in zip(panels, levels, strict=True):
        before = wheel(peak, saturation)
        after = function(function.over(before))
        still, moved = _plane(before), _plane(after)
        reach = max(float(np.abs(still).max()), float(np.abs(moved).max()), 1e-6)
        axes.add_collection(LineCollection(_threads(still), colors=_FAINT, linewidths=0.8))
        axes.add_collection(LineCollection(_threads(moved), colors=_INK, linewidths=0.8))
        places, inks = moved.reshape(-1, 2), np.clip(after, 0.0, 1.0).reshape(-1, 3)
        axes.scatter(*places.T, c=inks, s=22, edgecolors=_INK, linewidths=0.3, zorder=3)
        for label, colour in _CORNERS.items():
            x, y = _TO_PLANE @ np.array(colour)
            away = 1.22 * reach / np.hypot(x, y)
            axes.annotate(label, (x * away, y * away), ha="center", va="center", fontsize=9)
        axes.set(xlim=(-1.45 * reach, 1.45 * reach), ylim=(-1.4 * reach, 1.4 * reach))
        axes.set(aspect="equal", title=f"{level}: brightest channel {peak:g}")
        axes.set_axis_off()
    pale = f", saturation to {saturation:.0%}" if log else ""
    figure.suptitle(
        f"{name}: what colours become (pale net before, dark net after, dots in their colour{pale})"
    )
    return figure


_CORNERS: Final = {
    "red": (1, 0, 0),
    "yellow": (0.5, 0.5, 0),
    "green": (0, 1, 0),
    "cyan": (0, 0.5, 0.5),
    "blue": (0, 0, 1),
    "magenta": (0.5, 0, 0.5),
}


def wheel(peak: float, saturation: float = 1.0) -> Array:
    """Return hues around and saturations outwards, shape (rings + 1, hues + 1, 3).

    The largest channel of every colour is `peak`; ring 0 is grey, the smallest channel of
    the last ring is (1 - `saturation`) of the largest.
    """
    turn = np.linspace(0.0, 6.0, _HUES + 1)
    shift = np.array([0.0, 4.0, 2.0])
    pure = np.clip(np.abs((turn[:, None] + shift) % 6.0 - 3.0) - 1.0, 0.0, 1.0)
    share = np.linspace(0.0, saturation, _RINGS + 1)[:, None, None]
    return np.asarray(peak * (1.0 - share * (1.0 - pure)))


def _plane(colours: Array) -> Array:
    return np.asarray(colours @ _TO_PLANE.T)


def _threads(places: Array) -> list[Array]:
    """Return the net's lines: rings, and every fourth spoke."""
    return [*places[1:], *np.moveaxis(places, 1, 0)[:-1:4]]


def _figure(width: float, height: float) -> Any:
    return new_figure(width, height, dpi=110, layout="constrained", facecolor=_PAPER)
