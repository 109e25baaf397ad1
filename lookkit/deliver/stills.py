"""The look for finished photographs: a lattice picture, sRGB in and sRGB out.

A lattice picture of level n holds a lattice of n^2 points an edge as n^3 x n^3 pixels, red
fastest and blue slowest, row by row (common practice, no source: FFmpeg's haldclut and
ImageMagick's -hald-clut read it). Level 8 is 64 points and 512 x 512 pixels, of 16 bits.

A photograph is read as a display-ready camera: through the recipe's own camera of encoding sRGB
where there is one, else with its highlights opened, since its white lies only 2.5 stops over
mid-grey. It is shown on the recipe's sRGB output, or with the recipe's rendering on sRGB.

An ICC device link would serve the same people. No well-kept Python library writes one: Pillow's
ImageCms makes transforms but saves none, colour-science and OpenImageIO have no ICC writer.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lookkit.deliver.certified import certified
from lookkit.deliver.names import look_stem, shown_look
from lookkit.deliver.written import Job, Written
from lookkit.errors import LookkitError
from lookkit.files import safe_name, write_beside
from lookkit.graph import Decoding, InputTransform, OutputTransform, checked
from lookkit.lattice.of_graph import Baking
from lookkit.nodes.base import Op
from lookkit.nodes.curve import Curve
from lookkit.spaces.encodings import encoding
from lookkit.spaces.outputs import Output, output
from lookkit.spaces.working import Array
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

LEVEL: Final = 8
FOLDER: Final = "stills"
SPACE: Final = "sRGB"
OPENED: Final = ((-8.0, -8.0), (0.0, 0.0), (1.2, 1.25), (2.0, 2.3), (2.474, 3.5))
"""What opens the highlights of a finished photograph, in stops: its white comes to lie 3.5 stops
over mid-grey. Our own choice."""
_TOP: Final = 65535
_WIDEST: Final = 4096
"""Pixels of a side that are read at all: a lattice of 256 points."""


def jobs(look: Look) -> list[Job]:
    """Return one job per way a photograph is read, and per delivered scene."""
    return [_job(look, camera, scene) for camera, scene in pictures(look)]


def pictures(look: Look) -> list[tuple[str | None, str | None]]:
    """Return camera and scene of each lattice picture; no camera reads photographs by default."""
    scenes = (None, *look.recipe.deliver.scenes)
    return [
        (camera, scene)
        for camera in cameras(look)
        for scene in scenes
        if scene is None or camera is None or camera in look.recipe.cameras_of(scene)
    ]


def cameras(look: Look) -> list[str | None]:
    """Return the recipe's cameras whose pictures are full-range sRGB; None alone if it has none."""
    found: list[str | None] = []
    for name in look.cameras:
        step = look.graph.input_transform(name)
        if step.encoding.name == SPACE and step.signal_range == "full":
            found.append(name)
    return found or [None]


def chain(look: Look, camera: str | None, scene: str | None = None) -> tuple[Op, ...]:
    """Return the steps from an sRGB photograph to the sRGB picture that is shown."""
    graph = look.graph
    name, target = shown_on(look)
    opened = (InputTransform(encoding(SPACE)), Curve(points=OPENED))
    recipe = look.recipe if scene is None else look.recipe.in_scene(scene)
    rendering = recipe.rendering.ops_for(target) if name is None else graph.rendering(name, scene)
    return checked(
        (
            *(opened if camera is None else graph.camera(camera, scene)),
            *graph.trims(scene),
            *graph.look(scene),
            *rendering,
            OutputTransform(target),
        )
    )


def decoding(look: Look, camera: str | None, scene: str | None = None) -> Decoding:
    """Return what the codes of an sRGB photograph mean."""
    if camera is None:
        return Decoding((InputTransform(encoding(SPACE)),))
    return look.graph.decoding(camera, scene)


def shown_on(look: Look) -> tuple[str | None, Output]:
    """Return the recipe's full-range sRGB output and its name, or sRGB itself and None."""
    for name in look.outputs:
        target = look.graph.output(name)
        if target.name == SPACE and target.range == "full":
            return name, target
    return None, output(SPACE)


def write_picture(lattice: Array, path: Path, title: str) -> None:
    """Write a lattice, shape (n^2, n^2, n^2, 3) indexed [r, g, b], as a picture of 16 bits.

    Values are held to 0-1.

    Raises
    ------
    LookkitError
        If the disk fails.
    """
    import OpenImageIO as oiio

    side = round(len(lattice) ** 1.5)
    rows = np.moveaxis(lattice, (0, 1, 2), (2, 1, 0)).reshape(side, side, 3)
    pixels = np.rint(np.clip(rows, 0.0, 1.0) * _TOP).astype(np.uint16)
    spec = oiio.ImageSpec(side, side, 3, "uint16")
    spec.attribute("Software", f"lookkit {__version__}")
    spec.attribute("ImageDescription", title)
    with write_beside(path) as beside:
        writer = oiio.ImageOutput.create(str(beside))
        done = (
            writer is not None
            and writer.open(str(beside), spec)
            and writer.write_image(pixels)
            and writer.close()
        )
        if not done:
            raise LookkitError(f"{path}: writing failed ({oiio.geterror() or 'disk full?'})")


def read_picture(path: Path) -> Array:
    """Return the lattice of a lattice picture, indexed [r, g, b].

    Raises
    ------
    LookkitError
        If it cannot be read, or its sides are no lattice's.
    """
    import OpenImageIO as oiio

    reader = oiio.ImageInput.open(str(path))
    pixels: Any = None
    if reader is not None and max(reader.spec().width, reader.spec().height) <= _WIDEST:
        pixels = reader.read_image("uint16")
    size = 0 if pixels is None else round(pixels.shape[0] ** (2.0 / 3.0))
    if pixels is None or pixels.shape != (round(size**1.5), round(size**1.5), 3):
        raise LookkitError(f"{path}: no picture of the 3D LUT {oiio.geterror()}".rstrip())
    values = pixels.reshape(size, size, size, 3).astype(np.float64) / _TOP
    return np.ascontiguousarray(np.moveaxis(values, (0, 1, 2), (2, 1, 0)))


def _job(look: Look, camera: str | None, scene: str | None) -> Job:
    def write(folder: Path) -> list[Written]:
        place = folder / FOLDER
        place.mkdir(parents=True, exist_ok=True)
        return [write_still(look, camera, scene, place)]

    return Job(f"stills {camera or SPACE}", write)


def write_still(look: Look, camera: str | None, scene: str | None, folder: Path) -> Written:
    """Write one lattice picture, fitted and certified like a .cube.

    Raises
    ------
    LookkitError
        If the recipe has a budget and the file exceeds it, or the disk fails.
    """
    deliver = look.recipe.deliver
    name, target = shown_on(look)
    who = () if camera is None else (safe_name(camera),)
    stem = "_".join((look_stem(look, scene), *who, SPACE, "to", SPACE, f"level{LEVEL}"))
    path = folder / f"{stem}.png"
    source = Baking.of(chain(look, camera, scene), decoding(look, camera, scene), target)
    made = source.bake(LEVEL * LEVEL, fit=deliver.fit)
    read_as = f"camera {camera}" if camera else "its highlights opened to 3.5 stops over mid-grey"
    note = f"an sRGB photograph, read as {read_as}, in; sRGB, full range, out"
    write_picture(made, path, f"{shown_look(look, scene)}: {note}")
    found = certified(deliver, source, read_picture(path), path)
    return Written(
        path, "stills", "still", camera, name, scene, note,
        found.figures, found.lines, found.over_budget,
    )  # fmt: skip
