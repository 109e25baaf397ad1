"""Certificates beside built .cube files, found again and told on a page."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookkit.deliver.cube import SIZES, cube_name
from lookkit.errors import InputError
from lookkit.report.charts import axes
from lookkit.report.html import INK, LINES, QUIET, Markup, figure, folded, table

if TYPE_CHECKING:
    from lookkit.look import Look

_SUFFIX = ".cube.json"
_FIGURES = (
    ("greys, largest", "neutral-ramp", "max"),
    ("pictures, mean", "image-like", "mean"),
    ("pictures, 99.9 %", "image-like", "p999"),
    ("skin, 99.9 %", "skin", "p999"),
    ("coloured lights, 99 %", "saturated-emitters", "p99"),
)

_SETS = {
    "neutral-ramp": "greys",
    "image-like": "pictures",
    "skin": "skin",
    "saturated-emitters": "coloured lights",
    "over-range": "over range",
    "whole-cube": "whole cube",
    "bright-skies": "bright skies",
    "negative-lights": "lights below zero",
    "clipped-faces": "clipped codes",
}
_LATER = ("bright-skies", "negative-lights", "clipped-faces")
"""Sets that reports of earlier versions lack."""

_LEAST = 0.01
"""Delta E under which nothing is drawn."""


@dataclass(frozen=True)
class Found:
    """A certificate, and the file and output that it is of.

    `facts` is the certificate as its JSON holds it.
    """

    name: str
    camera: str
    output: str
    scene: str | None
    facts: Mapping[str, Any]


def find_certificates(look: Look, places: Iterable[Path]) -> list[Found]:
    """Read the certificates of a look from files and folders, in the order of their names.

    Those of other looks' files in a folder are passed over.

    Raises
    ------
    InputError
        If a place does not exist, or a file that was named is no certificate of this look.
    """
    known = _known(look)
    found: dict[str, Found] = {}
    for place in places:
        if not place.exists():
            raise InputError(f"{place}: does not exist, expected an accuracy report or a folder")
        inside = sorted(place.rglob(f"*{_SUFFIX}")) if place.is_dir() else [place]
        for path in inside:
            name = path.name.removesuffix(".json")
            if name not in known:
                if place.is_dir():
                    continue
                raise InputError(f"{path}: is not the accuracy report of a .cube of {look.source}")
            camera, output, scene = known[name]
            found[name] = Found(name, camera, output, scene, _read(path))
    return [found[name] for name in sorted(found)]


def _known(look: Look) -> dict[str, tuple[str, str, str | None]]:
    return {
        cube_name(look, camera, output, size, scene): (camera, output, scene)
        for camera in look.cameras
        for output in look.outputs
        for scene in (None, *look.scenes, *look.recipe.shot_settings)
        for size in SIZES
    }


def _read(path: Path) -> Mapping[str, Any]:
    try:
        facts: Mapping[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        numbers = [facts["size"], facts.get("folds", 0)]
        for reading in facts["readings"]:
            numbers.append(reading["maximum"])
            words = [reading["reader"]]
            for name in [one for one in _SETS if one in reading["sets"] or one not in _LATER]:
                figures = reading["sets"][name]["delta_e_2000"]
                numbers += [figures[key] for key in ("mean", "p99", "p999", "max")]
            for worst in reading["worst"]:
                numbers += [worst["delta_e_2000"], worst["stops"]]
                words += [worst["hue_name"], worst.get("lives_in", "")]
                _ = [_hex(worst[name]) for name in ("exact_srgb", "read_srgb")]
            if not all(isinstance(one, str) for one in words):
                raise TypeError("a name that is no text")
        if not facts["readings"]:
            raise ValueError("no readings")
        if not all(type(one) in (int, float) and math.isfinite(one) for one in numbers):
            raise ValueError("a figure that is no number")
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise InputError(f"{path}: is no accuracy report ({error!r})") from error
    except OverflowError as error:
        raise InputError(f"{path}: is no accuracy report (a number beyond any measure)") from error
    return facts


def _hex(srgb: Sequence[float]) -> str:
    red, green, blue = (round(255 * min(max(float(value), 0.0), 1.0)) for value in srgb)
    return f"#{red:02x}{green:02x}{blue:02x}"


def certificates_html(look: Look, found: Sequence[Found]) -> str:
    """Return what certificates say: a table of figures, and the worst colours of each file."""
    rows = []
    for one in found:
        for reading in one.facts["readings"]:
            figures = [
                f"{reading['sets'][name]['delta_e_2000'][key]:.2f}" for _, name, key in _FIGURES
            ]
            rows.append([
                _titled(one), str(one.facts["size"]), reading["reader"], *figures,
                f"{reading['maximum']:.1f}",
            ])  # fmt: skip
    head = ["file", "points", "read", *(text for text, _, _ in _FIGURES), "whole cube, largest"]
    told = "Delta E 2000 between the file as readers read it and the exact look"
    parts = [_drawn(found), table(head, rows, told)]
    parts.append(folded(
        (f"The worst colours of {_titled(one)}, {one.facts['size']} points", _worst(one))
        for one in found
    ))  # fmt: skip
    return "\n".join(parts)


def _drawn(found: Sequence[Found]) -> str:
    """Return a chart for each camera: how far off its files are on each set of colours."""
    drawn = []
    for number, camera in enumerate(dict.fromkeys(one.camera for one in found)):
        mine = [one for one in found if one.camera == camera]
        said = "; ".join(
            f"{_titled(one)}: pictures {_of(one, 'image-like')['mean']:.2f} on the mean, "
            f"{_of(one, 'image-like')['p999']:.2f} at 99.9 %, largest of the whole cube "
            f"{_of(one, 'whole-cube')['max']:.1f}"
            for one in mine
        )
        title = f"Delta E 2000 of the files of camera {camera}"
        caption = f"{title}: dot the mean, bar to 99.9 %, stroke the largest."
        chart = certificate_figure(mine)
        drawn.append(figure(chart, f"exact-{number}", title, said, caption, "fits"))
    return f'<div class="pair trio">{"".join(drawn)}</div>'


def certificate_figure(found: Sequence[Found]) -> Any:
    """Return a chart of certificates: sets of colours down, Delta E 2000 across."""
    shown = [name for name in _SETS if all(_has(one, name) for one in found)]
    drawing, axis = axes(5.6, 0.9 + len(shown) * (0.2 + 0.075 * len(found)))
    step = 0.8 / len(found)
    for number, one in enumerate(found):
        style = {"color": LINES[number % len(LINES)]}
        for row, name in enumerate(shown):
            figures = _of(one, name)
            y = row - 0.4 + step * (number + 0.5)
            mean, top, most = (max(figures[key], _LEAST) for key in ("mean", "p999", "max"))
            axis.plot([mean, top], [y, y], linewidth=1.8, **style)
            axis.plot([mean], [y], "o", markersize=3.6, **style)
            axis.plot([top, most], [y, y], linewidth=0.8, **style)
            axis.plot([most], [y], "|", markersize=5.5, markeredgewidth=1.5, **style)
    axis.set_xscale("log")
    axis.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axis.axvline(1.0, color=QUIET, linewidth=0.9)
    axis.set_yticks(range(len(shown)), [_SETS[name] for name in shown])
    axis.set_ylim(len(shown) - 0.4, -0.6)
    axis.grid(visible=False, axis="y")
    axis.set_xlabel("Delta E 2000")
    from matplotlib.lines import Line2D

    names = [
        Line2D([], [], marker="o", linestyle="", color=LINES[n % len(LINES)], label=_titled(one))
        for n, one in enumerate(found)
    ]
    drawing.legend(handles=names, loc="outside upper left", fontsize=9, frameon=False,
                   labelcolor=INK, ncols=2)  # fmt: skip
    return drawing


def _has(one: Found, name: str) -> bool:
    return name in one.facts["readings"][0]["sets"]


def _of(one: Found, name: str) -> Mapping[str, float]:
    """Return the figures of a set, read tetrahedrally where that was measured."""
    figures: Mapping[str, float] = one.facts["readings"][0]["sets"][name]["delta_e_2000"]
    return figures


def _titled(one: Found) -> str:
    scene = f", scene {one.scene}" if one.scene else ""
    return f"camera {one.camera}{scene} to {one.output}"


def _worst(one: Found) -> str:
    reading = one.facts["readings"][0]
    rows = []
    for worst in reading["worst"]:
        exact, read = (_hex(worst[name]) for name in ("exact_srgb", "read_srgb"))
        told = escape(f"exact {exact}, read {read}", quote=True)
        chips = Markup(
            f'<span class="chips" role="img" aria-label="{told}">'
            f'<span class="chip" style="background:{exact}"></span>'
            f'<span class="chip" style="background:{read}"></span></span>'
        )
        rows.append([
            chips, f"{worst['delta_e_2000']:.1f}", worst["hue_name"], f"{worst['stops']:+.1f}",
            str(worst.get("lives_in", "")),
        ])  # fmt: skip
    head = ["exact, read", "Delta E 2000", "hue", "stops from mid-grey", "found in"]
    folds = one.facts.get("folds", 0)
    cells = "cell is" if folds == 1 else "cells are"
    return table(head, rows, f"read {reading['reader']}; {folds} {cells} inside out")
