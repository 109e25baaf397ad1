"""The page about an adopted look: the source and the recipe over each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from math import ceil
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000
from lookkit.adopt.checks import fitting_names
from lookkit.adopt.run import CAMERA, OUTPUT, Adopted
from lookkit.adopt.text import RIGHT
from lookkit.files import write_beside
from lookkit.look import Look
from lookkit.media.stills import block_means, read_still
from lookkit.report.charts import axes, key
from lookkit.report.html import INK, LINES, QUIET, details, figure, film, page, paragraphs, table
from lookkit.report.sheet import PAGE_WIDTH, Cell, Row
from lookkit.report.shown import seen
from lookkit.spaces.oklab import from_oklab
from lookkit.spaces.working import MID_GREY, Array

_STOPS: Final = np.arange(-9.0, 9.01, 0.125)
_CHROMAS: Final = (0.05, 0.12)
_CHART_STOPS: Final = (3.0, 1.5, 0.0, -1.5, -3.0)
_CHART_HUES: Final = np.arange(0.0, 360.0, 22.5)
_CELL: Final = 36
_DARKEST: Final = 4.0
"""Delta E that a picture of differences shows as black."""


def frames_of(paths: Sequence[Path]) -> dict[str, Array]:
    """Return the codes of some stills by name, each as small as a page shows it, (h, w, 3).

    Raises
    ------
    InputError
        If one cannot be read.
    """
    found = {}
    for path in paths:
        code = np.nan_to_num(read_still(path).pixels)
        factor = min(ceil(code.shape[1] / PAGE_WIDTH), *code.shape[:2])
        found[str(path)] = block_means(code, factor).astype(np.float64)
    return found


def write_page(made: Adopted, path: Path, frames: Mapping[str, Array] | None = None) -> None:
    """Write a page of one file that fetches nothing and runs nothing.

    Parameters
    ----------
    frames
        The source camera's codes by a file's name, shape (height, width, 3): frames that the page
        shows through both.

    Raises
    ------
    LookkitError
        If matplotlib or Pillow is not installed, or the page cannot be written.
    """
    parts = [
        ("close", "How close it is", _close(made)),
        ("tone", "Tone of greys", _tone(made)),
        ("neutrals", "Tint of greys", _neutrals(made)),
        ("hues", "Hues", _hues(made)),
        ("colours", "The same colours through both", _chart(made)),
        ("steps", "The recipe", _steps(made)),
    ]
    if frames:
        parts.insert(1, ("frames", "Frames through both", _frames(made, frames)))
    links = "".join(f'<a href="#{name}-head">{escape(title)}</a>' for name, title, _ in parts)
    title = f"{made.source.path.stem}, adopted"
    head = (
        f"<header>\n<h1>{escape(title)}</h1>\n"
        + paragraphs([
            f"From {made.source.path.name}, taken as a look from {made.source.camera.name} to "
            f"{made.source.shown.name}. {RIGHT}"
        ])
        + paragraphs((f"Beware: {one}" for one in made.told), "beware")
        + f'\n<nav aria-label="Sections">{links}</nav>\n</header>'
    )  # fmt: skip
    body = [head]
    for name, title_, text in parts:
        top = f'<h2 id="{name}-head">{escape(title_)}</h2>'
        body.append(f'<section aria-labelledby="{name}-head">\n{top}\n{text}\n</section>')
    with write_beside(path) as beside:
        beside.write_text(page(title, "\n".join(body)), encoding="utf-8", newline="\n")


def _close(made: Adopted) -> str:
    rows = [["the steps alone", f"{made.nodes.mean:.2f}", f"{made.nodes.high:.2f}"]]
    if made.whole is not None:
        rows.append(["with the remainder", f"{made.whole.mean:.2f}", f"{made.whole.high:.2f}"])
    rows.append(["the source's own two readings", f"{made.open.mean:.2f}", f"{made.open.high:.2f}"])
    names = fitting_names(made.source)
    others = [one for one in names if one.partition(" in ")[0] != made.source.camera.name]
    told = details(
        f"{len(others)} other encodings fit the source's greys as well",
        paragraphs([
            "What a LUT takes cannot be seen in it. With another of these names the fit would be "
            "about as close, and wrong on every other camera: " + ", ".join(others) + "."
        ]),
    ) if others else ""  # fmt: skip
    note = (
        "Delta E 2000 from the source on colours of pictures that neither the fit nor the choice "
        "of steps has seen; 1 is just seen side by side. Between its points a LUT can be read in "
        "two common ways: what lies below their difference is no fault of the recipe."
    )
    return table(["", "mean", "95 % stay below"], rows) + paragraphs([note], "quiet") + told


def _both(made: Adopted, scene: Array) -> tuple[Array, Array, Array]:
    """Return the signals of source, steps alone and whole recipe for scene light, (n, 3) each."""
    code = made.source.code(scene)
    return made.source.signal(code), _signal(made.bare, code), _signal(made.look, code)


def _signal(look: Look, code: Array) -> Array:
    return look.evaluate(code, camera=CAMERA, output=OUTPUT)


def _lines(made: Adopted) -> list[tuple[str, int, dict[str, Any]]]:
    """Return what is drawn: its name, its place in `_both`, and how."""
    found: list[tuple[str, int, dict[str, Any]]] = [
        ("source", 0, {"color": QUIET, "linewidth": 4.0, "alpha": 0.6}),
        ("recipe", 2, {"color": LINES[1], "linewidth": 1.5}),
    ]
    if made.whole is not None:
        found.append(("steps alone", 1, {"color": LINES[0], "linewidth": 1.3,
                                         "linestyle": (0, (4, 2))}))  # fmt: skip
    return found


def _greys(made: Adopted) -> tuple[Array, tuple[Array, Array, Array]]:
    grey = MID_GREY * np.exp2(_STOPS)[:, None].repeat(3, axis=1)
    reached = made.source.camera.encode(grey, range=made.source.camera_range).max(axis=1) <= 1.0
    return _STOPS[reached], _both(made, grey[reached])


def _tone(made: Adopted) -> str:
    stops, signals = _greys(made)
    drawing, axis = axes(8.0, 4.0)
    for name, place, how in _lines(made):
        axis.plot(stops, 100.0 * signals[place].mean(axis=1), label=name, **how)
    axis.set_xlabel("stops from mid-grey")
    axis.set_ylabel("percent of signal")
    axis.axvline(0.0, color=QUIET, linewidth=0.9)
    key(axis, loc="upper left")
    off = 100.0 * np.abs(signals[2] - signals[0]).max()
    said = f"Signal over stops, source and recipe; they differ by {off:.2f} % of signal at most."
    return figure(drawing, "tone-chart", "Tone of source and recipe", said, said, "fits")


def _neutrals(made: Adopted) -> str:
    stops, signals = _greys(made)
    parts = []
    for column, name, title in ((1, "a", "a*: redder above, greener below"),
                                (2, "b", "b*: yellower above, bluer below")):  # fmt: skip
        drawing, axis = axes(5.6, 3.4)
        reach = 1.0
        for label, place, how in _lines(made):
            tint = made.source.light.lab(signals[place])[:, column]
            reach = max(reach, float(np.abs(tint).max()))
            axis.plot(stops, tint, label=label, **how)
        axis.set_ylim(-1.15 * reach, 1.15 * reach)
        axis.axhline(0.0, color=QUIET, linewidth=0.9)
        axis.set_xlabel("stops from mid-grey")
        axis.set_ylabel(f"{name}*")
        key(axis, loc="best")
        said = f"Tint of greys over stops, {title}; source and recipe."
        parts.append(
            figure(drawing, f"tint-{name}", f"Tint of greys, {name}*", said, title, "fits")
        )
    return f'<div class="pair">{"".join(parts)}</div>'


def _wheel(chroma: float, stops: float) -> Array:
    """Return scene light of every hue at a chroma and a level, AP1, shape (n, 3)."""
    hue = np.radians(np.arange(0.0, 361.0, 5.0))
    return _of_hue(hue, chroma, stops)


def _of_hue(hue: Array, chroma: float, stops: float) -> Array:
    grey = np.cbrt(MID_GREY * 2.0**stops)
    rows = np.stack([np.ones_like(hue), chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)
    return from_oklab(grey * rows)


def _hues(made: Adopted) -> str:
    drawing, axis = axes(5.8, 5.4)
    axis.set_aspect("equal")
    for number, chroma in enumerate(_CHROMAS):
        signals = _both(made, _wheel(chroma, 0.0))
        for name, place, how in _lines(made):
            lab = made.source.light.lab(signals[place])
            axis.plot(lab[:, 1], lab[:, 2], label=None if number else name, **how)
    axis.axhline(0.0, color=QUIET, linewidth=0.7)
    axis.axvline(0.0, color=QUIET, linewidth=0.7)
    axis.plot([0.0], [0.0], "+", color=INK)
    axis.set_xlabel("a*")
    axis.set_ylabel("b*")
    key(axis, loc="best")
    said = (
        "Two circles of hues at mid-grey, pale as skin and vivid, as the source and the recipe "
        "show them in a* and b*."
    )
    return figure(drawing, "hue-chart", "Hues of source and recipe", said, said, "fits")


def _chart(made: Adopted) -> str:
    """Return a chart of colours through both, and where they differ."""
    rows = []
    for chroma in _CHROMAS:
        for stops in _CHART_STOPS:
            rows.append(_of_hue(np.radians(_CHART_HUES), chroma, stops))
    greys = MID_GREY * np.exp2(np.linspace(-6.0, 6.0, len(_CHART_HUES)))
    scene = np.stack([*rows, greys[:, None].repeat(3, axis=1)])
    flat = scene.reshape(-1, 3)
    source, _, recipe = _both(made, flat)
    light = made.source.light
    off = delta_e_2000(light.lab(source), light.lab(recipe))
    shape = scene.shape

    def picture(signal: Array) -> Any:
        small = seen(made.source.shown, signal).reshape(shape)
        return small.repeat(_CELL, axis=0).repeat(_CELL, axis=1)

    apart = _apart(off, shape[:2]).repeat(_CELL, axis=0).repeat(_CELL, axis=1)
    cells = [
        Cell(picture(source), "the source"),
        Cell(picture(recipe), "the recipe"),
        Cell(apart, _apart_says(off)),
    ]
    note = (
        "Columns are hues from red by yellow, green and blue; rows are +3 to -3 stops, pale above "
        "and vivid below; the last row is grey, -6 to +6 stops."
    )
    return film([Row("", tuple(cells))], note)


def _frames(made: Adopted, frames: Mapping[str, Array]) -> str:
    """Return frames through both, and where they differ."""
    rows = []
    low, high = made.source.function.low, made.source.function.high
    for path, frame in frames.items():
        code = np.clip(frame.reshape(-1, 3), low, high)
        source, recipe = made.source.signal(code), _signal(made.look, code)
        light = made.source.light
        off = delta_e_2000(light.lab(source), light.lab(recipe))
        pictures = (seen(made.source.shown, one.reshape(frame.shape)) for one in (source, recipe))
        shown = zip(pictures, ("the source", "the recipe"), strict=True)
        name = Path(path).name
        cells = [Cell(picture, caption, name) for picture, caption in shown]
        cells.append(Cell(_apart(off, frame.shape[:2]), _apart_says(off), name))
        rows.append(Row("", tuple(cells)))
    return film(rows, "Frames as the camera recorded them, through the LUT and through the recipe.")


def _apart(off: Array, shape: tuple[int, ...]) -> Any:
    """Return differences as a picture: white where both agree, dark where they are far apart."""
    grey = np.rint(255 * (1.0 - np.minimum(off / _DARKEST, 1.0))).astype(np.uint8)
    return grey.reshape(shape)[..., None].repeat(3, axis=2)


def _apart_says(off: Array) -> str:
    return (
        f"their difference: white 0, black {_DARKEST:.0f} and more (mean {off.mean():.2f}, "
        f"largest {off.max():.2f})"
    )


def _steps(made: Adopted) -> str:
    return f"<pre>{escape(made.look.text)}</pre>"
