"""The measures of a picture's signal, drawn for a page and told in words."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lookkit.files import write_beside
from lookkit.media.measure import CAUTION, CHROMA_SPAN, Measures, percent
from lookkit.report.charts import axes, chromaticity_axes
from lookkit.report.html import INK, LINES, QUIET, figure, page, paragraphs, table

if TYPE_CHECKING:
    from lookkit.spaces.outputs import Output


def columns_figure(measures: Measures) -> Any:
    """Return a chart of the levels in each column of the picture, as bands of shares."""
    drawing, axis = axes(5.6, 3.6)
    levels = measures.columns
    across = (np.arange(levels.shape[1]) + 0.5) / levels.shape[1] * 100.0
    axis.fill_between(across, levels[1], levels[5], color=LINES[0], alpha=0.25, linewidth=0)
    axis.fill_between(across, levels[2], levels[4], color=LINES[0], alpha=0.45, linewidth=0)
    axis.plot(across, levels[3], color=INK, linewidth=1.3)
    for row in (levels[0], levels[6]):
        axis.plot(across, row, color=QUIET, linewidth=0.7)
    for level in (0.0, 100.0):
        axis.axhline(level, color=INK, linewidth=0.9, linestyle=(0, (4, 2)))
    axis.set_xlim(0, 100)
    axis.set_ylim(min(-5.0, levels[0].min() - 2), max(105.0, levels[-1].max() + 2))
    axis.set_xlabel("across the picture, percent")
    axis.set_ylabel("Y' percent")
    return drawing


def chroma_figure(measures: Measures, target: Output) -> Any:
    """Return a chart of how many pixels have each chromaticity, in four steps of density."""
    drawing, axis = chromaticity_axes(target, 5.6, 5.0)
    counts = measures.chroma.astype(np.float64)
    if counts.sum():
        # The densest cells that together hold a half, nine tenths, 99 % and all of the pixels.
        order = np.sort(counts[counts > 0])[::-1]
        held = np.cumsum(order) / order.sum()
        floors = [order[min(int((held < share).sum()), len(order) - 1)]
                  for share in (0.5, 0.9, 0.99, 1.0)]  # fmt: skip
        side = CHROMA_SPAN / len(counts)
        for floor, alpha in zip(floors, (0.45, 0.3, 0.22, 0.2), strict=True):
            _cells(axis, counts >= floor, side, alpha)
    return drawing


def _cells(axis: Any, held: Any, side: float, alpha: float) -> None:
    """Fill cells of a grid, those beside each other as one."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path as Outline

    points, codes = [], []
    edges = np.diff(np.pad(held.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    for row, (starts, ends) in enumerate(zip(edges == 1, edges == -1, strict=True)):
        low, high = row * side, (row + 1) * side
        for start, end in zip(np.flatnonzero(starts), np.flatnonzero(ends), strict=True):
            left, right = start * side, end * side
            points += [(left, low), (right, low), (right, high), (left, high), (left, low)]
            codes += [Outline.MOVETO, *[Outline.LINETO] * 3, Outline.CLOSEPOLY]
    axis.add_patch(
        PathPatch(Outline(points, codes), facecolor=LINES[1], alpha=alpha, linewidth=0, zorder=1.5)
    )


def measures_html(measures: Measures, target: Output, name: str, of: str) -> str:
    """Return both charts side by side; `name` is of its own on the page, `of` the picture."""
    middle = measures.columns[3]
    levels = figure(
        columns_figure(measures), f"{name}-levels", f"Levels by column: {of}",
        f"The median of Y' goes from {middle.min():.0f} % to {middle.max():.0f} % across the "
        f"picture; the whole reaches from {measures.columns[0].min():.0f} % to "
        f"{measures.columns[-1].max():.0f} %.",
        "Line: the median of each column. Bands: half, and nine tenths, of its pixels. Thin "
        "lines: the darkest and the brightest.", "fits",
    )  # fmt: skip
    outside = ", ".join(f"outside {g}: {percent(v)}" for g, v in measures.outside.items())
    colours = figure(
        chroma_figure(measures, target), f"{name}-colours", f"Chromaticities: {of}",
        f"Density of CIE 1976 chromaticities. {outside}".strip(),
        "From strongest to faintest: where half, nine tenths, 99 % and all of the pixels lie, "
        "black left out.", "fits",
    )  # fmt: skip
    return f'<div class="pair">{levels}{colours}</div>'


def measures_table(rows: Sequence[tuple[str, Measures]], caption: str = "") -> str:
    """Return the excursions of several pictures as a table."""
    gamuts = list(dict.fromkeys(g for _, one in rows for g in one.outside))
    reserved = any(one.reserved is not None for _, one in rows)
    peaks = any(one.over_peak is not None for _, one in rows)
    head = ["picture", "Y' from", "to", "below black", "above white", "beyond -5, 105 %"]
    head += ["reserved codes"] if reserved else []
    head += ["above the peak", "brightest"] if peaks else []
    head += [f"outside {name}" for name in gamuts]
    lines = []
    for name, one in rows:
        line = [
            name,
            f"{one.columns[0].min():.1f} %",
            f"{one.columns[-1].max():.1f} %",
            percent(max(one.below.values())),
            percent(max(one.above.values())),
            percent(one.beyond),
        ]
        if reserved:
            line.append("" if one.reserved is None else percent(one.reserved))
        if one.over_peak is not None:
            line += [percent(one.over_peak), f"{one.brightest:.0f} cd/m2"]
        elif peaks:
            line += ["", ""]
        line += [percent(one.outside[g]) if g in one.outside else "" for g in gamuts]
        lines.append(line)
    return table(head, lines, caption)


def _picture(measures: Measures, target: Output, name: str) -> str:
    """Return the first picture as an sRGB display shows it."""
    if measures.picture is None:
        return ""
    from lookkit.report.shown import data_uri, seen

    shown = seen(target.delivered("full"), np.clip(np.nan_to_num(measures.picture), 0.0, 1.0))
    high, wide = shown.shape[:2]
    clipped = "; light above paper white is clipped here" if target.is_hdr else ""
    return (
        f'<figure><img src="{data_uri(shown)}" width="{wide}" height="{high}" '
        f'alt="{escape(name, quote=True)}"><figcaption>The first picture{clipped}</figcaption>'
        "</figure>"
    )


def write_measures(found: Sequence[tuple[str, Measures]], target: Output, path: Path) -> None:
    """Write a page of measures: a table, and both charts of each picture or clip.

    Raises
    ------
    LookkitError
        If matplotlib is not installed or the page cannot be written.
    """
    parts = ["<h1>Levels and colours</h1>", measures_table(found, f"As {target.name}")]
    for number, (name, one) in enumerate(found):
        parts.append(f"<h2>{escape(name)}</h2>")
        parts.append(_picture(one, target, name))
        parts.append(paragraphs(one.warnings, "beware") if one.warnings else "")
        parts.append(measures_html(one, target, f"file-{number}", name))
    parts.append(paragraphs([CAUTION], "beware"))
    text = page("Levels and colours", "\n".join(parts))
    with write_beside(path) as beside:
        beside.write_text(text, encoding="utf-8", newline="\n")
