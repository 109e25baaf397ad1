"""Certificates beside built .cube files, found again and told on a page."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookkit.deliver.cube import SIZES, cube_name
from lookkit.errors import InputError
from lookkit.report.html import details, table
from lookkit.report.shown import hex_of

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
            raise InputError(f"{place}: does not exist, expected a certificate or a folder of some")
        inside = sorted(place.rglob(f"*{_SUFFIX}")) if place.is_dir() else [place]
        for path in inside:
            name = path.name.removesuffix(".json")
            if name not in known:
                if place.is_dir():
                    continue
                raise InputError(f"{path}: is not the certificate of a .cube of {look.source}")
            camera, output, scene = known[name]
            found[name] = Found(name, camera, output, scene, _read(path))
    return [found[name] for name in sorted(found)]


def _known(look: Look) -> dict[str, tuple[str, str, str | None]]:
    return {
        cube_name(look, camera, output, size, scene): (camera, output, scene)
        for camera in look.cameras
        for output in look.outputs
        for scene in (None, *look.scenes)
        for size in SIZES
    }


def _read(path: Path) -> Mapping[str, Any]:
    try:
        facts: Mapping[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        for reading in facts["readings"]:
            for _, name, figure in _FIGURES:
                float(reading["sets"][name]["delta_e_2000"][figure])
            for worst in reading["worst"]:
                _ = [worst[key] for key in ("exact", "read", "delta_e_2000", "stops", "hue_name")]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(f"{path}: is no certificate ({error!r})") from error
    return facts


def certificates_html(look: Look, found: Sequence[Found]) -> str:
    """Return what certificates say: a table of figures, and the worst colours of each file."""
    rows = []
    for one in found:
        for reading in one.facts["readings"]:
            figures = [
                f"{reading['sets'][name]['delta_e_2000'][figure]:.2f}"
                for _, name, figure in _FIGURES
            ]
            rows.append([
                _titled(one), str(one.facts["size"]), reading["reader"], *figures,
                f"{reading['maximum']:.1f}",
            ])  # fmt: skip
    head = ["file", "points", "read", *(text for text, _, _ in _FIGURES), "whole cube, largest"]
    told = "Delta E 2000 between the file as readers read it and the exact look"
    parts = [table(head, rows, told)]
    parts += [details(f"The worst colours of {_titled(one)}, {one.facts['size']} points",
                      _worst(look, one)) for one in found]  # fmt: skip
    return "\n".join(parts)


def _titled(one: Found) -> str:
    scene = f", scene {one.scene}" if one.scene else ""
    return f"camera {one.camera}{scene} to {one.output}"


def _worst(look: Look, one: Found) -> str:
    target = look.graph.output(one.output)
    reading = one.facts["readings"][0]
    rows = []
    for worst in reading["worst"]:
        exact, read = hex_of(target, worst["exact"]), hex_of(target, worst["read"])
        told = escape(f"exact {exact}, read {read}", quote=True)
        chips = (
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
