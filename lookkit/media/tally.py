"""Counting what goes through a job: packets of sound and frames, in against out."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from lookkit.errors import LookkitError
from lookkit.media.avlib import library, reason


@dataclass
class Tally:
    """Packets of a stream that held something, and their bytes."""

    packets: int = 0
    size: int = 0

    def add(self, packet: Any) -> None:
        """Count a packet."""
        if packet.size:
            self.packets += 1
            self.size += packet.size


@dataclass(frozen=True)
class SoundIn:
    """A stream of sound that was to be carried over, and all that was read of it."""

    name: str
    bytes_a_second: int
    read: Tally
    late: Fraction | None = None

    @classmethod
    def of(cls, stream: Any, picture: Fraction) -> SoundIn:
        """Begin to count a stream of an open input.

        `bytes_a_second` is 0 unless PCM, `late` is after the picture, which begins at `picture`.
        """
        context = stream.codec_context
        pcm = context.name.startswith("pcm_")
        size = context.sample_rate * context.channels * context.format.bytes if pcm else 0
        if context.name.startswith("pcm_s24"):
            # Three bytes in the file become four when decoded.
            size = size * 3 // 4
        return cls(context.name, size, Tally(), late_of(stream, picture))


def tallies(path: Path) -> tuple[Tally, list[Tally]]:
    """Count a movie file from beginning to end: its picture, and each stream of sound in order.

    Raises
    ------
    LookkitError
        If it cannot be read.
    """
    av = library()
    found: dict[int, Tally] = defaultdict(Tally)
    try:
        # An edit list says what is played; what lies in the file is what is counted.
        options = {"ignore_editlist": "1"}
        with av.open(str(path), metadata_errors="replace", options=options) as container:
            video = container.streams.video[0]
            sound = list(container.streams.audio)
            for packet in container.demux(video, *sound):
                found[packet.stream_index].add(packet)
            return found[video.index], [found[stream.index] for stream in sound]
    except (av.FFmpegError, OSError, IndexError) as error:
        raise LookkitError(f"{path}: cannot be read again ({reason(error)})") from error


def _late(path: Path) -> list[Fraction | None]:
    with library().open(str(path), metadata_errors="replace") as container:
        start = container.streams.video[0]
        picture = (start.start_time or 0) * start.time_base
        return [late_of(stream, picture) for stream in container.streams.audio]


def late_of(stream: Any, picture: Fraction) -> Fraction | None:
    """Return by how many seconds a stream begins after the picture's start, where that is told."""
    if stream.start_time is None:
        return None
    return Fraction(stream.start_time * stream.time_base - picture)


def check_movie(
    path: Path,
    name: Path,
    frames: int,
    rate: Fraction,
    sound: list[SoundIn],
) -> list[str]:
    """Count a finished movie again, and return what a user should know of its sound.

    Parameters
    ----------
    path, name
        The file, and what errors call it.
    frames, rate
        How many frames were read, and their rate.
    sound
        What was read of each stream of sound, in the order of the result's streams.

    Raises
    ------
    LookkitError
        If a frame, a packet or a sample that was read is not in the file, or it is out of
        step with the picture by more than a frame. In .mxf sound after the last frame is left
        out, which is told.
    """
    picture, heard = tallies(path)
    if picture.packets != frames:
        raise LookkitError(f"{name}: holds {picture.packets} frames, {frames} were read")
    if len(heard) != len(sound):
        raise LookkitError(f"{name}: holds {len(heard)} streams of sound, expected {len(sound)}")
    for one, late in zip(sound, _late(path), strict=True):
        if late is not None and one.late is not None and abs(late - one.late) * rate > 1:
            raise LookkitError(
                f"{name}: {one.name} sound begins {float(late):.3f} s after the picture, in the "
                f"source {float(one.late):.3f} s"
            )
    told = []
    for one, made in zip(sound, heard, strict=True):
        # PCM is cut into packets anew by each format; its samples are what counts.
        if made.size == one.read.size or (
            not one.bytes_a_second and made.packets == one.read.packets
        ):
            continue
        short = one.read.size - made.size
        held = int(frames / rate * one.bytes_a_second)
        if path.suffix == ".mxf" and one.bytes_a_second and short > 0 and made.size >= held - 64:
            seconds = short / one.bytes_a_second
            told.append(
                f"{name}: the sound goes on for {seconds:.3f} s after the last frame, which .mxf "
                "does not keep; it is left out"
            )
        else:
            raise LookkitError(
                f"{name}: {one.name} sound is not whole: {one.read.packets} packets of "
                f"{one.read.size} bytes were read, {made.packets} of {made.size} written"
            )
    return told
