"""The frames a match is made from: stills and clips, averaged over time, with exposures."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.errors import InputError
from lookkit.matchfile.camera_curve import bt709_decode
from lookkit.matchfile.model import UNKNOWN
from lookkit.media.clip import MOVIES, frames_of, planes_of, probe
from lookkit.media.jobs import STILLS
from lookkit.media.stills import LYING, block_means, opened, read_small, read_still
from lookkit.progress import Progress, silent
from lookkit.spaces import ranges
from lookkit.spaces.encodings import Encoding
from lookkit.spaces.ranges import SignalRange
from lookkit.spaces.working import Array

MOST_FRAMES: Final = 48
_ENOUGH: Final = 3000
"""Pixels along the longer side that are enough to find a chart and measure it."""


@dataclass(frozen=True, eq=False)
class Exposure:
    """One exposure: the mean of its frames.

    Attributes
    ----------
    picture
        Code values, (height, width, 3), of a still in float32; 0-1 spans the file's whole integer
        range. Frames of more than 4500 pixels are means of blocks. What is no number (NaN,
        infinity) in all frames is NaN: no light.
    stops
        Relative to the camera's main exposure.
    bits, range
        Of the file; `range` is None where the file does not say (stills).
    reduced
        Pixels of the file across and down that make one of the picture.
    lost_inside
        How many pixels of the file were no numbers before it was reduced.
    """

    picture: Array
    stops: float = 0.0
    files: tuple[str, ...] = ()
    sha256: str = ""
    bits: int = 8
    range: SignalRange | None = None
    reduced: int = 1
    lost_inside: int = 0

    @property
    def lost(self) -> int:
        """How many pixels are no numbers."""
        whole = int(self.picture.size // 3 - np.isfinite(self.picture).all(axis=-1).sum())
        return max(whole, self.lost_inside)


@dataclass(frozen=True, eq=False)
class Footage:
    """All exposures of one camera, and how its codes are to be read.

    Attributes
    ----------
    encoding
        None where unknown: a consumer gamma whose curve the match finds.
    range, bits
        Of the files; default as the encoding says, else as the files say.
    corners
        Four (x, y) in pixels, where the chart is not to be searched for.
    crop
        x, y, width, height in pixels in which to search.
    """

    camera: str
    exposures: tuple[Exposure, ...]
    encoding: Encoding | None = None
    range: SignalRange | None = None
    bits: int | None = None
    corners: Array | None = None
    crop: tuple[int, int, int, int] | None = None

    def __post_init__(self) -> None:
        if not self.exposures:
            raise InputError(f"camera {self.camera}: no frames")
        sizes = {one.picture.shape[:2] for one in self.exposures}
        if len(sizes) > 1:
            listing = " and ".join(f"{width} x {height}" for height, width in sorted(sizes))
            raise InputError(
                f"camera {self.camera}: frames of different size ({listing} pixels), "
                "expected all exposures from one set-up of the camera"
            )
        stops = [one.stops for one in self.exposures]
        if len(set(stops)) < len(stops):
            raise InputError(
                f"camera {self.camera}: two exposures at the same stops "
                f"({', '.join(f'{value:+g}' for value in stops)}): say each one's own, "
                "as in FRAME@-2 FRAME@0 FRAME@+2"
            )

    @property
    def main(self) -> Exposure:
        """The exposure nearest to 0 stops."""
        return min(self.exposures, key=lambda one: abs(one.stops))

    @property
    def encoding_name(self) -> str:
        """The encoding's name, or "unknown"."""
        return self.encoding.name if self.encoding is not None else UNKNOWN

    @property
    def signal_range(self) -> SignalRange:
        """The range of the codes of a camera of unknown encoding."""
        return self.range or self.exposures[0].range or "full"

    @property
    def depth(self) -> int:
        """The bits of the codes of a camera of unknown encoding."""
        return self.bits or next(bits for bits in (*ranges.DEPTHS, 16) if bits >= self._file_bits)

    @property
    def _file_bits(self) -> int:
        return min(self.exposures[0].bits, 16)

    def decode(self, codes: Array) -> Array:
        """Return linear light: AP1 for a known encoding, else BT.709-decoded camera RGB."""
        if self.encoding is not None:
            return self.encoding.decode(codes, range=self.range, bits=self.bits)
        light = bt709_decode(ranges.convert(codes, self.signal_range, "full", self.depth))
        return np.asarray(light)


def read_exposure(
    paths: Sequence[Path], stops: float = 0.0, progress: Progress = silent
) -> Exposure:
    """Read one exposure: one still, many stills, or a clip; the mean over time.

    Raises
    ------
    InputError
        If a file is missing, is no picture or clip, or the sizes differ.
    """
    if not paths:
        raise InputError("no frames to read")
    if len(paths) > 1:
        _of_one_size(paths)
    total: Any = None
    counts: Any = None
    count, bits, reduced, lost = 0, 8, 1, 0
    span: SignalRange | None = None
    for number, path in enumerate(paths):
        progress("reading frames", number, len(paths))
        read = _clip if path.suffix.lower() in MOVIES else _still
        for frame, bits, span, reduced, gone in read(path):  # noqa: B007 the last describe the file
            lost = max(lost, gone)
            if total is not None and frame.shape != total.shape:
                raise _different(path, frame.shape[1::-1], total.shape[1::-1])
            finite = np.isfinite(frame).all(axis=-1)
            whole = bool(finite.all())
            if not whole:
                frame[~finite] = 0.0
            if counts is None and not whole:
                counts = np.full(frame.shape[:2], count, dtype=np.float32)
            if counts is not None:
                counts += finite
            if total is None:
                total = frame
            else:
                total += frame
            count += 1
    if total is None:
        raise InputError(f"{paths[0]}: holds no frame")
    if counts is not None:
        # A pixel counts by those frames in which it is a number.
        total[counts == 0] = np.nan
        total /= np.maximum(counts, 1)[..., None]
    elif count > 1:
        total /= count
    names = tuple(path.name for path in paths)
    return Exposure(total, stops, names, _digest(paths), bits, span, reduced, lost)


def _of_one_size(paths: Sequence[Path]) -> None:
    """Refuse stills of different size by their headers, before any is read."""
    first: tuple[int, int] | None = None
    for path in paths:
        if path.suffix.lower() in MOVIES:
            continue
        reader = opened(path)
        size = (reader.spec().width, reader.spec().height)
        if reader.spec().get_int_attribute("Orientation", 1) in LYING:
            size = size[::-1]
        reader.close()
        first = first or size
        if size != first:
            raise _different(path, size, first)


def _different(path: Path, size: tuple[int, int], first: tuple[int, int]) -> InputError:
    return InputError(
        f"{path}: frames of different size ({size[0]} x {size[1]} pixels, the first has "
        f"{first[0]} x {first[1]})"
    )


def carried(one: Exposure, span: SignalRange | None, bits: int | None) -> Exposure:
    """Return codes of legal range in the bits that they are read in, as `apply` carries them.

    White is 235 x 2^(bits-8) of the file's bits, and of those.

    Parameters
    ----------
    span
        The range they are read in; None for what the file says.
    bits
        None leaves those of the file.
    """
    if bits is None or (span or one.range) != "legal":
        return one
    depth = one.bits if one.bits in ranges.DEPTHS else 16
    scale, offset = ranges.scale_offset("legal", "legal", depth, bits)
    return replace(one, picture=one.picture * scale + offset, bits=bits)


def parse_frames(text: str) -> tuple[str, list[Path], float]:
    """Split CAMERA:FRAMES[@STOPS] into the camera's name, the files and the stops.

    FRAMES is a still, a clip, a folder of stills or a pattern with * in it.

    Raises
    ------
    InputError
        If it has another form or names no file.
    """
    camera, colon, rest = text.partition(":")
    if not colon or not camera.strip() or not rest:
        raise InputError(f"{text!r}: expected CAMERA:FRAMES, as in B:chart.png or B:chart.png@-2")
    place, at, tail = rest.rpartition("@")
    stops = 0.0
    if at:
        try:
            stops = float(tail)
        except ValueError:
            place = rest
    else:
        place = rest
    if not np.isfinite(stops) or abs(stops) > 16.0:
        raise InputError(f"{text!r}: exposure {tail} stops, expected between -16 and +16")
    return camera.strip(), _expand(place), stops


def _expand(place: str) -> list[Path]:
    path = Path(place)
    if path.is_dir():
        return _only(path.iterdir(), place, "the folder holds no stills")
    if "*" in path.name:
        return _only(path.parent.glob(path.name), place, "no still or clip matches")
    return [path]


def _only(paths: Iterable[Path], place: str, problem: str) -> list[Path]:
    found = sorted(one for one in paths if one.suffix.lower() in (*STILLS, *MOVIES))
    if not found:
        raise InputError(f"{place}: {problem}")
    return found


_Picture = tuple[Any, int, SignalRange | None, int, int]
"""Code values, bits, the range where the file says it, how far it was reduced, lost pixels."""


def _reduction(width: int, height: int) -> int:
    """Return the width of the blocks of which the means are taken: 1 up to 4500 pixels."""
    return max(1, round(max(width, height) / _ENOUGH))


def _still(path: Path) -> Iterator[_Picture]:
    reader = opened(path)
    factor = _reduction(reader.spec().width, reader.spec().height)
    reader.close()
    if factor > 1:
        read, lost = read_small(path, factor)
    else:
        read = read_still(path)
        lost = 0
    yield np.array(read.pixels, dtype=np.float32, copy=None), read.bits, None, factor, lost


def _clip(path: Path) -> Iterator[_Picture]:
    """Yield the first frames of a clip, read as `lookkit apply` reads them."""
    clip = probe(path)
    rows, offset = clip.coding.to_rgb()
    factor = _reduction(clip.width, clip.height)
    frames = frames_of(clip, deinterlace=clip.interlaced)
    for frame in islice(frames, MOST_FRAMES):
        planes: list[Any] = [plane[:, : clip.width] for plane in planes_of(frame.picture)]
        if factor > 1:
            planes = [block_means(one[..., None], factor)[..., 0] for one in planes]
        picture = np.stack([one / 65535.0 for one in planes], axis=-1) @ rows.T + offset
        yield picture, clip.coding.bits, clip.coding.range, factor, 0


def _digest(paths: Sequence[Path]) -> str:
    whole = hashlib.sha256()
    for path in paths:
        with path.open("rb") as file:
            whole.update(hashlib.file_digest(file, "sha256").digest())
    return whole.hexdigest()
