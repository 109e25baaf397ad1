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
from typing import Any, Final

from lookkit.errors import InputError, LookkitError
from lookkit.files import write_beside
from lookkit.handoff.timeline.edl import annotated, events, frame_rate, stray_lines
from lookkit.handoff.timeline.reading import (
    ADAPTERS,
    ENDINGS,
    Seen,
    comments_of,
    edit_read,
    edit_text,
    edl_metadata,
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

_LOOKS: Final = ("ASC_SOP", "ASC_SAT", "AMF_NAME", "AMF_UUID")


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
    rate: float | None = None,
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
        Frames per second of an EDL, which does not say it; None takes one that has all the frames
        its timecodes count to.
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


def _edl_to_edl(chooser: _Chooser, edit: Path, out: Path, told_rate: float | None) -> Marked:
    text, encoding = edit_read(edit)
    rate = told_rate or frame_rate(text)
    told: list[str] = []
    read = True
    try:
        read_timeline(".edl", text, rate)
    except InputError as error:
        read = False
        told.append(f"OpenTimelineIO does not read it ({error}): not re-read, only written")
    stray = list(stray_lines(text))
    if stray:
        told.append(f"lines that are no event and stay as they are: {', '.join(map(str, stray))}")
    count, left, made = _with_looks(chooser, edit, text, rate if read else None)
    with write_beside(out) as beside:
        beside.write_bytes(made.encode(encoding))
    return Marked(count, left, tuple(told))


def _with_looks(
    chooser: _Chooser, edit: Path, text: str, rate: float | None
) -> tuple[int, tuple[str, ...], str]:
    """Return how many events of a list got their look, which are left, and the list with them.

    OpenTimelineIO reads it again where its `rate` is given.
    """
    found = events(text)
    if not found:
        raise InputError(f"{edit}: no events, expected an edit decision list (CMX 3600)")
    comments = {}
    for place, event in enumerate(found):
        if event.picture:
            marks = chooser.marks(f"line {event.line}, event {event.number}", event.names)
            if marks is not None:
                comments[place] = marks
    left = chooser.settle(edit)
    made = annotated(text, {place: marks.comments() for place, marks in comments.items()})
    if rate is not None:
        _check(made, list(comments.values()), rate)
    return len(comments), left, made


def _through_otio(chooser: _Chooser, edit: Path, out: Path, told_rate: float | None) -> Marked:
    text = edit_text(edit)
    told = []
    rate = told_rate
    if rate is None and edit.suffix.lower() == ".edl":
        rate = frame_rate(text)
        told.append(f"an EDL does not say its rate: read at {rate:.5g} frames a second (--rate)")
    timeline = read_timeline(edit.suffix.lower(), text, rate or 24.0)
    clips = picture_clips(timeline)
    if not clips:
        raise InputError(f"{edit}: no clips with pictures")
    if out.suffix.lower() == ".edl":
        # The adapter would give a dissolve the looks of both its clips.
        for clip in clips:
            _unmark(clip)
        made = _written(timeline, edit, out, rate)
        count, left, made = _with_looks(chooser, edit, made, frame_rate(made))
        lost = len(clips) - sum(event.picture for event in events(made))
        if lost > 0:
            told.append(
                f"{lost} of {len(clips)} clips are not in the list: an EDL has one track of "
                "picture and nothing nested in it"
            )
    else:
        count = 0
        for number, clip in enumerate(clips, start=1):
            marks = chooser.marks(f"clip {number}", names_of(clip))
            if marks is not None:
                _mark(clip, marks)
                count += 1
        left = chooser.settle(edit)
        made = _written(timeline, edit, out, None)
    with write_beside(out) as beside:
        beside.write_bytes(made.encode("utf-8"))
    return Marked(count, left, tuple(told))


def _written(timeline: Any, edit: Path, out: Path, rate: float | None) -> str:
    """Return a timeline as the adapter of an ending writes it."""
    options = {} if rate is None else {"rate": rate}
    try:
        return str(
            library().adapters.write_to_string(
                timeline, adapter_name=ADAPTERS[out.suffix.lower()], **options
            )
        )
    except Exception as error:  # The adapters raise whatever they cannot write makes them do.
        raise InputError(f"{edit}: cannot be written as {out.suffix} ({error})") from error


def _unmark(clip: Any) -> None:
    """Take the look that a clip had."""
    clip.metadata.pop("cdl", None)
    clip.metadata.pop("amf", None)
    kept = [one for one in comments_of(clip) if not one.startswith(_LOOKS)]
    if edl_metadata(clip):
        clip.metadata["cmx_3600"]["comments"] = kept


def _mark(clip: Any, marks: Marks) -> None:
    """Put a look into a clip, instead of what it had."""
    _unmark(clip)
    clip.metadata["amf"] = {"name": marks.amf_name, "uuid": marks.amf_uuid}
    if marks.cdl is not None:
        clip.metadata["cdl"] = {
            "asc_sop": {
                "slope": list(marks.cdl.slope),
                "offset": list(marks.cdl.offset),
                "power": list(marks.cdl.power),
            },
            "asc_sat": marks.cdl.saturation,
        }


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
