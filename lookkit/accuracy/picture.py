"""A certificate as one picture: errors of each set, the grey ramp over stops, worst colours."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from lookkit.accuracy.certificate import Certificate, Reading, Worst
from lookkit.accuracy.interpolate import Reader
from lookkit.files import write_beside
from lookkit.plotting import LIGHT, dress, new_figure

_PAPER, _INK, _FAINT = LIGHT["sheet"], LIGHT["ink"], LIGHT["quiet"]
_READERS: Final[dict[Reader, tuple[str, str, str]]] = {
    "tetrahedral": (LIGHT["line-1"], "-", "read tetrahedrally"),
    "trilinear": (LIGHT["line-2"], "--", "read trilinearly"),
    "gpu": (LIGHT["line-3"], ":", "read by a graphics processor"),
}
"""Ink, dash and words of each reader."""

_MARKS: Final = (("mean", "o"), ("p99", "|"), ("p999", "D"), ("max", "x"))
_MARK_WORDS: Final = {"mean": "mean", "p99": "99 %", "p999": "99.9 %", "max": "largest"}
_LEAST: Final = 0.003
"""Delta E at the left edge of the errors' scale; smaller ones are drawn there."""

_VISIBLE: Final = 1.0
_SWATCHES: Final = 8


def draw_certificate(certificate: Certificate, path: Path, title: str) -> None:
    """Write `certificate_figure` as a PNG.

    Raises
    ------
    LookkitError
        If matplotlib is not installed, or the disk fails.
    InputError
        If the folder does not exist or cannot be written.
    """
    figure = certificate_figure(certificate, title)
    with write_beside(path) as beside:
        # Without the date and the library's version, so that a build repeats to the byte.
        figure.savefig(beside, format="png", facecolor=_PAPER, metadata={"Software": None})


def certificate_figure(certificate: Certificate, title: str) -> Any:
    """Return a matplotlib figure of a certificate, 12 inches wide.

    Above, Delta E 2000 of every audited set (mean to largest, on a logarithmic scale) and of
    the grey ramp over stops; below, the worst colours as pairs, the exact one on the left.

    Raises
    ------
    LookkitError
        If matplotlib is not installed.
    """
    readings = certificate.readings
    figure = new_figure(12.0, 4.9 + 1.75 * len(readings), dpi=110, facecolor=_PAPER)
    figure.set_layout_engine("constrained", w_pad=0.1, h_pad=0.08)
    figure.suptitle(f"{title}\n{_summary(certificate)}", fontsize=10, color=_INK)
    rows = figure.add_gridspec(1 + len(readings), 2, height_ratios=[2.6, *[1.0] * len(readings)])
    _draw_sets(figure.add_subplot(rows[0, 0]), readings)
    _draw_ramp(figure.add_subplot(rows[0, 1]), readings)
    for row, reading in enumerate(readings, start=1):
        _draw_worst(figure.add_subplot(rows[row, :]), reading)
    return figure


def _summary(certificate: Certificate) -> str:
    size = certificate.size
    parts = [f"{size} points an edge", f"folds: {certificate.folds or 'none'}"]
    for reading in certificate.readings:
        rises = "rises" if reading.ramp.monotone else f"falls by {reading.ramp.fall:.2f} codes"
        parts.append(f"{reading.reader}: ramp {rises}, tint {reading.ramp.tint:.2f} codes")
    return "; ".join(parts)


def _draw_sets(axes: Any, readings: tuple[Reading, ...]) -> None:
    names = list(readings[0].sets)
    axes.axvline(_VISIBLE, color=_FAINT, linewidth=1, linestyle=":")
    for number, reading in enumerate(readings):
        ink, dash, _ = _READERS[reading.reader]
        for row, name in enumerate(names):
            figures = reading.sets[name].delta_e_2000
            y = row + 0.32 * (number - 0.5 * (len(readings) - 1))
            ends = [max(figures.mean, _LEAST), max(figures.max, _LEAST)]
            axes.plot(ends, [y, y], color=ink, linestyle=dash, linewidth=1.2)
            for key, mark in _MARKS:
                value = max(getattr(figures, key), _LEAST)
                axes.plot([value], [y], mark, color=ink, markersize=5.5)
    axes.set_xscale("log")
    left, right = axes.get_xlim()
    axes.set_xlim(max(left, _LEAST), max(right, 2.0 * _VISIBLE))
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.4, -1.35)
    axes.text(_VISIBLE, -1.28, " just visible", fontsize=8, color=_INK, va="top")
    for key, mark in _MARKS:
        axes.plot([], [], mark, color=_INK, markersize=5.5, label=_MARK_WORDS[key])
    axes.legend(frameon=False, ncols=4, loc="upper left", fontsize=8, handletextpad=0.1,
                columnspacing=1.0)  # fmt: skip
    axes.set_xlabel("Delta E 2000", fontsize=9)
    axes.set_title("How far each kind of colour is off", fontsize=10, loc="left")
    dress(axes)
    axes.tick_params(labelsize=8.5)


def _draw_ramp(axes: Any, readings: tuple[Reading, ...]) -> None:
    for reading in readings:
        ink, dash, words = _READERS[reading.reader]
        stops, errors = zip(*reading.over_stops, strict=True)
        axes.plot(stops, errors, color=ink, linestyle=dash, linewidth=1.5, label=words)
    axes.axvline(0.0, color=_FAINT, linewidth=1, linestyle=":")
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("stops from mid-grey", fontsize=9)
    axes.set_ylabel("Delta E 2000, largest", fontsize=9)
    axes.set_title("The grey ramp", fontsize=10, loc="left")
    axes.legend(frameon=False, fontsize=8)
    dress(axes)
    axes.tick_params(labelsize=8.5)


def _draw_worst(axes: Any, reading: Reading) -> None:
    worst = reading.worst[:_SWATCHES]
    for place, one in enumerate(worst):
        axes.fill_between([place, place + 0.42], 0.0, 1.0, color=one.exact_srgb, linewidth=0)
        axes.fill_between([place + 0.42, place + 0.84], 0.0, 1.0, color=one.read_srgb, linewidth=0)
        axes.text(place, -0.1, _words(one), fontsize=7.5, color=_INK, va="top", linespacing=1.25)
    axes.set_xlim(0.0, _SWATCHES)
    axes.set_ylim(-1.3, 1.02)
    words = _READERS[reading.reader][2]
    axes.set_title(
        f"Worst colours, {words}: exact on the left, as read on the right; true maximum "
        f"Delta E 2000 {reading.maximum:.2f}",
        fontsize=10,
        loc="left",
    )
    axes.set_axis_off()


def _words(one: Worst) -> str:
    code = " ".join(f"{1023.0 * value:.0f}" for value in one.code)
    return (
        f"Delta E {one.delta_e_2000:.2f}\n{one.stops:+.1f} stops, {one.hue_name}\n"
        f"{one.lives_in}\ncode {code}"
    )
