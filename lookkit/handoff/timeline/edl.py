"""CMX 3600 edit decision lists as text: their events, and comments added to them.

An event is one line, or two with the same number (a transition: from, to), and the comment lines
behind it. Everything that is not ours is kept byte for byte: audio events, effects, other
programs' comments, line ends.

Source: the CMX 3600 list format as it is in common use; how OpenTimelineIO's adapter reads it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

_TIME: Final = r"\d\d[:;.]\d\d[:;.]\d\d[:;.]\d\d"
_CHANNELS: Final = r"(?:B|V\d*|AA?\d*|NONE)(?:[/&,+]?(?:V\d*|AA?\d*))*"
"""Picture, sound or both: V, A, A2, AA, B (both), AA/V, V12."""
_EVENT: Final = re.compile(
    rf"^\s*(?P<number>\d+)\s+(?P<reel>\S.*?)\s+(?P<channels>{_CHANNELS})\s+"
    rf"(?P<kind>C|D|W\d*|K(?:\s*[BO])?)(?:\s+\d+)?\s+"
    rf"(?P<times>{_TIME}\s+{_TIME}\s+{_TIME}\s+{_TIME})\s*$",
    re.IGNORECASE,
)
_COMMENTS: Final = (
    ("to file", re.compile(r"^\s*\*?\s*TO (?:FILE|CLIP):\s*(.*)$", re.IGNORECASE)),
    ("to", re.compile(r"^\s*\*?\s*TO CLIP NAME:?\s*(.*)$", re.IGNORECASE)),
    ("from", re.compile(r"^\s*\*?\s*FROM CLIP NAME:?\s*(.*)$", re.IGNORECASE)),
    ("file", re.compile(r"^\s*\*?\s*(?:SOURCE FILE|FROM FILE|FROM CLIP):\s*(.*)$", re.IGNORECASE)),
)
_OURS: Final = re.compile(r"^\s*\*?\s*(?:ASC_SOP|ASC_SAT|AMF_NAME|AMF_UUID)\b", re.IGNORECASE)
_RATES: Final = (24.0, 25.0, 30.0, 48.0, 50.0, 60.0)
_CDL: Final = re.compile(r"^\s*\*?\s*(?P<key>ASC_SOP|ASC_SAT)\b:?(?P<rest>.*)$", re.IGNORECASE)
_NUMBER: Final = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_ROW: Final = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")
_BLACK: Final = ("BL", "BLACK", "BARS")


@dataclass(frozen=True)
class Event:
    """One event of a list.

    Attributes
    ----------
    line
        Of its first line in the text, from 1.
    lines
        The places of all its lines, comments included, from 0.
    names
        What the clip that it brings is called: file, clip name, reel, where they are given.
    picture
        Whether it brings a picture of a camera: no audio alone, no black, no bars.
    """

    number: str
    line: int
    lines: range
    names: tuple[str, ...]
    picture: bool


def rows_of(text: str) -> list[str]:
    """Return the lines of a list, which end in CR, LF or both and in nothing else."""
    return [row.rstrip("\r\n") for row in _ROW.findall(text)]


def events(text: str) -> list[Event]:
    """Return the events of a list, in order."""
    rows = rows_of(text)
    starts = [(at, found) for at, row in enumerate(rows) if (found := _EVENT.match(row))]
    groups: list[list[tuple[int, re.Match[str]]]] = []
    for at, found in starts:
        # A transition's second line carries its event's number and stands right behind it.
        if (
            groups
            and groups[-1][-1][1]["number"] == found["number"]
            and _adjacent(rows, groups[-1][-1][0], at)
        ):
            groups[-1].append((at, found))
        else:
            groups.append([(at, found)])
    made = []
    for place, group in enumerate(groups):
        end = groups[place + 1][0][0] if place + 1 < len(groups) else len(rows)
        made.append(_event(rows, group, _end_of_comments(rows, group[-1][0] + 1, end)))
    return made


def _adjacent(rows: Sequence[str], first: int, second: int) -> bool:
    return not any(row.strip() for row in rows[first + 1 : second])


def _end_of_comments(rows: Sequence[str], start: int, end: int) -> int:
    """Return where the lines that belong to an event end: blank lines behind them do not."""
    while end > start and not rows[end - 1].strip():
        end -= 1
    # These open the next event.
    while end > start and rows[end - 1].lstrip().startswith(("FCM", "SPLIT")):
        end -= 1
    return end


def _event(rows: Sequence[str], group: list[tuple[int, re.Match[str]]], end: int) -> Event:
    first, last = group[0][0], group[-1][1]
    found: dict[str, str] = {}
    for row in rows[group[-1][0] + 1 : end]:
        for what, pattern in _COMMENTS:
            if match := pattern.match(row):
                found.setdefault(what, match[1].strip())
                break
    # The file that is named without more is that of the clip from which a transition goes.
    goes = "to" in found or "to file" in found
    file = found.get("to file" if goes else "file", "")
    clip = found.get("to") or found.get("from", "")
    reel = last["reel"]
    channels = last["channels"].upper()
    picture = "V" in channels or channels == "B"
    return Event(
        last["number"],
        first + 1,
        range(first, end),
        tuple(dict.fromkeys(name for name in (file, clip, reel) if name and name != "AX")),
        picture and reel.upper() not in _BLACK,
    )


def annotated(text: str, comments: Mapping[int, Sequence[str]]) -> str:
    """Return a list with comment lines behind the events that get some.

    Lines of the same kinds that such an event had are replaced.

    Parameters
    ----------
    comments
        By the place of an event in `events(text)`.
    """
    rows = _ROW.findall(text)
    newline = (rows[0][len(rows[0].rstrip("\r\n")) :] if rows else "") or "\n"
    out: list[str] = []
    at = 0
    for place, event in enumerate(events(text)):
        if place not in comments:
            continue
        out += rows[at : event.lines.start]
        kept = [row for row in rows[event.lines.start : event.lines.stop] if not _OURS.match(row)]
        if kept and not kept[-1].endswith(("\n", "\r")):
            kept[-1] += newline
        out += [*kept, *(f"{line}{newline}" for line in comments[place])]
        at = event.lines.stop
    return "".join([*out, *rows[at:]])


def stray_lines(text: str) -> Iterator[int]:
    """Yield the numbers of lines that begin as an event does and are none."""
    for number, row in enumerate(rows_of(text), start=1):
        if re.match(r"^\s*\d+\s", row) and not _EVENT.match(row):
            yield number


def cdls_in(text: str) -> Iterator[tuple[Event, tuple[float, ...]]]:
    """Yield the events that bring a picture and have a whole CDL, with its ten numbers."""
    rows = rows_of(text)
    for event in events(text):
        found = {match["key"].upper(): match["rest"] for line in event.lines
                 if (match := _CDL.match(rows[line]))}  # fmt: skip
        numbers = [*_NUMBER.findall(found.get("ASC_SOP", "")),
                   *_NUMBER.findall(found.get("ASC_SAT", "1"))]  # fmt: skip
        if event.picture and len(numbers) == 10:
            yield event, tuple(map(float, numbers))


def frame_rate(text: str) -> float:
    """Return a rate that has all the frames that the timecodes of a list count to.

    A list does not say its rate. Where nothing but CDLs and names matters, any will do by which
    its timecodes can be read.
    """
    times = [time for row in rows_of(text) if (found := _EVENT.match(row))
             for time in found["times"].split()]  # fmt: skip
    most = max((int(time[-2:]) for time in times), default=0)
    if any(time[-3] == ";" for time in times):
        return (30000 if most < 30 else 60000) / 1001
    return next((rate for rate in _RATES if rate > most), _RATES[-1])
