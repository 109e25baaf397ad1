"""Whether a GPU can show a config: its shaders written within limits, and run where GL is.

Every viewer that works on the GPU asks OpenColorIO for a shader's text and tables. That is done
here in a process of its own, for it may never end: in OpenColorIO 2.2 to 2.6 a 1D table of 65521
to 65535 entries allocates without end.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.ocio import library
from lookkit.spaces.working import Array

SECONDS: Final = 2.0
"""Of one processor, for the shader of a view in one language."""
MEMORY: Final = 300 << 20
"""Bytes that writing the shaders of a config may take."""
TEXTURES: Final = 64 << 20
"""Bytes of all tables of a view."""
_LATE: Final = 600
_HOME: Final = str(Path(__file__).resolve().parents[2])


@dataclass(frozen=True)
class View:
    """A way through a config, by the names that it has there."""

    space: str
    display: str
    view: str

    def __str__(self) -> str:
        return f"{self.space}, {self.display}, view {self.view}"


@dataclass(frozen=True)
class Written:
    """What the shaders of some views take, at most; `fault` is what is wrong, or empty."""

    views: int
    seconds: float
    memory: int
    textures: int
    fault: str = ""


@dataclass(frozen=True, eq=False)
class Drawn:
    """What GL made of pixels.

    Attributes
    ----------
    renderer
        What drew them; empty where nothing could.
    pictures
        For each view, shape (n, 3).
    reason
        Why there are none.
    """

    renderer: str
    pictures: tuple[Array, ...]
    reason: str = ""


def views_of(config: Any, spaces: Sequence[str]) -> list[View]:
    """Return every display and view of an OpenColorIO config, from each of some colour spaces."""
    return [
        View(space, display, view)
        for space in spaces
        for display in config.getDisplays()
        for view in config.getViews(display)
    ]


def write_shaders(path: Path, views: Sequence[View]) -> Written:
    """Write the shaders of views in GLSL 4.0 and GLSL ES 3.0, without 1D textures.

    Parameters
    ----------
    path
        A config or an archive.
    """
    lines = _asked(path, views, run=False)
    done = [line for line in lines if "done" in line]
    most = {
        key: max((line[key] for line in done), default=0)
        for key in ("seconds", "memory", "textures")
    }
    fault = ""
    if len(done) < len(views):
        fault = (
            f"{views[len(done)]}: its shader cannot be had within {2 * SECONDS:g} s and "
            f"{MEMORY >> 20} MB"
        )
    elif most["seconds"] > SECONDS:
        fault = f"a shader took {most['seconds']:.1f} s, expected {SECONDS:g} at most"
    elif most["textures"] > TEXTURES:
        fault = (
            f"the tables of a view take {most['textures'] >> 20} MB, expected "
            f"{TEXTURES >> 20} at most"
        )
    return Written(len(done), most["seconds"], most["memory"], most["textures"], fault)


def draw(path: Path, views: Sequence[View], pixels: Array) -> Drawn:
    """Run the shaders of views over pixels, shape (n, 3), in a GL without a window.

    The first 16384 pixels are taken, for no picture is wider.
    """
    with tempfile.TemporaryDirectory(prefix="lookkit-") as name:
        lines = _asked(path, views, run=True, folder=Path(name), pixels=pixels[:16384])
        renderer = next((line["renderer"] for line in lines if "renderer" in line), "")
        if not renderer:
            reason = next((line["absent"] for line in lines if "absent" in line), "no GL here")
            return Drawn("", (), reason)
        count = sum("drawn" in line for line in lines)
        pictures = tuple(
            np.load(Path(name) / f"{index}.npy").astype(np.float64) for index in range(count)
        )
    reason = "" if count == len(views) else f"{views[count]}: the shader does not run"
    return Drawn(renderer, pictures, reason)


def _asked(
    path: Path,
    views: Sequence[View],
    *,
    run: bool,
    folder: Path = Path(),
    pixels: Array | None = None,
) -> list[dict[str, Any]]:
    """Return the lines that the process prints."""
    library()
    if pixels is not None:
        np.save(folder / "pixels.npy", pixels)
    job = {
        "path": str(path.absolute()),
        "run": run,
        "memory": MEMORY,
        "seconds": 2 * SECONDS,
        "pixels": str(folder / "pixels.npy"),
        "views": [
            {**one.__dict__, "result": str(folder / f"{index}.npy")}
            for index, one in enumerate(views)
        ],
    }
    # One thread a library: each would take the address space of all cores.
    environment = os.environ | {
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
        "LIBGL_ALWAYS_SOFTWARE": "1",
        "PYTHONPATH": os.pathsep.join(filter(None, [_HOME, os.environ.get("PYTHONPATH")])),
    }
    try:
        text = subprocess.run(
            [sys.executable, "-P", "-m", "lookkit.inspect.shader_process"],
            input=json.dumps(job).encode(),
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=_LATE,
            env=environment,
            check=False,
        ).stdout
    except subprocess.TimeoutExpired as late:
        text = late.stdout or b""
    return [json.loads(line) for line in text.decode().splitlines() if line.endswith("}")]
