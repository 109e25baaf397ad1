"""Writing a movie: encoder, colour tags, timecode, sound and metadata."""

from __future__ import annotations

import contextlib
import io
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

from lookkit.errors import LookkitError
from lookkit.media.avlib import library, reason
from lookkit.media.clip import REEL, Filter
from lookkit.media.codecs import X265_PARAMS, Codec
from lookkit.media.coding import Coding
from lookkit.media.hdr_boxes import add_hdr_boxes
from lookkit.media.stills import is_location
from lookkit.media.tags import Mastering, Tags

JOB: Final = "lookkit"
"""The metadata key under which a result names the job that made it."""
HDR_BOXES: Final = (".mov", ".mp4")
"""The movie formats that take the mastering display and the light level."""
_COMMENT: Final = "comment_"
"""How FFmpeg names what MXF holds as a user's comments, which is all it holds freely."""

_CONTAINER_OWN: Final = (
    "major_brand", "minor_version", "compatible_brands", "encoder", "timecode", "duration",
    "operational_pattern_ul", "uid", "generation_uid", "company_name", "product_name",
    "product_version", "product_version_num", "product_uid", "application_platform",
    "toolkit_version", "toolkit_version_num", "modification_date", "material_package_umid",
    "file_package_umid", "reel_umid", "vendor_id", JOB,
)  # fmt: skip
"""What describes the source's file rather than its pictures; never carried over."""


_PLAIN_LAYOUTS: Final = {1: "mono", 2: "stereo"}
_SHORT: Final = 12
"""Frames below which a clip counts as very short."""


@dataclass(frozen=True)
class MovieSpec:
    """Everything a movie file needs but its frames.

    `time_base` is the unit of the frames' times, `coding` what their integers are. `location`
    keeps where the picture was taken among the metadata.
    """

    codec: Codec
    coding: Coding
    tags: Tags
    width: int
    height: int
    rate: Fraction
    time_base: Fraction
    aspect: Fraction = Fraction(1)
    timecode: str = ""
    metadata: tuple[tuple[str, str], ...] = ()
    video_metadata: tuple[tuple[str, str], ...] = ()
    mastering: Mastering | None = None
    job: str = ""
    note: str = ""
    frames: int = 0
    location: bool = False


class MovieWriter:
    """Encodes 16-bit 4:4:4 frames into a movie file.

    Parameters
    ----------
    path
        The file; it must not be the final one, for it is incomplete until `close` returns.
    name
        What errors call the file.
    sound
        Streams of an open input whose packets will come through `sound_packet`.

    Raises
    ------
    LookkitError
        If the encoder refuses or writing fails, here and in every method.
    """

    def __init__(
        self, path: Path, spec: MovieSpec, name: Path, sound: tuple[Any, ...] = ()
    ) -> None:
        self._av = av = library()
        self.path, self.spec, self.name = path, spec, name
        self.written = 0
        options = {"fflags": "+bitexact"}
        if path.suffix == ".mxf":
            options["store_user_comments"] = "1"
        elif path.suffix != ".mkv":
            options["movflags"] = "use_metadata_tags"
        with self._failing():
            self._file = av.open(str(path), "w", options=options)
            self._file.metadata.update(self._metadata())
            if path.suffix == ".mxf" and (reel := dict(spec.video_metadata).get(REEL)):
                self._file.metadata[REEL] = reel
            if spec.timecode:
                self._file.metadata["timecode"] = spec.timecode
            self._stream = self._picture_stream()
            self._sound = {stream.index: self._sound_stream(stream) for stream in sound}
            self._file.start_encoding()
        self._narrow: Filter | None = None

    def _metadata(self) -> dict[str, str]:
        """Return what the file says of itself: what its source said, the job and the look."""
        kept = {
            key.removeprefix(_COMMENT): value
            for key, value in self._carried(self.spec.metadata).items()
        }
        said = kept.get("comment")
        kept |= {JOB: self.spec.job, "comment": f"{said}; {self.spec.note}" if said else
                 self.spec.note}  # fmt: skip
        if self.path.suffix == ".mxf":
            return {f"{_COMMENT}{key}": value for key, value in kept.items()}
        return kept

    def _carried(self, metadata: tuple[tuple[str, str], ...]) -> dict[str, str]:
        return {
            key: value
            for key, value in metadata
            if key.casefold().removeprefix(_COMMENT) not in _CONTAINER_OWN
            and (self.spec.location or not is_location(key))
        }

    def _of_track(self, metadata: tuple[tuple[str, str], ...]) -> dict[str, str]:
        """Return a track's metadata; its title is read from .mov and .mp4 as `name`."""
        kept = self._carried(metadata)
        return {"title" if key.casefold() == "name" else key: value for key, value in kept.items()}

    def _picture_stream(self) -> Any:
        spec, codec = self.spec, self.spec.codec
        options = dict(codec.options)
        siting = "topleft" if spec.tags.matrix == 9 and "420" in self._format else "left"
        if "444" not in self._format:
            options["chroma_sample_location"] = siting
        self._siting = siting
        if codec.encoder == "libx265":
            # x265 gives the packets of very short clips wrong decode times, unless in order.
            short = ["bframes=0"] if spec.frames < _SHORT else []
            params = [X265_PARAMS, *short, *_x265_hdr(spec.mastering)]
            options["x265-params"] = ":".join(params)
        stream = self._file.add_stream(codec.encoder, rate=spec.rate, options=options)
        stream.width, stream.height, stream.pix_fmt = spec.width, spec.height, self._format
        context = stream.codec_context
        if codec.encoder in ("prores_ks", "dnxhd"):
            context.thread_count, context.thread_type = 0, "AUTO"
        context.time_base = spec.time_base
        context.color_primaries = spec.tags.primaries
        context.color_trc = spec.tags.transfer
        context.colorspace = spec.tags.matrix
        context.color_range = 2 if spec.coding.range == "full" else 1
        context.sample_aspect_ratio = spec.aspect
        if codec.tag and self.path.suffix in HDR_BOXES:
            context.codec_tag = codec.tag
        stream.metadata.update(self._of_track(spec.video_metadata))
        return stream

    @property
    def _format(self) -> str:
        return self.spec.codec.formats[self.spec.coding.bits]

    def _sound_stream(self, source: Any) -> Any:
        stream = self._file.add_stream_from_template(source)
        if not _layout_is_told(source):
            # MP4 must say which loudspeaker a channel is for; with one or two it is plain.
            layout = _PLAIN_LAYOUTS.get(source.codec_context.channels)
            if layout is not None:
                stream.codec_context.layout = layout
        stream.metadata.update(self._of_track(tuple(source.metadata.items())))
        return stream

    def write(self, picture: Any, time: int) -> None:
        """Encode a frame of 16-bit 4:4:4 at `time`, in units of the spec's time base."""
        with self._failing():
            if self._narrow is None:
                self._narrow = Filter(self._av, picture, self._narrowed())
            frame = self._narrow(picture)
            frame.pts, frame.time_base = time, self.spec.time_base
            tags = self.spec.tags
            frame.color_primaries, frame.color_trc = tags.primaries, tags.transfer
            frame.colorspace = tags.matrix
            frame.color_range = 2 if self.spec.coding.range == "full" else 1
            for packet in self._stream.encode(frame):
                self._file.mux(packet)
        self.written += 1

    def _narrowed(self) -> list[tuple[str, str]]:
        name = "full" if self.spec.coding.range == "full" else "limited"
        dither = "" if self.spec.coding.bits == 8 else ":sws_dither=none"
        scale = (
            f"flags=bicubic+accurate_rnd:in_range={name}:out_range={name}"
            f":out_chroma_loc={self._siting}{dither}"
        )
        return [("scale", scale), ("format", self._format)]

    def sound_packet(self, packet: Any) -> None:
        """Pass a packet of sound on as it is."""
        stream = self._sound.get(packet.stream_index)
        if stream is not None:
            with self._failing():
                packet.stream = stream
                self._file.mux(packet)

    def close(self, light_level: tuple[float, float] | None = None) -> None:
        """Finish the file; `light_level` is MaxCLL and MaxFALL in cd/m2, measured."""
        with self._failing():
            for packet in self._stream.encode(None):
                self._file.mux(packet)
            self._file.close()
        if self.spec.mastering is not None and self.path.suffix in HDR_BOXES:
            with self._failing():
                add_hdr_boxes(self.path, self.spec.mastering, light_level)

    def abandon(self) -> None:
        """Let go of the file, whatever state it is in."""
        with contextlib.suppress(Exception):
            self._file.close()

    @contextlib.contextmanager
    def _failing(self) -> Any:
        try:
            yield
        except (self._av.FFmpegError, OSError, ValueError) as error:
            raise LookkitError(f"{self.name}: cannot be written ({reason(error)})") from error


def carries_sound(suffix: str, stream: Any) -> bool:
    """Say whether a movie format takes the packets of a sound stream as they are."""
    plain = stream.codec_context.channels in _PLAIN_LAYOUTS
    if suffix == ".mp4" and not plain and not _layout_is_told(stream):
        return False
    av = library()
    formats = {".mov": "mov", ".mp4": "mp4", ".mkv": "matroska", ".mxf": "mxf"}
    trial = av.open(io.BytesIO(), "w", format=formats[suffix])
    try:
        if suffix == ".mxf":
            # MXF wants a picture before any sound.
            picture = trial.add_stream("mpeg2video", rate=25)
            picture.width, picture.height, picture.pix_fmt = 720, 576, "yuv420p"
        trial.add_stream_from_template(stream)
        trial.start_encoding()
    except (av.FFmpegError, OSError, ValueError):
        return False
    finally:
        # A file without a packet cannot be finished in every format.
        with contextlib.suppress(av.FFmpegError, OSError):
            trial.close()
    return True


def _layout_is_told(stream: Any) -> bool:
    return not stream.codec_context.layout.name.endswith(" channels")


def job_of_movie(path: Path) -> str | None:
    """Return the job that a movie says has made it, or None."""
    av = library()
    try:
        with av.open(str(path), metadata_errors="replace") as container:
            return next(
                (
                    value
                    for key, value in container.metadata.items()
                    if key.casefold().removeprefix(_COMMENT) == JOB
                ),
                None,
            )
    except (av.FFmpegError, OSError):
        return None


def _x265_hdr(mastering: Mastering | None) -> list[str]:
    """Return the mastering display as x265 takes it (in SMPTE ST 2086 units)."""
    if mastering is None:
        return []
    p = mastering.primaries

    def point(xy: tuple[float, float]) -> str:
        return f"({round(xy[0] * 50000)},{round(xy[1] * 50000)})"

    light = f"({round(mastering.peak * 10000)},{round(mastering.black * 10000)})"
    display = f"G{point(p.green)}B{point(p.blue)}R{point(p.red)}WP{point(p.white)}L{light}"
    return [f"master-display={display}", "no-cll=1", "repeat-headers=1"]
