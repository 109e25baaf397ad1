"""Timelines as OpenTimelineIO reads them, and the looks that stand in their clips."""

from __future__ import annotations

import codecs
import json
import re
from pathlib import Path
from typing import Any, Final

from lookkit.errors import InputError
from lookkit.handoff.timeline.edl import events

ENDINGS: Final = (".edl", ".otio")
ADAPTERS: Final = {".edl": "cmx_3600", ".otio": "otio_json"}
NUMBERS: Final = 1e-6
"""Difference of a CDL's number in a timeline from that of its file: six written decimals."""
_LARGEST: Final = 64 << 20
"""Bytes of a timeline that is read at all."""

_SCHEMA: Final = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,60}\.[1-9][0-9]{0,5}")

Seen = tuple[tuple[float, ...], str, str]
"""The ten numbers of a CDL, if any, and name and uuid of an AMF, each empty where there is none."""


def library() -> Any:
    """Return OpenTimelineIO.

    Raises
    ------
    InputError
        If it is not installed.
    """
    try:
        import opentimelineio
    except ImportError as error:
        raise InputError("timelines need OpenTimelineIO: lookkit[timeline]") from error
    return opentimelineio


def edit_text(path: Path) -> str:
    """Return a timeline's text with its line ends, as `edit_read` does."""
    return edit_read(path)[0]


def edit_read(path: Path) -> tuple[str, str]:
    """Return a timeline's text with its line ends, and its encoding.

    UTF-8, or UTF-16 that begins with its mark; an EDL that is neither is Latin-1.

    Raises
    ------
    InputError
        If it is missing, not a file, too large, or none of these.
    """
    wanted = "expected a timeline (.edl or .otio)"
    try:
        if not path.is_file():
            what = "is not a file" if path.exists() else "does not exist"
            raise InputError(f"{path}: {what}, {wanted}")
        if path.stat().st_size > _LARGEST:
            raise InputError(f"{path}: larger than {_LARGEST >> 20} MiB, {wanted}")
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from error
    marks = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"))
    encoding = next((name for mark, name in marks if data.startswith(mark)), "utf-8")
    try:
        return data.decode(encoding), encoding
    except UnicodeDecodeError as error:
        if path.suffix.lower() != ".edl":
            raise InputError(f"{path}: byte {error.start} is not UTF-8, {wanted}") from error
        return data.decode("latin-1"), "latin-1"


def read_timeline(ending: str, text: str, rate: float) -> Any:
    """Return what OpenTimelineIO makes of a timeline's text.

    Parameters
    ----------
    ending
        .edl or .otio.
    rate
        Frames per second of an EDL, which does not say it.

    Raises
    ------
    InputError
        If it makes nothing of it, or no timeline.
    """
    otio = library()
    options: dict[str, Any] = {}
    if ending == ".edl":
        # 29.97 for 30000/1001.
        near = otio.opentime.RationalTime.nearest_smpte_timecode_rate(rate)
        rate = near if abs(near - rate) < 0.01 else rate
        options = {"rate": rate, "ignore_timecode_mismatch": True}
        text = _for_the_adapter(text)
    else:
        _refuse_what_crashes(text)
    try:
        found = otio.adapters.read_from_string(text, adapter_name=ADAPTERS[ending], **options)
    except Exception as error:  # The adapters raise whatever a broken text makes them do.
        reason = " ".join(str(error).split()) or type(error).__name__
        raise InputError(f"no timeline that OpenTimelineIO reads: {reason[:200]}") from error
    if not hasattr(found, "find_clips"):
        raise InputError(f"no timeline that OpenTimelineIO reads: a {type(found).__name__}")
    return found


def _refuse_what_crashes(text: str) -> None:
    """Raise InputError for text at which OpenTimelineIO 0.18 crashes, and the process with it.

    That is some text that is not JSON, and what is nested too deeply, has no tracks, a schema
    without a plain number, or a clip of the first form with the media of the second.
    """
    try:
        found = json.loads(text)
    except RecursionError as error:
        raise InputError("no timeline that OpenTimelineIO reads: nested too deeply") from error
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise InputError(f"no timeline: at {where} it is not JSON ({error.msg})") from error
    except ValueError as error:  # A number of too many digits.
        raise InputError(f"no timeline that OpenTimelineIO reads: {error}") from error
    waiting = [found]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            schema = one.get("OTIO_SCHEMA", "A.1")
            if not isinstance(schema, str) or not _SCHEMA.fullmatch(schema):
                raise InputError(f"no timeline that OpenTimelineIO reads: a schema {schema!r:.60}")
            if schema == "Clip.1" and "media_references" in one:
                raise InputError("no timeline that OpenTimelineIO reads: a clip of two forms")
            if schema.startswith("Timeline.") and not isinstance(one.get("tracks"), dict):
                raise InputError("no timeline that OpenTimelineIO reads: without tracks")
        if isinstance(one, dict | list):
            waiting += one.values() if isinstance(one, dict) else one


def _for_the_adapter(text: str) -> str:
    """Return an EDL without the comments of its header, at which the adapter stops."""
    rows = text.splitlines()
    first = min((event.lines.start for event in events(text)), default=len(rows))
    head = [row for row in rows[:first] if row.startswith(("TITLE", "FCM", "SPLIT"))]
    return "\n".join([*head, *rows[first:]]) + "\n"


def picture_clips(timeline: Any) -> list[Any]:
    """Return the clips of a timeline that bring a picture of a camera, track by track."""
    generated = library().schema.GeneratorReference
    return [
        clip
        for clip in timeline.find_clips()
        if not _is_sound(clip) and not isinstance(clip.media_reference, generated)
    ]


def _is_sound(clip: Any) -> bool:
    """Say whether a clip lies in a track of sound, of the timeline or of one nested in it."""
    schema, holder = library().schema, clip.parent()
    while holder is not None:
        if isinstance(holder, schema.Track) and holder.kind == schema.TrackKind.Audio:
            return True
        holder = holder.parent()
    return False


def names_of(clip: Any) -> list[str]:
    """Return what a clip is called: file, clip name, reel, where they are given."""
    media = clip.media_reference
    reel = edl_metadata(clip).get("reel", "")
    url = getattr(media, "target_url", "") or ""
    named = [url, getattr(media, "name", "") or "", clip.name or "", str(reel)]
    return list(dict.fromkeys(one for one in named if one))


def edl_metadata(clip: Any) -> Any:
    """Return what the adapter of EDLs keeps of a clip; nothing where it is no table."""
    found = clip.metadata.get("cmx_3600")
    return found if hasattr(found, "get") else {}


def comments_of(clip: Any) -> list[str]:
    """Return the comments that an event of an EDL had."""
    found = edl_metadata(clip).get("comments")
    return [str(one) for one in found] if hasattr(found, "append") else []


def marks_in(clip: Any) -> Seen:
    """Return the look that stands in a clip's metadata, or in its comments from an EDL.

    Raises
    ------
    InputError
        If a CDL or an AMF's name stands there in another form.
    """
    try:
        return _numbers(clip.metadata.get("cdl")), *_amf(clip)
    except (TypeError, ValueError, KeyError, AttributeError, IndexError) as error:
        raise InputError(f"metadata that are no look ({error!r})") from error


def _numbers(cdl: Any) -> tuple[float, ...]:
    if not cdl:
        return ()
    sop = cdl["asc_sop"]
    groups = [[float(one) for one in sop[name]] for name in ("slope", "offset", "power")]
    if any(len(group) != 3 for group in groups):
        raise ValueError("not three numbers")
    return (*groups[0], *groups[1], *groups[2], float(cdl["asc_sat"]))


def _amf(clip: Any) -> tuple[str, str]:
    said = comments_of(clip)
    own = clip.metadata.get("amf", {})
    found = []
    for key in ("name", "uuid"):
        line = f"AMF_{key.upper()} "
        in_comment = (one.removeprefix(line) for one in said if one.startswith(line))
        found.append(str(own[key]) if key in own else next(in_comment, "").strip())
    return found[0], found[1]


def is_same(one: Seen, other: Seen) -> bool:
    """Whether two looks are the same, their numbers within six written decimals."""
    return one[1:] == other[1:] and same_numbers(one[0], other[0])


def same_numbers(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    """Whether two CDLs have the same numbers, within six written decimals; both may be none."""
    pairs = zip(one, other, strict=False)
    return len(one) == len(other) and all(abs(a - b) <= NUMBERS for a, b in pairs)
