"""SMPTE ST 12 timecode: as text, as a count of frames, and as pictures carry it."""

from __future__ import annotations

import re
from fractions import Fraction

_TEXT = re.compile(r"^(\d{1,2}):(\d{2}):(\d{2})([:;.])(\d{2,3})$")


def advanced(start: str, frames: int, rate: Fraction) -> str:
    """Return the timecode `frames` after `start`; the same text where it is none.

    Drop-frame codes (a semicolon or dot before the frames) leave out the numbers 0 and 1
    (0-3 at 60) of each minute but every tenth, as SMPTE ST 12-1 has it.
    """
    found = _TEXT.match(start)
    if found is None:
        return start
    base = max(1, round(rate))
    hours, minutes, seconds, count = (int(found[n]) for n in (1, 2, 3, 5))
    drop = 2 * (base // 30) if found[4] in ";." and base % 30 == 0 else 0
    total_minutes = 60 * hours + minutes
    index = (total_minutes * 60 + seconds) * base + count
    index -= drop * (total_minutes - total_minutes // 10)
    index += frames
    if drop:
        per_ten = 600 * base - 9 * drop
        tens, rest = divmod(index, per_ten)
        index += 9 * drop * tens
        if rest >= 60 * base:
            index += drop * (1 + (rest - 60 * base) // (60 * base - drop))
    index %= 24 * 3600 * base
    rest, count = divmod(index, base)
    minutes, seconds = divmod(rest, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}{found[4]}{count:02d}"


def packed(timecode: str) -> tuple[int, int] | None:
    """Return a timecode as EXR and DPX carry it (SMPTE ST 12 binary groups), or None."""
    found = _TEXT.match(timecode)
    if found is None:
        return None
    hours, minutes, seconds, count = (int(found[n]) for n in (1, 2, 3, 5))
    if count > 39 or hours > 23:
        return None
    fields = [count, seconds, minutes, hours]
    word = sum((value // 10 << 4 | value % 10) << 8 * place for place, value in enumerate(fields))
    if found[4] in ";.":
        word |= 0x40
    return word, 0


def unpacked(value: tuple[int, int] | None) -> str:
    """Return the text of a picture's timecode, or an empty one."""
    if not value:
        return ""
    word = int(value[0])
    count, seconds, minutes, hours = (
        (word >> shift + 4 & mask) * 10 + (word >> shift & 15)
        for shift, mask in ((0, 3), (8, 7), (16, 7), (24, 3))
    )
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}{';' if word & 0x40 else ':'}{count:02d}"
