"""Takes grouped into cameras, by what their files say, and into scenes, by time and light."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from math import log2
from typing import Final

from lookkit.start.footage import Take

_PAUSE: Final = timedelta(minutes=45)
"""A pause that begins another scene (our own choice)."""
_BREATH: Final = timedelta(minutes=10)
"""A pause that does, if the light is another too."""
_WHITE: Final = 0.2
_LEVEL: Final = 1.0
"""Differences of light, in powers of two of mean codes: red or blue to green, and all."""
_REEL: Final = re.compile(r"^([A-Z])\d{3}(?!\d)")
"""A camera's letter before its reel's number, A001C003 (common practice, no source)."""


@dataclass(frozen=True)
class Camera:
    """The takes of one camera.

    `encoding` is what its files say, or None; `alike` says what else is to be asked of them.
    """

    name: str
    takes: tuple[Take, ...]
    encoding: str | None
    alike: str = ""

    @property
    def first(self) -> Take:
        """Its first take."""
        return self.takes[0]


@dataclass(frozen=True)
class Scene:
    """Takes close in time and light; `why` says what set them apart from those before."""

    name: str
    takes: tuple[Take, ...]
    why: str = ""


def cameras_of(takes: Sequence[Take]) -> tuple[Camera, ...]:
    """Return the cameras of takes: files of one kind, device and encoding are one camera's.

    Two cameras of one kind are told apart by their serial numbers or the letters of their reels;
    where files have neither, they are one, and that is asked about.
    """
    kinds: dict[tuple[str, ...], list[Take]] = {}
    for take in takes:
        kinds.setdefault(_kind(take), []).append(take)
    letters = [_letter(members) for members in kinds.values()]
    taken = {one for one in letters if letters.count(one) == 1 and one}
    free = (chr(code) for code in range(ord("A"), ord("Z") + 1) if chr(code) not in taken)
    made = []
    for number, (members, letter) in enumerate(zip(kinds.values(), letters, strict=True)):
        name = letter if letter in taken else next(free, f"camera-{number + 1}")
        made.append(Camera(name, tuple(members), members[0].encoding, _asked(members)))
    return tuple(sorted(made, key=lambda one: one.name))


def _kind(take: Take) -> tuple[str, ...]:
    apart = take.serial or (letter.group(1) if (letter := _REEL.match(take.name)) else "")
    family = take.kind if take.kind in ("clip", "raw") else take.path.suffix.lower()
    depth = "" if take.kind == "raw" else str(take.bits)
    return family, take.encoding or f"? {take.tags}", take.device, apart, depth


def _letter(takes: Sequence[Take]) -> str:
    found = {match.group(1) if (match := _REEL.match(take.name)) else "" for take in takes}
    return found.pop() if len(found) == 1 else ""


def _asked(takes: Sequence[Take]) -> str:
    """Return what is to be asked where files of one kind may be two cameras'."""
    if any(take.serial for take in takes) or _letter(takes):
        return ""
    stems = Counter(re.sub(r"[\d._-]+.*$", "", take.name) for take in takes)
    if len(stems) < 2 or stems.most_common(2)[1][1] < 2:
        return ""
    begins = ", ".join(f"{stem}*" for stem, _ in stems.most_common(4) if stem)
    return (
        f"their names begin differently ({begins}): are they of two cameras of one kind? Then copy "
        "this table under another name, and give each camera lines of its own in the shot list."
    )


def scenes_of(takes: Sequence[Take]) -> tuple[Scene, ...]:
    """Propose scenes: a long pause, or a short one with another light, begins one.

    Takes without a time of recording are grouped by their folders.
    """
    timed = sorted((one for one in takes if one.recorded), key=lambda one: str(one.recorded))
    made: list[tuple[list[Take], str]] = []
    last: dict[str, Take] = {}
    for before, take in zip([None, *timed], timed, strict=False):
        why = "" if before is None else _apart(before, take, last.get(take.device))
        if before is None or why:
            made.append(([], why))
        made[-1][0].append(take)
        last[take.device] = take
    folders: dict[str, list[Take]] = {}
    for take in takes:
        if not take.recorded:
            folders.setdefault(take.path.parent.name, []).append(take)
    untimed = "no time of recording, so by folder"
    made += [(members, untimed) for members in folders.values()]
    return tuple(
        Scene(f"scene-{number:02d}", tuple(members), why)
        for number, (members, why) in enumerate(made, start=1)
    )


def _apart(before: Take, take: Take, same: Take | None) -> str:
    """Return why a take begins another scene, or nothing; `same` is the camera's last one."""
    assert before.recorded is not None
    assert take.recorded is not None
    pause = take.recorded - before.recorded - timedelta(seconds=before.seconds)
    if pause >= _PAUSE:
        return f"{_long(pause)} after the one before"
    if pause >= _BREATH and same is not None and (what := _another_light(same, take)):
        return f"{_long(pause)} after the one before, and {what}"
    return ""


def _long(pause: timedelta) -> str:
    minutes = round(pause.total_seconds() / 60)
    if minutes < 120:
        return f"{minutes} minutes"
    return f"{round(minutes / 60)} hours" if minutes < 48 * 60 else f"{pause.days} days"


def _another_light(first: Take, second: Take) -> str:
    if first.light is None or second.light is None:
        return ""
    one, other = ([max(value, 1e-3) for value in take.light or ()] for take in (first, second))
    white = max(abs(log2(other[k] / other[1]) - log2(one[k] / one[1])) for k in (0, 2))
    if white > _WHITE:
        return "the light has another colour"
    if abs(log2(sum(other) / sum(one))) > _LEVEL:
        return "the light is brighter" if sum(other) > sum(one) else "the light is darker"
    return ""
