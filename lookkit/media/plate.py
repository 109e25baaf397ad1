"""Writing a plate of grain as a movie."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lookkit.errors import InputError
from lookkit.media.avlib import library
from lookkit.media.clip import planes_of
from lookkit.media.codecs import CODECS, SUFFIXES, check_build
from lookkit.media.coding import Coding
from lookkit.media.movie import MovieSpec, MovieWriter
from lookkit.media.partial import whole_or_none
from lookkit.media.pipeline import Behind
from lookkit.media.tags import output_tags
from lookkit.progress import Progress, silent
from lookkit.spaces import ranges
from lookkit.texture.plate import Match, Plate
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

CODEC: Final = "prores-4444"
_LARGEST: Final = 16384


def write_plate(
    look: Look,
    path: Path,
    output: str,
    *,
    size: tuple[int, int] = (1920, 1080),
    frames: int = 240,
    rate: Fraction = Fraction(24),
    progress: Progress = silent,
) -> list[Match]:
    """Write the grain of a look's mid-grey as a movie, and say how true it is on other greys.

    Parameters
    ----------
    path
        A .mov or .mkv.
    output
        For which of the recipe's outputs: the plate lies over its pictures.
    size
        Width and height in pixels.

    Raises
    ------
    InputError
        If the look has no texture, the output no negative, or the movie cannot be as asked.
    LookkitError
        If it cannot be written.
    """
    codec = CODECS[CODEC]
    width, height = size
    texture = look.recipe.texture
    if texture is None or not any(texture.numbers.granularity):
        raise InputError(f"{look.source}: has no grain, expected a [texture] with some")
    if path.suffix.lower() not in codec.suffixes:
        known = [one for one in SUFFIXES if one in codec.suffixes]
        raise InputError(f"{path}: a plate is {' or '.join(known)}")
    if not (2 <= width <= _LARGEST and 2 <= height <= _LARGEST) or frames < 1:
        raise InputError(f"{width}x{height}, {frames} frames: expected 2 to {_LARGEST} pixels a "
                         "side, and a frame or more")  # fmt: skip
    if why := codec.misfit(width, height):
        raise InputError(f"{path}: {why}")
    check_build(codec)
    display = look.graph.output(output)
    tags = output_tags(display)
    plate = Plate(look.graph, output, texture.numbers, height, width)
    bits = codec.bits(None)
    coding = Coding("bt2020" if tags.matrix == 9 else "bt709", "legal", bits)
    note = f"lookkit {__version__}: grain of {look.recipe.name}, to overlay on {display.name}"
    spec = MovieSpec(codec, coding, tags, width, height, rate, 1 / rate, note=note, frames=frames)
    matrix, zero = (part.astype(np.float32) for part in coding.from_rgb())
    scale, offset = ranges.scale_offset("full", coding.range, bits, bits)
    with whole_or_none(path) as part:
        writer = MovieWriter(part, spec, path)

        def write(item: tuple[Any, int]) -> None:
            writer.write(*item)

        try:
            with Behind(write) as behind:
                for number in range(frames):
                    progress(f"grain, frame {number + 1} of {frames}", number, frames)
                    legal = plate.frame(number) * np.float32(scale) + np.float32(offset)
                    codes = np.clip(legal @ matrix.T + zero, 0.0, 1.0)
                    picture = library().VideoFrame(width, height, "yuv444p16le")
                    for channel, plane in enumerate(planes_of(picture)):
                        plane[:, :width] = np.rint(codes[..., channel] * np.float32(65535))
                    behind.put((picture, number))
            writer.close(None)
        except BaseException:
            writer.abandon()
            raise
    progress("grain", frames, frames)
    return plate.matches()
