"""Movies: what a file holds, and its frames as 16-bit planes, one after the other."""

from __future__ import annotations

import contextlib
import math
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

import numpy as np

from lookkit.bounded import Planes
from lookkit.errors import InputError, LookkitError
from lookkit.media.avlib import library, reason
from lookkit.media.coding import Coding
from lookkit.media.stills import is_location
from lookkit.media.tags import (
    MATRICES,
    PRIMARIES,
    REFUSED_MATRICES,
    SAME_TRANSFER,
    TRANSFERS,
    UNSPECIFIED,
    Tags,
)
from lookkit.media.tally import Tally, late_of
from lookkit.media.times import frame_times, in_order, rate_of
from lookkit.spaces.ranges import DEPTHS

MOVIES: Final = (
    ".mov", ".mp4", ".m4v", ".mkv", ".webm", ".mxf", ".avi", ".ts", ".mts", ".m2ts", ".mpg",
    ".mpeg",
)  # fmt: skip
"""The extensions that are taken for movies."""

REEL: Final = "reel_name"
"""How FFmpeg calls the name of a clip's reel."""
_CENTRED: Final = ("mjpeg", "mpeg1video")
"""Codecs whose chroma lies between the pixels where nothing says otherwise (JPEG, MPEG-1)."""
_FLAGS: Final = "bicubic+accurate_rnd+full_chroma_int+full_chroma_inp"
_FULL, _LEGAL = 2, 1


@dataclass(frozen=True)
class Clip:
    """What a movie holds; nothing in it refers to an open file.

    `width` and `height` are those of upright frames: `rotation` is the turn to the right, in
    degrees, that makes them so, after which a `mirrored` one has left and right swapped.
    `siting` is where chroma lies, in libswscale's words; `frames` counts those to come, `first`
    and `last` are the times of the first and the last in `time_base`; `rate` is exact unless
    `variable`. Frames of an `ordered` clip have no times of their own but their order. `lag` is by
    how many seconds sound begins after the picture, of the stream that is farthest from it.
    `located` says that the file tells where it was taken; `notes` is what a user should know.
    """

    path: Path
    stream: int
    width: int
    height: int
    format: str
    coding: Coding
    siting: str
    tags: Tags
    range_tagged: bool
    rate: Fraction
    variable: bool
    time_base: Fraction
    first: int
    last: int
    frames: int
    ordered: bool = False
    rotation: int = 0
    mirrored: bool = False
    interlaced: bool = False
    aspect: Fraction = Fraction(1)
    timecode: str = ""
    metadata: tuple[tuple[str, str], ...] = ()
    video_metadata: tuple[tuple[str, str], ...] = ()
    audio: int = 0
    lag: Fraction = Fraction(0)
    located: bool = False
    notes: tuple[str, ...] = ()

    @property
    def pixels(self) -> int:
        """How many pixels all frames hold."""
        return self.width * self.height * self.frames

    @property
    def upright_aspect(self) -> Fraction:
        """Width over height of a pixel, when the picture is upright."""
        return self.aspect if self.rotation in (0, 180) else 1 / self.aspect

    @property
    def stored_size(self) -> tuple[int, int]:
        """Width and height as stored, before the turn."""
        turned = self.rotation in (90, 270)
        return (self.height, self.width) if turned else (self.width, self.height)


@dataclass(frozen=True)
class Frame:
    """A decoded frame: its picture in 16-bit 4:4:4 and its time in the clip's `time_base`."""

    number: int
    picture: Any
    time: int


def probe(
    path: Path, *, matrix: str | None = None, see: Callable[[Any], None] | None = None
) -> Clip:
    """Find out what a movie holds, from its index and its first frame.

    Parameters
    ----------
    matrix
        The Y'CbCr matrix, where the file does not tell or tells wrong.
    see
        Is called with the first frame as decoded, which then need not be decoded again.

    Raises
    ------
    InputError
        If it cannot be read, holds no picture, or a picture that cannot be graded.
    """
    av = library()
    if not path.is_file():
        raise InputError(f"{path}: {'is not a file' if path.exists() else 'does not exist'}")
    try:
        if path.stat().st_size == 0:
            raise InputError(f"{path}: empty (0 bytes), expected a movie")
        with av.open(str(path), metadata_errors="replace") as container:
            return _probe(av, container, path, matrix, see)
    except InputError:
        raise
    except (av.FFmpegError, OSError) as error:
        raise InputError(f"{path}: cannot be read as a movie ({reason(error)})") from error


def _probe(
    av: Any,
    container: Any,
    path: Path,
    matrix: str | None,
    see: Callable[[Any], None] | None,
) -> Clip:
    video = container.streams.best("video")
    if video is None:
        kinds = sorted({stream.type for stream in container.streams}) or ["nothing"]
        raise InputError(f"{path}: holds {' and '.join(kinds)} but no picture")
    if video.codec_context is None:
        raise InputError(f"{path}: its picture is in a codec that is not known")
    times, time_base = frame_times(container, video), video.time_base
    ordered = in_order(container)
    outer = _colour_tags(video.codec_context)
    first = _first_frame(av, container, path, video)
    if see is not None:
        see(first)
    start = times[0] if ordered and times else first.pts or 0
    siting, field = _siting_and_field(av, first, video.codec_context.name)
    turned, mirrored, askew = _pose(first)
    notes = _left_out(container, video)
    if any(component.is_alpha for component in first.format.components):
        notes.append("holds alpha: left out")
    if askew:
        notes.append(f"turned by {askew:g} degrees, which is left as it is")
    elif turned or mirrored:
        words = [f"turned by {turned} degrees"] * bool(turned) + ["mirrored"] * mirrored
        notes.append(f"{' and '.join(words)}: written upright")
    coding = _coding(path, first, matrix, notes)
    inner = _colour_tags(first)
    notes += _unlike(outer, inner)
    variable, rate = rate_of(times, video)
    if variable:
        notes.append("variable frame rate: frames keep their own times")
    size = (first.width, first.height)
    width, height = size[::-1] if turned in (90, 270) else size
    return Clip(
        path=path,
        stream=video.index,
        width=width,
        height=height,
        format=first.format.name,
        coding=coding,
        siting=siting,
        tags=Tags(int(first.color_primaries), int(first.color_trc), int(first.colorspace)),
        range_tagged=inner.get("range") == coding.range,
        rate=rate,
        variable=variable,
        time_base=time_base,
        first=start,
        last=times[-1] if times else 0,
        frames=len(times),
        ordered=ordered,
        rotation=turned,
        mirrored=mirrored,
        interlaced=field != "P",
        aspect=Fraction(video.sample_aspect_ratio or 1),
        timecode=_said(container, video, "timecode"),
        metadata=tuple(container.metadata.items()),
        video_metadata=tuple(_of_the_picture(container, video).items()),
        audio=len(container.streams.audio),
        lag=max(
            (late_of(one, start * time_base) or Fraction(0) for one in container.streams.audio),
            key=abs,
            default=Fraction(0),
        ),
        located=any(
            is_location(key) for one in (container, *container.streams) for key in one.metadata
        ),
        notes=tuple(notes),
    )


def _pose(frame: Any) -> tuple[int, bool, float]:
    """Return how a frame becomes upright, or else by how many degrees it stands askew.

    The first four numbers of its display matrix take columns and rows to where they are shown
    (ISO/IEC 14496-12, 6.2.2).
    """
    found = next((one for one in frame.side_data if one.type.name == "DISPLAYMATRIX"), None)
    if found is None:
        return 0, False, 0.0
    a, b, _, c, d = np.frombuffer(bytes(found), np.int32)[:5].astype(np.float64)
    mirrored = bool(a * d - b * c < 0)
    if mirrored:
        a, c = -a, -c
    angle = math.degrees(math.atan2(b, a))
    turned = round(angle / 90)
    if abs(angle - 90 * turned) > 0.5:
        return 0, False, angle
    return turned % 4 * 90, mirrored, 0.0


def _said(container: Any, video: Any, key: str) -> str:
    """Return what the picture, a stream of data or the file says under a key; .mkv shouts keys."""
    for one in (video, *container.streams.data, container):
        for name, words in one.metadata.items():
            if name.casefold() == key and words:
                return str(words)
    return ""


def _of_the_picture(container: Any, video: Any) -> dict[str, str]:
    """Return what the picture says of itself, and its reel's name, which .mov has elsewhere."""
    words = {key: one for key, one in video.metadata.items() if key.casefold() != REEL}
    reel = _said(container, video, REEL)
    return {**words, REEL: reel} if reel else words


def _left_out(container: Any, video: Any) -> list[str]:
    """Return what a movie holds besides its picture, sound and timecode: it is not carried over."""
    kinds = [stream.type for stream in container.streams if stream.index != video.index]
    others = {
        "subtitles": kinds.count("subtitle"),
        "another picture": kinds.count("video"),
        "attached files": kinds.count("attachment"),
        "other data": sum(
            stream.type == "data" and "timecode" not in stream.metadata
            for stream in container.streams
        ),
        "chapters": len(container.chapters()) if hasattr(container, "chapters") else 0,
    }
    return [f"holds {name} too: left out" for name, count in others.items() if count]


def _first_frame(av: Any, container: Any, path: Path, video: Any) -> Any:
    try:
        for frame in container.decode(video):
            return frame
    except av.FFmpegError as error:
        raise InputError(f"{path}: its first frame is damaged ({reason(error)})") from error
    raise InputError(f"{path}: holds no frames")


def _siting_and_field(av: Any, frame: Any, codec: str) -> tuple[str, str]:
    """Return where chroma lies, and P for a progressive frame, else T or B.

    FFmpeg knows both of a frame but PyAV does not hand them out: its showinfo filter does.
    """
    words = _showinfo(av, frame)
    siting = words.get("cl", "unspecified")
    if siting == "unspecified":
        siting = "center" if codec in _CENTRED else "left"
    return siting, words.get("i", "I" if frame.interlaced_frame else "P")


def _showinfo(av: Any, frame: Any) -> dict[str, str]:
    run = Filter(av, frame, [("sidedata", "mode=delete"), ("showinfo", "checksum=0")])
    level = av.logging.get_level()
    av.logging.set_level(av.logging.INFO)
    try:
        with av.logging.Capture() as lines:
            run(frame)
    finally:
        av.logging.set_level(level)
    text = "".join(line for _, name, line in lines if name == "showinfo")
    return dict(word.split(":", maxsplit=1) for word in text.split() if ":" in word)


def _colour_tags(one: Any) -> dict[str, str]:
    """Return what a frame, or the head of a file, says of its colour, less what is unspecified."""
    curve = int(one.color_trc)
    words = {
        "primaries": PRIMARIES.get(int(one.color_primaries), ""),
        "transfer": TRANSFERS.get(SAME_TRANSFER.get(curve, curve), ""),
        "matrix": MATRICES.get(int(one.colorspace), ""),
        "range": {_LEGAL: "legal", _FULL: "full"}.get(int(one.color_range), ""),
    }
    return {name: word for name, word in words.items() if word}


def _unlike(outer: dict[str, str], inner: dict[str, str]) -> list[str]:
    """Return that a file's head tags another colour than its pictures do, if so."""
    names = [name for name in outer if inner.get(name, outer[name]) != outer[name]]
    if not names:
        return []
    told, held = (", ".join(f"{one[name]} {name}" for name in names) for one in (outer, inner))
    options = " ".join(f"--{name}" for name in names if name in ("matrix", "range"))
    choice = f" (say otherwise with {options})" if options else ""
    return [f"its head is tagged {told}, its pictures {held}: the pictures are followed{choice}"]


def _coding(path: Path, frame: Any, matrix: str | None, notes: list[str]) -> Coding:
    layout = frame.format
    bits = max(component.bits for component in layout.components)
    if len(layout.components) < 3:
        raise InputError(f"{path}: a grey picture ({layout.name}), expected colour")
    if bits not in DEPTHS or "f16" in layout.name or "f32" in layout.name or layout.has_palette:
        raise InputError(f"{path}: pixels of {layout.name}, expected integers of 8 to 16 bits")
    tagged = int(frame.color_range)
    if layout.is_rgb:
        return Coding("rgb", "legal" if tagged == _LEGAL else "full", bits)
    full = tagged == _FULL or layout.name.startswith("yuvj")
    code = int(frame.colorspace)
    if matrix is not None:
        name = matrix
    elif code in REFUSED_MATRICES:
        raise InputError(f"{path}: coded as {REFUSED_MATRICES[code]}, expected Y'CbCr or R'G'B'")
    elif code in MATRICES and code != 0:
        name = MATRICES[code]
    else:
        name = "bt709" if max(frame.width, frame.height) > 1024 else "bt601"
        notes.append(f"no tag says its Y'CbCr matrix: {name} is taken for its size (--matrix)")
    return Coding(name, "full" if full else "legal", bits)  # type: ignore[arg-type]


class Filter:
    """A chain of FFmpeg filters for frames of one kind."""

    def __init__(self, av: Any, frame: Any, steps: list[tuple[str, str]]) -> None:
        self._av = av
        self._times: deque[int | None] = deque()
        self._graph = av.filter.Graph()
        self._graph.threads = 1
        # The filters take the colour of the first link for that of all frames.
        self._source = last = self._graph.add(
            "buffer",
            f"width={frame.width}:height={frame.height}:pix_fmt={frame.format.name}"
            f":time_base=1/1000:colorspace={int(frame.colorspace)}:range={int(frame.color_range)}",
        )
        for name, options in (*steps, ("buffersink", "")):
            step = self._graph.add(name, options or None)
            last.link_to(step)
            last = step
        self._sink = last
        self._graph.configure()

    def __call__(self, frame: Any) -> Any:
        """Return the frame that comes out for one that goes in; its time stays."""
        (made,) = self.feed(frame)
        return made

    def feed(self, frame: Any) -> list[Any]:
        """Put a frame in, or None for the end, and return those that come out, in order."""
        if frame is not None:
            self._times.append(frame.pts)
            frame.pts = len(self._times)
        self._source.push(frame)
        made = []
        while True:
            try:
                one = self._sink.pull()
            except (self._av.BlockingIOError, self._av.EOFError):
                break
            one.pts = self._times.popleft()
            made.append(one)
        return made


def widened(clip: Clip, *, deinterlace: bool = False, halved: int = 0) -> list[tuple[str, str]]:
    """Return the filters from a clip's frames to upright 16-bit 4:4:4 in the same coding.

    `halved` is how often width and height are halved, codes averaged.
    """
    turn = {90: [("transpose", "clock")], 270: [("transpose", "cclock")],
            180: [("hflip", ""), ("vflip", "")]}  # fmt: skip
    # De-interlacing comes first, for fields lie in the rows as stored.
    fields = [("bwdif", "mode=send_frame:deint=interlaced")] if deinterlace else []
    mirror = [("hflip", "")] if clip.mirrored else []
    name = "full" if clip.format.startswith("yuvj") else "limited"
    wide, high = (max(1, length >> halved) for length in clip.stored_size)
    flags = _FLAGS.replace("bicubic", "area") if halved else _FLAGS
    scale = (
        f"w={wide}:h={high}:flags={flags}:in_range={name}:out_range={name}"
        f":in_chroma_loc={clip.siting}"
    )
    target = "gbrp16le" if clip.coding.matrix == "rgb" else "yuv444p16le"
    return [*fields, ("scale", scale), ("format", target), *turn.get(clip.rotation, []), *mirror]


def planes_of(picture: Any) -> Planes:
    """Return the three planes of a 16-bit 4:4:4 frame as arrays on its memory.

    Shape (rows, samples with padding); Y' Cb Cr, or R' G' B' for R'G'B'.
    """
    planes = [
        np.frombuffer(plane, np.uint16).reshape(plane.height, plane.line_size // 2)
        for plane in picture.planes[:3]
    ]
    if picture.format.name.startswith("gbr"):
        planes = [planes[2], planes[0], planes[1]]
    return planes[0], planes[1], planes[2]


def frames_of(
    clip: Clip,
    *,
    deinterlace: bool = False,
    container: Any = None,
    sound: Mapping[int, Tally] | None = None,
) -> Iterator[Frame | Any]:
    """Decode a clip: yield each frame in order, and packets of sound between, if asked for.

    Parameters
    ----------
    container
        The clip, open, for nobody else's use meanwhile. It stays open, as packets need that
        are still to be written; without it the clip is opened and closed here.
    sound
        Where the packets of each stream of sound, by its index, are counted; others are left.

    Raises
    ------
    LookkitError
        At a damaged frame, where the picture changes its size or form, where the file ends
        before its index does, or where fewer or more frames come out than it told of.
    """
    av = library()
    sound = sound or {}
    count = read = 0
    time = clip.first
    with contextlib.ExitStack() as stack:
        if container is None:
            container = stack.enter_context(opened(clip))
        video = container.streams[clip.stream]
        times = iter(frame_times(container, video)) if clip.ordered else None
        # FFmpeg's threads for frames of FFV1 harm each other at a damaged one: the process ends.
        alone = video.codec_context.name == "ffv1"
        video.codec_context.thread_type = "SLICE" if alone else "AUTO"
        wanted = [video, *(container.streams[index] for index in sound)]
        widen: Filter | None = None
        try:
            for packet in container.demux(*wanted):
                # A flushing packet knows its stream, but has no index of its own.
                if packet.stream.index != clip.stream:
                    if packet.size:
                        sound[packet.stream_index].add(packet)
                        yield packet
                    continue
                for frame in packet.decode():
                    _check_frame(clip, frame, read, deinterlace)
                    read += 1
                    if times is not None:
                        frame.pts = next(times, frame.pts)
                    if not clip.format.startswith("yuvj"):
                        # Codes stay as they are; libswscale widens legal ones by a plain shift.
                        frame.color_range = _LEGAL
                    if widen is None:
                        widen = Filter(av, frame, widened(clip, deinterlace=deinterlace))
                    for made in widen.feed(frame):
                        time = time if made.pts is None else made.pts
                        yield Frame(count, made, time)
                        count += 1
            for made in widen.feed(None) if widen is not None else ():
                time = time if made.pts is None else made.pts
                yield Frame(count, made, time)
                count += 1
        except av.FFmpegError as error:
            raise LookkitError(
                f"{clip.path}: damaged at frame {count + 1} of {clip.frames} ({reason(error)})"
            ) from error
    if time * clip.time_base + Fraction(3, 2) / clip.rate < clip.last * clip.time_base:
        raise LookkitError(
            f"{clip.path}: cut short: ends after frame {count}, its index tells of {clip.frames}"
        )
    # The two fields of a frame may be two packets, so an interlaced clip is counted as decoded.
    told = read if clip.interlaced else clip.frames
    if not read == count == told:
        raise LookkitError(
            f"{clip.path}: tells of {told} frames, of which {read} could be decoded and {count} "
            "came out; expected all"
        )


def opened(clip: Clip) -> Any:
    """Open a clip again, or say that it is gone.

    Raises
    ------
    LookkitError
        If it cannot be read any more.
    """
    av = library()
    try:
        return av.open(str(clip.path), metadata_errors="replace")
    except (av.FFmpegError, OSError) as error:
        raise LookkitError(f"{clip.path}: cannot be read any more ({reason(error)})") from error


def frame_at(clip: Clip, share: float = 0.5, halved: int = 0) -> Frame:
    """Decode one frame alone: the one at a share of the clip's time, 0 the first, 1 the last.

    Fields of an interlaced clip are made a whole frame. `halved` is how often its width and height
    are halved.

    Raises
    ------
    LookkitError
        If it is damaged, or of another size or form than the first.
    """
    av = library()
    time = clip.first + round((clip.last - clip.first) * share)
    number = round(max(clip.frames - 1, 0) * share)
    try:
        with opened(clip) as container:
            video = container.streams[clip.stream]
            if time > clip.first:
                container.seek(time, stream=video)
            chosen = None
            for frame in container.decode(video):
                chosen = frame
                if frame.pts is None or frame.pts >= time:
                    break
            if chosen is None:
                raise LookkitError(f"{clip.path}: no frame at {number + 1} of {clip.frames}")
            _check_frame(clip, chosen, number, deinterlace=True)
            if not clip.format.startswith("yuvj"):
                chosen.color_range = _LEGAL
            widen = Filter(av, chosen, widened(clip, deinterlace=clip.interlaced, halved=halved))
            made = [*widen.feed(chosen), *widen.feed(None)]
    except av.FFmpegError as error:
        raise LookkitError(
            f"{clip.path}: damaged at frame {number + 1} of {clip.frames} ({reason(error)})"
        ) from error
    return Frame(number, made[0], time)


def _check_frame(clip: Clip, frame: Any, count: int, deinterlace: bool) -> None:
    place = f"{clip.path}: frame {count + 1}"
    width, height = clip.stored_size
    found = (frame.width, frame.height, frame.format.name)
    if found != (width, height, clip.format):
        raise LookkitError(
            f"{place} is {found[0]}x{found[1]} {found[2]}, the frames before it "
            f"{width}x{height} {clip.format}; expected one size and form"
        )
    tagged = _colour_tags(frame).get("range", clip.coding.range)
    if clip.range_tagged and tagged != clip.coding.range:
        raise LookkitError(
            f"{place} is tagged {tagged} range, the frames before it {clip.coding.range}; "
            "expected one range"
        )
    if frame.is_corrupt:
        raise LookkitError(f"{place} of {clip.frames} is damaged")
    if frame.interlaced_frame and not deinterlace:
        raise LookkitError(f"{place} is interlaced; --deinterlace makes whole frames of fields")


def described(clip: Clip) -> str:
    """Return a clip in a few words: size, rate, length, coding and tags."""
    seconds = float(clip.frames / clip.rate) if clip.rate else 0.0
    coding = clip.coding
    told = f", tagged {clip.tags}" if str(clip.tags) else ", no colour tags"
    return (
        f"{clip.width}x{clip.height}, {float(clip.rate):.6g} frames/s, {seconds:.1f} s, "
        f"{coding.matrix} {coding.range} {coding.bits} bits{told}"
    )


__all__ = [
    "MOVIES", "UNSPECIFIED", "Clip", "Filter", "Frame", "described", "frame_at", "frames_of",
    "opened", "planes_of", "probe", "widened",
]  # fmt: skip
