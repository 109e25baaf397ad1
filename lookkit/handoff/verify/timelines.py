"""Timelines: read by OpenTimelineIO, their CDLs and AMFs looked up in the hand-off.

A clip may have a look or none. An AMF that it names must be one of the folder's, with that uuid; a
CDL must be that of a .cc file, of the AMF's scene where there is an AMF. Who took a clip is
compared with the recipe's shot list and only told: the timeline may have been made with another.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

from lookkit.deliver.cdl import Correction, read_cc
from lookkit.errors import InputError
from lookkit.handoff.timeline.edl import cdls_in, frame_rate
from lookkit.handoff.timeline.reading import (
    NUMBERS,
    Seen,
    edit_text,
    library,
    marks_in,
    names_of,
    picture_clips,
    read_timeline,
    same_numbers,
)
from lookkit.handoff.timeline.shots import shot_called
from lookkit.handoff.timeline.source import uuid_of
from lookkit.handoff.verify.report import Row, Verdict
from lookkit.recipe.shots import Shot

_NEEDED: Final = ("opentimelineio", "otio_cmx3600_adapter")
_LOOK, _TRIMS = _PARTS = ("cdl-look", "cdl-trims")
_NUMBERS: Final = (
    *(f"{name} {channel}" for name in ("slope", "offset", "power") for channel in "RGB"),
    "saturation",
)


@dataclass(frozen=True)
class _Delivered:
    """The looks of a hand-off that a timeline can name.

    Attributes
    ----------
    amfs
        By the name of the file: uuid, and what the manifest says of it.
    cdls
        By the name of the file: its ten numbers, and what the manifest says of it.
    """

    amfs: Mapping[str, tuple[str, Mapping[str, Any]]]
    cdls: Mapping[str, tuple[tuple[float, ...], Mapping[str, Any]]]


def timeline_rows(
    files: Mapping[str, Path],
    listed: Mapping[str, Mapping[str, Any]],
    folder: Path,
    shots: Sequence[Shot],
) -> Iterator[Row]:
    """Yield what OpenTimelineIO makes of timelines, and how their looks are the hand-off's.

    Parameters
    ----------
    files
        Timelines, by the name to tell them by.
    listed
        Entries of all files that are as the manifest says.
    shots
        The recipe's shot list.
    """
    if not files:
        return
    absent = [name for name in _NEEDED if find_spec(name) is None]
    if absent:
        for name in files:
            text = f"not tried, {', '.join(absent)} not installed: lookkit[timeline]"
            yield Row(name, "OpenTimelineIO", "absent", text)
        return
    delivered = _delivered(listed, folder)
    for name, path in files.items():
        yield from _timeline(name, path, delivered, shots)


def _delivered(listed: Mapping[str, Mapping[str, Any]], folder: Path) -> _Delivered:
    """Find AMFs and CDLs; those that cannot be read have rows of their own elsewhere."""
    amfs: dict[str, tuple[str, Mapping[str, Any]]] = {}
    cdls: dict[str, tuple[tuple[float, ...], Mapping[str, Any]]] = {}
    for name, entry in listed.items():
        try:
            if name.endswith(".amf"):
                amfs[Path(name).name] = (uuid_of(folder / name), entry)
            elif name.endswith(".cc"):
                cdls[Path(name).name] = (read_cc(folder / name).numbers, entry)
        except InputError:
            continue
    return _Delivered(amfs, cdls)


def _timeline(name: str, path: Path, delivered: _Delivered, shots: Sequence[Shot]) -> Iterator[Row]:
    reader = f"OpenTimelineIO {library().__version__}"
    ending = path.suffix.lower()
    try:
        text = edit_text(path)
        # What an EDL counts frames by does not matter here, if only it holds them.
        clips = picture_clips(read_timeline(ending, text, frame_rate(text)))
        looks = [(_called(number, clip), marks_in(clip)) for number, clip in enumerate(clips, 1)]
    except InputError as error:
        yield Row(name, reader, "refuses", str(error))
        return
    if not looks:
        yield Row(name, reader, "faulty", "no clips with pictures in it")
        return
    found = {seen[0] for _, seen in looks}
    lost = [] if ending != ".edl" else [one for one, cdl in cdls_in(text) if cdl not in found]
    if lost:
        told = [f"line {one.line}, event {one.number}: does not find its CDL" for one in lost]
        yield Row(name, reader, "misreads", _all_of(told))
        return
    amfs = [f"{what}: {fault}" for what, seen in looks if (fault := _amf_fault(seen, delivered))]
    # A timeline stands for the looks or for the trims: both in one would be a fault.
    cdls = min(([f"{what}: {fault}" for what, seen in looks
                 if (fault := _cdl_fault(seen, delivered, part))] for part in _PARTS),
               key=len)  # fmt: skip
    if amfs:
        yield Row(name, "links", "faulty", _all_of(amfs))
    if cdls:
        yield Row(name, reader, "misreads", _all_of(cdls))
    if not amfs and not cdls:
        yield _agreeing(name, reader, [seen for _, seen in looks], delivered)
    named = [
        (what, names_of(clip), delivered.amfs[file][1])
        for clip, (what, seen) in zip(clips, looks, strict=True)
        if (file := _amf_of(seen, delivered))
    ]
    yield from _by_shots(name, named, shots)


def _called(number: int, clip: Any) -> str:
    names = names_of(clip)
    return f"clip {number} ({clip.name or names[0]})" if names else f"clip {number}"


def _amf_of(seen: Seen, delivered: _Delivered) -> str:
    """Return the file of the AMF that a clip names, by its name or else its uuid; "" for none."""
    _, name, uuid = seen
    by_uuid = {own: file for file, (own, _) in delivered.amfs.items() if uuid and not name}
    return name if name in delivered.amfs else by_uuid.get(uuid, "")


def _amf_fault(seen: Seen, delivered: _Delivered) -> str:
    _, name, uuid = seen
    if not name and not uuid:
        return ""
    file = _amf_of(seen, delivered)
    if not file:
        return f"its AMF {name or uuid} is not in the hand-off, or changed"
    own = delivered.amfs[file][0]
    return f"its AMF {name} has the uuid {own}, not {uuid}" if uuid and uuid != own else ""


def _cdl_fault(seen: Seen, delivered: _Delivered, part: str) -> str:
    numbers = seen[0]
    if not numbers or not delivered.cdls:
        return ""
    file = _amf_of(seen, delivered)
    amf = delivered.amfs[file][1] if file else None
    ours = {
        file: own
        for file, (own, entry) in delivered.cdls.items()
        if entry.get("part", part) == part and _fits(entry, amf)
    }
    if any(same_numbers(numbers, own) for own in ours.values()):
        return ""
    # A scene without trims has no file of them.
    untrimmed = part == _TRIMS and (amf is None or not ours)
    if untrimmed and same_numbers(numbers, Correction("none").numbers):
        return ""
    if not ours:
        return "its CDL is that of no .cc file"

    def apart(file: str) -> float:
        return max(abs(a - b) for a, b in zip(numbers, ours[file], strict=True))

    file = min(ours, key=apart)
    what, theirs, own = max(
        zip(_NUMBERS, numbers, ours[file], strict=True), key=lambda one: abs(one[1] - one[2])
    )
    return f"its CDL has {what} {theirs:.6g}, not {own:.6g} as {file}"


def _fits(cdl: Mapping[str, Any], amf: Mapping[str, Any] | None) -> bool:
    """Whether a CDL may stand beside an AMF; the first format says nothing of its files."""
    return amf is None or "part" not in amf or cdl.get("scene") == amf.get("scene")


def _agreeing(name: str, reader: str, looks: Sequence[Seen], delivered: _Delivered) -> Row:
    cdls = sum(bool(seen[0]) for seen in looks)
    amfs = sum(bool(seen[1] or seen[2]) for seen in looks)
    without = sum(not any(seen) for seen in looks)
    text = f"{len(looks)} clips; {amfs} AMFs are the hand-off's"
    if delivered.cdls:
        text += f", {cdls} CDLs are within {NUMBERS:g} of a .cc file"
    elif cdls:
        text += f", {cdls} CDLs with no .cc file to compare with"
    text += f"; {without} clips have no look" if without else ""
    compared = amfs or (cdls and delivered.cdls)
    verdict: Verdict = "agrees" if compared else "reads"
    return Row(name, reader, verdict, text, None, NUMBERS if cdls and delivered.cdls else None)


def _by_shots(
    name: str, named: Sequence[tuple[str, list[str], Mapping[str, Any]]], shots: Sequence[Shot]
) -> Iterator[Row]:
    others, count = [], 0
    for what, names, entry in named:
        shot = shot_called(shots, names)
        if shot is None or "camera" not in entry:
            continue
        count += 1
        here, listed = (entry["camera"], entry.get("scene")), (shot.camera, shot.graded_in)
        if here != listed:
            others.append(f"{what} has the look of {_who(*here)}, the recipe says {_who(*listed)}")
    if others:
        yield Row(name, "shot list", "reads", f"{_all_of(others)}: made with another shot list?")
    elif count:
        yield Row(name, "shot list", "agrees", f"{count} clips as the recipe's shot list says")


def _who(camera: Any, scene: Any) -> str:
    return f"camera {camera}, scene {scene}" if scene else f"camera {camera}"


def _all_of(faults: Sequence[str]) -> str:
    more = len(faults) - 1
    return f"{faults[0]} (and {more} more)" if more else faults[0]
