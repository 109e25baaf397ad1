"""One frame of whatever was filmed, as code values of its camera."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from lookkit.errors import InputError
from lookkit.media.clip import Clip, frame_at, planes_of
from lookkit.media.coding import Coding
from lookkit.media.grader import taken_range
from lookkit.media.jobs import Taken
from lookkit.media.numbered import Numbered
from lookkit.media.raw import read_raw
from lookkit.media.stills import Still, read_still
from lookkit.recipe.shots import RAW

if TYPE_CHECKING:
    from lookkit.look import Look

Pixels = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Picture:
    """One frame as its camera recorded it.

    `code` is float32 (height, width, 3): what the camera's chain takes, 0-1 for all codes of
    its files. `aspect` is width over height of a pixel. `place` says which frame of what.
    `is_unseen` where its alpha is 0 everywhere.
    """

    code: Pixels
    aspect: Fraction
    place: str
    is_unseen: bool = False


def read_code(look: Look, camera: str, path: Path) -> Still:
    """Read a still as code values of its camera; camera raw is developed and encoded.

    Codes of legal range are carried from the file's bits to those that the camera's chain counts
    in: white is 235 x 2^(bits-8) of either.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    if path.suffix.lower() not in RAW:
        still = read_still(path)
        span = look.graph.input_transform(camera).signal_range
        scale, offset = taken_range(look, Coding("rgb", span, still.depth), camera)
        if span == "full":
            return still
        pixels = still.pixels * np.float32(scale) + np.float32(offset)
        return replace(still, pixels=pixels)
    import OpenImageIO as oiio

    code = look.graph.input_transform(camera).inverse(read_raw(path))
    return Still(np.ascontiguousarray(code, dtype=np.float32), None, 16, oiio.ImageSpec())


def pixel_of(look: Look, camera: str, path: Path, place: str) -> tuple[float, float, float]:
    """Return the camera's code values at "X,Y" of a still, counted from its top left corner.

    Raises
    ------
    InputError
        If the picture cannot be read, or has no such pixel.
    """
    still = read_code(look, camera, path)
    height, width = still.pixels.shape[:2]
    try:
        x, y = (int(part) for part in place.split(","))
    except ValueError as error:
        raise InputError(f"{place!r}: expected a pixel as X,Y") from error
    if not (0 <= x < width and 0 <= y < height):
        raise InputError(f"{path}: no pixel {x},{y}, expected below {width},{height}")
    red, green, blue = (float(value) for value in still.pixels[y, x])
    return red, green, blue


def read_frame(look: Look, taken: Taken, share: float = 0.5, width: int | None = None) -> Picture:
    """Read one frame: a still, or the one at a share of a clip's or sequence's length.

    Parameters
    ----------
    width
        What is at least twice as wide is halved, its codes averaged, until it is not.

    Raises
    ------
    LookkitError
        If it cannot be read.
    """
    source = taken.source
    if isinstance(source, Clip):
        return _of_clip(look, taken, source, share, width)
    path = source
    if isinstance(source, Numbered):
        path = source.path(source.frames[round((len(source.frames) - 1) * share)])
    assert isinstance(path, Path)
    still = read_code(look, taken.camera, path)
    (code,) = _halved([still.pixels], width)
    return Picture(code, still.aspect, str(path), still.is_unseen)


def _of_clip(look: Look, taken: Taken, clip: Clip, share: float, width: int | None) -> Picture:
    halved = _halvings(clip.width, clip.height, width)
    frame = frame_at(clip, share, halved)
    coding = replace(clip.coding, range=taken.range, signal=taken.signal)
    matrix, offset = coding.to_rgb()
    planes = [plane[:, : frame.picture.width] for plane in planes_of(frame.picture)]
    coded = np.stack(planes, axis=-1).astype(np.float32) / np.float32(65535)
    rgb = coded @ matrix.T.astype(np.float32) + offset.astype(np.float32)
    scale, shift = taken_range(look, coding, taken.camera)
    code = np.ascontiguousarray(rgb * np.float32(scale) + np.float32(shift), dtype=np.float32)
    return Picture(
        code, clip.upright_aspect, f"{clip.path}, frame {frame.number + 1} of {clip.frames}"
    )


def _halved(planes: list[npt.NDArray[Any]], width: int | None) -> list[npt.NDArray[Any]]:
    """Return planes of shape (h, w, ...), halved while they are twice as wide as wanted."""
    for _ in range(_halvings(planes[0].shape[1], planes[0].shape[0], width)):
        high, wide = (length // 2 * 2 for length in planes[0].shape[:2])
        cut = [plane[:high, :wide].astype(np.float32) for plane in planes]
        planes = [
            (one[::2, ::2] + one[::2, 1::2] + one[1::2, ::2] + one[1::2, 1::2]) / np.float32(4)
            for one in cut
        ]
    return planes


def _halvings(wide: int, high: int, width: int | None) -> int:
    """Return how often a picture is halved while it is twice as wide as wanted."""
    count = 0
    while width is not None and wide >> count >= 2 * width and high >> count >= 2:
        count += 1
    return count
