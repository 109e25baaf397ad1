"""Static HDR metadata in .mov and .mp4: the `mdcv` and `clli` boxes of ISO/IEC 14496-12.

PyAV cannot hand them to FFmpeg's writer, so they are put into the finished file's sample
description. Its `moov` box comes last, so nothing that the file points to moves.
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import BinaryIO, Final

from lookkit.errors import LookkitError
from lookkit.media.tags import Mastering

_VISUAL_ENTRY: Final = 86
"""Bytes of a visual sample entry before its own boxes (ISO/IEC 14496-12, 12.1.3)."""


def add_hdr_boxes(
    path: Path, mastering: Mastering, light_level: tuple[float, float] | None
) -> None:
    """Put the mastering display and the content light level into a movie's first picture track.

    Parameters
    ----------
    mastering
        Written as SMPTE ST 2086 has it: chromaticities in 0.00002, luminance in 0.0001 cd/m2.
    light_level
        MaxCLL and MaxFALL in cd/m2 (CTA-861.3), each rounded up; None leaves them out.

    Raises
    ------
    LookkitError
        If the file is not as FFmpeg writes it.
    """
    with path.open("r+b") as file:
        start, size = _last_moov(file, path)
        file.seek(start)
        moov = bytearray(file.read(size))
        boxes = _mdcv(mastering)
        if light_level is not None:
            boxes += _clli(*light_level)
        _insert(moov, boxes, path)
        file.seek(start)
        file.write(moov)


def _mdcv(mastering: Mastering) -> bytes:
    p = mastering.primaries
    numbers = [round(value * 50000) for xy in (p.green, p.blue, p.red, p.white) for value in xy]
    light = [round(value * 10000) for value in (mastering.peak, mastering.black)]
    return struct.pack(">I4s8HII", 32, b"mdcv", *numbers, *light)


def _clli(most: float, average: float) -> bytes:
    levels = [min(65535, -int(-value // 1)) for value in (most, average)]
    return struct.pack(">I4sHH", 12, b"clli", *levels)


def _last_moov(file: BinaryIO, path: Path) -> tuple[int, int]:
    """Return start and size of the `moov` box that ends the file."""
    at, end = 0, path.stat().st_size
    while at + 8 <= end:
        file.seek(at)
        size, kind = struct.unpack(">I4s", file.read(8))
        if size == 1:
            (size,) = struct.unpack(">Q", file.read(8))
        if kind == b"moov" and at + size == end:
            return at, size
        if size < 8:
            break
        at += size
    raise LookkitError(f"{path}: its index is not at its end; HDR metadata not written")


def _insert(moov: bytearray, boxes: bytes, path: Path) -> None:
    """Insert boxes at the end of the first visual sample entry and lengthen what holds it."""
    for track in _children(moov, 8, len(moov), b"trak"):
        trail = [(0, len(moov)), track]
        for kind in (b"mdia", b"minf", b"stbl", b"stsd"):
            found = _children(moov, trail[-1][0] + 8, sum(trail[-1]), kind)
            if not found:
                break
            trail.append(found[0])
        else:
            media = trail[2]
            handlers = _children(moov, media[0] + 8, sum(media), b"hdlr")
            if handlers and moov[handlers[0][0] + 16 : handlers[0][0] + 20] == b"vide":
                entry = trail[-1][0] + 16
                (size,) = struct.unpack_from(">I", moov, entry)
                if size < _VISUAL_ENTRY:
                    break
                moov[entry + size : entry + size] = boxes
                for start, old in (*trail, (entry, size)):
                    struct.pack_into(">I", moov, start, old + len(boxes))
                return
    raise LookkitError(f"{path}: has no picture track; HDR metadata not written")


def _children(data: bytearray, at: int, end: int, kind: bytes) -> list[tuple[int, int]]:
    """Return start and size of the boxes of one kind between two places."""
    found = []
    while at + 8 <= end:
        size, name = struct.unpack_from(">I4s", data, at)
        if size < 8:
            break
        if name == kind:
            found.append((at, size))
        at += size
    return found
