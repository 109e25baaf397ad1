"""Writing a proof: frames and lattices are put into the page as text, its script beside them.

Frames are the places of their light in the film's domain, 12 bits a channel; each take has the
lattice of each scene. Both are differences along a row, high bytes apart from low ones, deflated
(RFC 1950) and in base64: what a browser undoes by itself.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Mapping, Sequence
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from lookkit.files import write_beside
from lookkit.look import Look
from lookkit.page.live import Shown
from lookkit.page.pictures import Domain, Picture, is_current, resized
from lookkit.progress import Progress, silent
from lookkit.report.shown import data_uri

WIDTH: Final = 720
"""Pixels across a frame of a proof."""
POINTS: Final = 33
_BITS: Final = 12
_POLICY: Final = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:"
)


def write_proof(
    looks: Mapping[str, Look],
    pictures: Sequence[Picture],
    output: str,
    target: Path,
    progress: Progress = silent,
) -> list[str]:
    """Write a proof of some takes of a film.

    Parameters
    ----------
    looks
        The takes by their names, the one shown first first; all of one recipe.
    output
        The name of the output that is shown, in standard range on the page.

    Returns
    -------
    list of str
        The takes that were left out: they read a camera otherwise than the first one does, by
        another encoding or match, so that its frames are not theirs.

    Raises
    ------
    NotWrittenError
        If the file cannot be written.
    """
    first = next(iter(looks.values()))
    same = {
        name: look
        for name, look in looks.items()
        if output in look.outputs and all(_reads(look, one) for one in pictures)
    }
    shown = Shown(Domain.of(one.light for one in pictures))
    frames: list[dict[str, Any]] = []
    for count, picture in enumerate(pictures):
        progress("frames", count, len(pictures) + len(same))
        frames.append(_frame(shown, picture))
    takes: list[dict[str, Any]] = []
    for count, (name, look) in enumerate(same.items()):
        progress("takes", len(pictures) + count, len(pictures) + len(same))
        places = [picture.place_in(look) for picture in pictures]
        found = shown.lattices(look, places, output, POINTS)
        takes.append(
            {
                "name": name,
                "which": found.which,
                "lattices": [
                    packed(one.values.reshape(POINTS**2, POINTS, 3)) for one in found.made
                ],
            }
        )
    data = {
        "name": first.recipe.name,
        "show": first.recipe.show,
        "output": output,
        "hdr": bool(first.graph.output(output).is_hdr),
        "texture": any(_is_textured(look, output, pictures) for look in same.values()),
        "points": POINTS,
        "frames": frames,
        "takes": takes,
    }
    with write_beside(target) as beside:
        beside.write_text(_page(data), encoding="utf-8")
    return [name for name in looks if name not in same]


def _is_textured(look: Look, output: str, pictures: Sequence[Picture]) -> bool:
    settings = {one.place_in(look)[1] for one in pictures}
    return any(look.has_texture(output, setting) for setting in settings)


def _reads(look: Look, picture: Picture) -> bool:
    """Say whether a take has a picture's camera and scene, and reads it as it was read."""
    scenes = (None, *look.scenes)
    return picture.camera in look.cameras and picture.scene in scenes and is_current(look, picture)


def _frame(shown: Shown, picture: Picture) -> dict[str, Any]:
    high, wide = picture.light.shape[:2]
    width = min(WIDTH, wide)
    height = max(1, round(high * width / wide))
    coded = shown.domain.coded(resized(picture.light, width, height))
    coarse = np.rint(coded * ((2**_BITS - 1) / 65535.0)).astype(np.uint16)
    before = np.rint(resized(picture.before.astype(np.float32), width, height)).astype(np.uint8)
    return {
        "scene": picture.scene,
        "camera": picture.camera,
        "name": picture.place,
        "w": width,
        "h": height,
        "top": 2**_BITS - 1,
        "light": packed(coarse),
        "before": data_uri(before),
    }


def packed(codes: npt.NDArray[np.uint16]) -> str:
    """Return integers, shape (rows, n, 3), as text; see the module."""
    before = np.zeros_like(codes)
    before[:, 1:] = codes[:, :-1]
    apart = (codes - before).astype(np.uint16)
    low, high = (apart & 255).astype(np.uint8), (apart >> 8).astype(np.uint8)
    planes = [part[..., channel].tobytes() for part in (low, high) for channel in range(3)]
    return base64.b64encode(zlib.compress(b"".join(planes), 9)).decode("ascii")


def _page(data: Mapping[str, Any]) -> str:
    text = files("lookkit.page")
    drawing = text.joinpath("static/gl.js").read_text(encoding="utf-8").replace("export ", "")
    script = text.joinpath("proof/proof.js").read_text(encoding="utf-8")
    script = script.replace("import {BEFORE, Film, OTHER} from '../static/gl.js';\n", "")
    style = text.joinpath("proof/proof.css").read_text(encoding="utf-8")
    body = text.joinpath("proof/proof.html").read_text(encoding="utf-8")
    # Inside a script, only its own end could end it.
    kept = json.dumps(data, ensure_ascii=False).replace("<", "\\u003c")
    return (
        body.replace("POLICY", _POLICY)
        .replace("TITLE", escape(f"{data['name']}, {data['show']}"))
        .replace("/* STYLE */", style)
        .replace("/* SCRIPT */", f"const PROOF = {kept};\n{drawing}\n{script}")
    )
