"""Where each stop of light lands: the camera's code and the monitor's signal through the look.

Neutral light from 8 stops under mid-grey to where the camera's encoding ends. A viewing
LUT is no exposure meter: this says where values land, not how to expose.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lookkit.errors import UnknownNameError
from lookkit.evaluate import evaluate
from lookkit.files import write_beside
from lookkit.spaces import ranges
from lookkit.spaces.working import MID_GREY, Array

if TYPE_CHECKING:
    from lookkit.look import Look

LOWEST = -8
HIGHEST = 12.0
"""Stops over mid-grey at which a scene-linear camera, which has no end, is cut off."""

CAUTION = "A viewing LUT is no exposure meter: expose by the camera's own measures."


@dataclass(frozen=True)
class Stop:
    """One line of the chart: light in stops from mid-grey, and where it lands."""

    stops: float
    code: float
    """10-bit code value in the camera's file, 0 to 1023."""
    percent: dict[str, float]
    """Percent of each output's nominal signal, by the output's name in the recipe."""
    light: dict[str, float]
    """cd/m2 of each output's display, by the output's name in the recipe."""


@dataclass(frozen=True)
class StopChart:
    """The chart of one camera."""

    camera: str
    encoding: str
    clip: float | None
    """Stops over mid-grey at which the encoding ends, or None where it does not."""
    rows: tuple[Stop, ...]

    def to_text(self) -> str:
        """Return the chart as a table of text."""
        names = list(self.rows[0].percent)
        head = ["stops", "10-bit", *(text for n in names for text in (f"{n} %", "cd/m2"))]
        lines = [f"camera {self.camera}: {self.encoding}"]
        body = [
            [
                f"{row.stops:+.1f}",
                f"{row.code:.0f}",
                *(text for n in names for text in (f"{row.percent[n]:.1f}", f"{row.light[n]:.3g}")),
            ]
            for row in self.rows
        ]
        widths = [max(len(line[i]) for line in [head, *body]) for i in range(len(head))]
        for line in [head, *body]:
            lines.append(
                "  ".join(cell.rjust(width) for cell, width in zip(line, widths, strict=True))
            )
        if self.clip is None:
            lines.append("the encoding has no end of its own")
        else:
            lines.append(f"the encoding ends {self.clip:+.2f} stops over mid-grey")
        return "\n".join(lines)


def stop_chart(look: Look, camera: str) -> StopChart:
    """Return where each whole stop, and the end of the encoding, lands for `camera`.

    Raises
    ------
    UnknownNameError
        If the recipe has no such camera.
    """
    if camera not in look.cameras:
        raise UnknownNameError("camera", camera, look.cameras)
    described = look.graph.input_transform(camera).encoding
    step = look.graph.decoding(camera)
    clip: float | None = None
    if not described.scene_linear:
        top = step.evaluate(np.ones((1, 3)))
        clip = float(np.log2(top.max() / MID_GREY))
    last = HIGHEST if clip is None else clip
    stops = [float(s) for s in range(LOWEST, int(np.floor(last)) + 1)]
    if clip is not None and clip - stops[-1] > 0.05:
        stops.append(clip)
    light = MID_GREY * 2.0 ** np.array(stops)[:, None].repeat(3, axis=1)
    codes = step.inverse(light)
    shown = {name: landing(look, camera, name, codes) for name in look.outputs}
    rows = tuple(
        Stop(
            s,
            float(codes[i, 1]) * 1023.0,
            {name: float(percent[i]) for name, (percent, _) in shown.items()},
            {name: float(light[i]) for name, (_, light) in shown.items()},
        )
        for i, s in enumerate(stops)
    )
    return StopChart(camera, described.name, clip, rows)


def landing(look: Look, camera: str, output: str, codes: Array) -> tuple[Array, Array]:
    """Return the percent of nominal signal (of green) and the cd/m2 that camera codes become.

    Codes have shape (n, 3), both results (n,).
    """
    target = look.graph.output(output)
    signal = evaluate(look.graph.chain(camera, output), codes)
    percent = 100.0 * ranges.convert(signal, target.range, "full", target.bits)[:, 1]
    luminance = target.decode(signal) @ target.limiting.to_xyz()[1]
    return percent, 100.0 * luminance


def draw_stop_charts(charts: list[StopChart], path: Path) -> None:
    """Draw charts one above the other into `path`: codes and signals, then light in cd/m2.

    Raises
    ------
    LookkitError
        If matplotlib is not installed, or the picture cannot be written.
    """
    from lookkit.plotting import LIGHT, dress, figure

    ink, quiet = LIGHT["ink"], LIGHT["quiet"]
    lines = [LIGHT[f"line-{number}"] for number in range(1, 7)]
    drawing, axes = figure(2 * len(charts))
    drawing.set_facecolor(LIGHT["sheet"])
    for chart, signals, lights in zip(charts, axes[::2], axes[1::2], strict=True):
        stops = [row.stops for row in chart.rows]
        told = f"camera code ({chart.encoding}), % of 1023"
        codes = [row.code / 10.23 for row in chart.rows]
        signals.plot(stops, codes, "o-", color=ink, markersize=4, label=told)
        for number, name in enumerate(chart.rows[0].percent):
            # The first is the broadest, so that lines on each other are all seen.
            style = {"color": lines[number % 6], "linewidth": max(1.2, 3.2 - number),
                     "linestyle": "--" if number else "-", "marker": "s",
                     "markersize": max(2.5, 5.0 - number)}  # fmt: skip
            percent = [row.percent[name] for row in chart.rows]
            signals.plot(stops, percent, label=f"signal on {name}, %", **style)
            lights.semilogy(stops, [row.light[name] for row in chart.rows], label=name, **style)
        signals.set_title(f"camera {chart.camera}")
        signals.set_ylabel("percent")
        lights.set_ylabel("cd/m2")
        lights.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        for axis in (signals, lights):
            axis.axvline(0.0, linewidth=0.8, color=quiet)
            axis.set_xticks(range(LOWEST, int(max(stops)) + 1))
            axis.set_xlabel("stops from mid-grey")
            dress(axis)
            axis.legend(fontsize=8, frameon=False, labelcolor=ink)
            if chart.clip is not None:
                axis.axvline(chart.clip, linewidth=1.2, color=quiet, linestyle=":")
                axis.annotate("encoding ends", (chart.clip, 0.05), rotation=90, ha="right",
                              color=quiet, fontsize=8,
                              xycoords=("data", "axes fraction"))  # fmt: skip
    drawing.supxlabel(CAUTION, x=0.01, ha="left", fontsize=9, color=quiet)
    with write_beside(path) as beside:
        drawing.savefig(beside, facecolor=drawing.get_facecolor())
