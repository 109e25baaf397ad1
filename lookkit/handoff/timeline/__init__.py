"""A timeline with the look of each shot: an EDL (CMX 3600) or OTIO file in, the same out.

Each event that brings a picture gets, by the shot list, the CDL of its scene (`*ASC_SOP`,
`*ASC_SAT`) and the name and uuid of its AMF (`* AMF_NAME`, `* AMF_UUID`); in OTIO the same stand in
the clip's metadata, `cdl` as the CMX 3600 adapter has it, and `amf`. The CDL is the one nearest to
the look, in ACEScct: with its residual it stands for what the AMF says exactly. Use the one or
the other, never both.

From EDL to EDL only those lines change. OpenTimelineIO reads what goes in and what came out, and
must find the CDLs that were put there; where it cannot read a list that our own reader can, this
is told. From and to OTIO its adapters do the work: an EDL that they write has one video track.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lookkit.errors import InputError, LookkitError
from lookkit.files import write_beside
from lookkit.handoff.timeline.edl import annotated, events, stray_lines
from lookkit.handoff.timeline.reading import (
    ADAPTERS,
    ENDINGS,
    Seen,
    edit_text,
    is_same,
    library,
    marks_in,
    names_of,
    picture_clips,
    read_timeline,
)
from lookkit.handoff.timeline.shots import read_shots, shot_called
from lookkit.handoff.timeline.source import Cdl as Cdl
from lookkit.handoff.timeline.source import Marks, Source, source_of
from lookkit.recipe.shots import Shot


@dataclass(frozen=True)
class Marked:
    """What was done.

    Attributes
    ----------
    marked
        How many events got their look.
    left
        Events that no pattern fits, where that was allowed: where, and what the clip is called.
    told
        What to know about the result.
    """

    marked: int
    left: tuple[str, ...] = ()
    told: tuple[str, ...] = ()


def mark_timeline(
    path: Path,
    edit: Path,
    out: Path,
    *,
    shots: Path | None = None,
    output: str | None = None,
    cdl: Cdl = "look",
    rate: float = 24.0,
    leave: bool = False,
) -> Marked:
    """Write a timeline with the look of each shot.

    Parameters
    ----------
    path
        A hand-off folder, whose files are named, or a recipe.
    edit, out
        .edl or .otio, each.
    shots
        A shot list (.csv or .toml); None takes the recipe's `[[shots]]`.
    output
        The recipe's output that the AMFs are for; None is its first.
    cdl
        "look": trims and look of the scene; "trims": the trims of scene and shot; "none": no CDL.
    rate
        Frames per second of an EDL, which does not say it.
    leave
        Leave events that no pattern fits as they are, instead of refusing.

    Raises
    ------
    InputError
        If something cannot be read, or events fit no pattern: all of them at once.
    LookkitError
        If OpenTimelineIO does not find in the result what was put there, or the disk fails.
    """
    for one in (edit, out):
        if one.suffix.lower() not in ENDINGS:
            raise InputError(f"{one}: expected .edl or .otio")
    source = source_of(path, None, output, cdl)
    listed = source.look.recipe.shots
    if shots is not None:
        listed = read_shots(shots, source.look)
        source = source_of(path, listed, output, cdl)
    if not listed:
        raise InputError(f"{path}: no [[shots]] in the recipe, expected some, or a shot list")
    chooser = _Chooser(source, listed, leave)
    if edit.suffix.lower() == out.suffix.lower() == ".edl":
        return _edl_to_edl(chooser, edit, out, rate)
    return _through_otio(chooser, edit, out, rate)


class _Chooser:
    """Finds what each event gets, and collects those that get nothing."""

    def __init__(self, source: Source, shots: Sequence[Shot], leave: bool) -> None:
        self.source = source
        self.shots = shots
        self.leave = leave
        self.unfit: list[str] = []
        self.problems: list[str] = []
        self._made: dict[tuple[str, str | None], Marks | None] = {}

    def marks(self, where: str, names: Iterable[str]) -> Marks | None:
        called = list(names)
        shot = shot_called(self.shots, called)
        if shot is None:
            self.unfit.append(f"{where}: {' / '.join(called) or 'a clip without a name'}")
            return None
        key = (shot.camera, shot.graded_in)
        if key not in self._made:
            try:
                self._made[key] = self.source.marks(shot)
            except InputError as error:
                self._made[key] = None
                self.problems.append(str(error))
        return self._made[key]

    def settle(self, edit: Path) -> tuple[str, ...]:
        """Return the events that are left as they are; raise for all that is wrong."""
        problems = list(self.problems)
        if self.unfit and not self.leave:
            problems += [
                f"{edit}: {len(self.unfit)} events fit no pattern of the shot list:",
                *(f"  {one}" for one in self.unfit),
            ]
        if problems:
            raise InputError("\n".join(problems))
        return tuple(self.unfit)


def _edl_to_edl(chooser: _Chooser, edit: Path, out: Path, rate: float) -> Marked:
    text = edit_text(edit)
    told: list[str] = []
    refused = ""
    try:
        read_timeline(".edl", text, rate)
    except InputError as error:
        refused = str(error)
        told.append(f"OpenTimelineIO does not read it ({refused}): not re-read, only written")
    found = events(text)
    if not found:
        raise InputError(f"{edit}: no events, expected an edit decision list (CMX 3600)")
    stray = list(stray_lines(text))
    if stray:
        told.append(f"lines that are no event and stay as they are: {', '.join(map(str, stray))}")
    comments = {}
    for place, event in enumerate(found):
        if event.picture:
            marks = chooser.marks(f"line {event.line}, event {event.number}", event.names)
            if marks is not None:
                comments[place] = marks
    left = chooser.settle(edit)
    made = annotated(text, {place: marks.comments() for place, marks in comments.items()})
    if not refused:
        _check(made, list(comments.values()), rate)
    with write_beside(out) as beside:
        beside.write_bytes(made.encode("utf-8"))
    return Marked(len(comments), left, tuple(told))


def _through_otio(chooser: _Chooser, edit: Path, out: Path, rate: float) -> Marked:
    timeline = read_timeline(edit.suffix.lower(), edit_text(edit), rate)
    count = 0
    for number, clip in enumerate(picture_clips(timeline), start=1):
        marks = chooser.marks(f"clip {number}", names_of(clip))
        if marks is not None:
            _mark(clip, marks, out.suffix.lower() == ".edl")
            count += 1
    if not count and not chooser.unfit:
        raise InputError(f"{edit}: no clips with pictures")
    left = chooser.settle(edit)
    adapter = ADAPTERS[out.suffix.lower()]
    options: dict[str, Any] = {"rate": rate} if adapter == "cmx_3600" else {}
    try:
        made = library().adapters.write_to_string(timeline, adapter_name=adapter, **options)
    except library().exceptions.OTIOError as error:
        raise InputError(f"{edit}: cannot be written as {out.suffix} ({error})") from error
    with write_beside(out) as beside:
        beside.write_bytes(made.encode("utf-8"))
    return Marked(count, left)


def _mark(clip: Any, marks: Marks, for_edl: bool) -> None:
    old = clip.metadata.get("cmx_3600", {}).get("comments", [])
    kept = [str(one) for one in old if not str(one).startswith(("AMF_NAME", "AMF_UUID"))]
    clip.metadata.pop("cdl", None)
    clip.metadata["amf"] = {"name": marks.amf_name, "uuid": marks.amf_uuid}
    if marks.cdl is not None and not for_edl:
        clip.metadata["cdl"] = {
            "asc_sop": {
                "slope": list(marks.cdl.slope),
                "offset": list(marks.cdl.offset),
                "power": list(marks.cdl.power),
            },
            "asc_sat": marks.cdl.saturation,
        }
    if for_edl:
        # As comments: the adapter would leave out a saturation of 0.
        kept += [line.lstrip("* ") for line in marks.comments()]
    if kept:
        clip.metadata.setdefault("cmx_3600", {})
        clip.metadata["cmx_3600"]["comments"] = kept


def _check(text: str, wanted: Sequence[Marks], rate: float) -> None:
    """Make sure that OpenTimelineIO finds in an EDL what was put there, in order."""
    found = [marks_in(clip) for clip in picture_clips(read_timeline(".edl", text, rate))]
    there = [one for one in found if one[1]]
    expected = [_as_read(one) for one in wanted]
    # An event on several tracks is several clips.
    kept: list[Any] = []
    at = 0
    for one in there:
        if at < len(expected) and is_same(one, expected[at]):
            kept.append(one)
            at += 1
    if at != len(expected):
        raise LookkitError(
            f"OpenTimelineIO finds {at} of {len(expected)} looks in the list that was written"
        )


def _as_read(marks: Marks) -> Seen:
    numbers = () if marks.cdl is None else marks.cdl.numbers
    return numbers, marks.amf_name, marks.amf_uuid
