"""When the frames of a movie are shown: from its index, its packets, or their order alone."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, Final

_COMMON_RATES: Final = [
    Fraction(rate * 1000, base) for base in (1000, 1001) for rate in (24, 25, 30, 48, 50, 60, 120)
]
_STORAGE_ORDER: Final = ("avi",)
"""Formats that keep no times of showing: what a frame gets of them is its place in the file."""


def in_order(container: Any) -> bool:
    """Say whether frames have no times of their own, so that their order is all there is."""
    return container.format.name in _STORAGE_ORDER


def frame_times(container: Any, video: Any) -> list[int]:
    """Return the times of all frames that are shown, sorted, from the index or else the packets.

    The container is left at its beginning.
    """
    index = [entry for entry in video.index_entries if not entry.is_discard and entry.size]
    if len(index) > 1 and (len(index) == video.frames or in_order(container)):
        return sorted(entry.timestamp for entry in index)
    # A packet without a decoding time counts too: Matroska keeps none, and FFmpeg guesses none
    # for the first of a clip with B-frames.
    times = [
        packet.pts if packet.pts is not None else packet.dts
        for packet in container.demux(video)
        if packet.size and not packet.is_discard and _shown(packet)
    ]
    container.seek(0, backward=True, any_frame=False)
    return sorted(time for time in times if time is not None)


def _shown(packet: Any) -> bool:
    """Say whether a packet brings a frame to show: VP8 and VP9 also have hidden ones.

    RFC 6386, 9.1; VP9 bitstream specification 6.2 and annex B (superframes show one).
    """
    codec = packet.stream.codec_context.name
    if codec not in ("vp8", "vp9"):
        return True
    data = memoryview(packet)
    if codec == "vp8":
        return bool(data[0] >> 4 & 1)
    if data[-1] & 0xE0 == 0xC0:
        return True
    bits = data[0] << 1 if data[0] & 0x30 == 0x30 else data[0]
    return bool(bits & 0x08 or bits & 0x02)


def rate_of(times: list[int], video: Any) -> tuple[bool, Fraction]:
    """Return whether the frame rate varies, and the rate, the common one if that fits."""
    told = Fraction(video.guessed_rate or video.average_rate or video.base_rate or 24)
    if len(times) < 2:
        return False, told
    tick = Fraction(video.time_base)
    span = (times[-1] - times[0]) * tick
    mean = (len(times) - 1) / span if span else told
    slack = Fraction(3, 2)
    common = sorted(_COMMON_RATES, key=lambda rate: abs(rate - told))
    nearest = mean.limit_denominator(1001)
    for rate in (*common, told, *([nearest] if nearest > 0 else [])):
        step = 1 / (rate * tick)
        if all(abs(time - times[0] - n * step) <= slack for n, time in enumerate(times)):
            return False, rate
    return True, nearest if nearest > 0 else told
