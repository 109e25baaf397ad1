"""What a hand-off tells people: README.txt, ACCURACY.txt and report.html, made again.

They follow from the recipe, the manifest and the accuracy reports in the folder, which are held
against the graph elsewhere; so a page that was changed says something else than these. A page's
drawings are compared where the same matplotlib drew them; its frames are not in the folder.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from html import unescape
from itertools import zip_longest
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, Final

from lookkit.accuracy.certificate import Certificate
from lookkit.deliver.cdl_residual import figures_told
from lookkit.deliver.certified import accuracy_lines
from lookkit.deliver.written import Written
from lookkit.errors import LookkitError
from lookkit.handoff import pages
from lookkit.handoff.manifest import drawn_by
from lookkit.handoff.readme import certificates, one_line, readme
from lookkit.handoff.verify.listing import Listing
from lookkit.handoff.verify.rebuilt import as_dated
from lookkit.handoff.verify.report import Row
from lookkit.handoff.verify.written import READER

if TYPE_CHECKING:
    from lookkit.look import Look

README: Final = "README.txt"
ACCURACY: Final = "ACCURACY.txt"
REPORT: Final = "report.html"
_FRAMES: Final = re.compile(
    r'<section aria-labelledby="frames-head">.*?</section>\n?|<a href="#frames-head">Frames</a>',
    re.DOTALL,
)
_DRAWING: Final = re.compile(r"<svg\b.*?</svg>", re.DOTALL)
_FILE: Final = re.compile(r"^  (\S.*)\n((?:    .*\n?)*)", re.MULTILINE)
_HEAD: Final = 1 << 16
"""Bytes of a LUT file in which it says how exact it is."""


def page_rows(listing: Listing, look: Look, *, sound: bool = True) -> Iterator[Row]:
    """Yield how each page for people differs from itself made again.

    Parameters
    ----------
    look
        Of the folder's recipe, with the scenes it was built for.
    sound
        Whether the files that the pages tell of are; else pages cannot be made of them.
    """
    if not listing.same_version or listing.format < 2:
        return
    if not sound:
        for name in sorted({README, ACCURACY, REPORT} & set(listing.entries)):
            yield Row(name, READER, "reads", "not compared, for other files here are faulty")
        return
    look = as_dated(look, listing.manifest)
    for name, check in ((README, _readme), (ACCURACY, _accuracy)):
        fault = check(listing, look) if name in listing.entries else "not in the manifest"
        verdict = "faulty" if fault else "agrees"
        yield Row(name, READER, verdict, fault or "what recipe and manifest say")  # type: ignore[arg-type]
    if REPORT in listing.entries:
        yield _report(listing, look)


def _written(listing: Listing, accuracy: Mapping[str, tuple[str, ...]]) -> list[Written]:
    """Return the files as a build tells of them, those in `accuracy` first, in its order."""
    order = {name: place for place, name in enumerate(accuracy)}
    named = {name: one for name, one in listing.entries.items() if "part" in one}
    return [
        Written(
            listing.folder / name, str(one.get("format")), str(one["part"]), one.get("camera"),
            one.get("output"), one.get("scene"), str(one.get("note", "")),
            accuracy=accuracy.get(name, ()),
        )
        for name, one in sorted(named.items(), key=lambda item: order.get(item[0], len(order)))
    ]  # fmt: skip


def _readme(listing: Listing, look: Look) -> str:
    return _unlike(_text(listing, README), readme(look, _written(listing, {})))


def _accuracy(listing: Listing, look: Look) -> str:
    """Return what is wrong: other words than of recipe and manifest, or other figures."""
    text = _text(listing, ACCURACY)
    told: dict[str, tuple[str, ...]] = {}
    for name, block in _FILE.findall(text):
        lines = [line.strip() for line in block.splitlines()]
        entry = listing.entries.get(name, {})
        told[name] = tuple(lines[1:] if one_line(str(entry.get("note", ""))) else lines)
        for line in told[name]:
            if not _is_true(line, name, entry, listing.folder, look):
                return f"says of {name[-80:]} what its figures do not: {line[:80]}"
    return _unlike(text, certificates(look, listing.folder, _written(listing, told)))


def _is_true(line: str, name: str, entry: Mapping[str, Any], folder: Path, look: Look) -> bool:
    """Whether a file's accuracy report, its figures, or the file itself says so."""
    path = folder / name
    if entry.get("format") == "config":
        return True  # Which of its ways is the farthest is not kept; its figures are measured.
    try:
        if path.suffix == ".cc":
            return line == figures_told(look, entry["figures"])
        beside = path.with_name(f"{path.name}.json")
        if not beside.is_file() and entry.get("part") == "lmt":
            beside = next(path.parent.glob("*_lmt_ACEScct_*.cube.json"))
        if beside.is_file():
            certificate = Certificate.from_json(beside.read_text(encoding="utf-8"))
            if line in accuracy_lines(certificate):
                return True
    except (KeyError, TypeError, ValueError, LookkitError, StopIteration):
        return False
    with path.open("rb") as file:
        head = file.read(_HEAD).decode("utf-8", "replace")
    return _squeezed(line) in _squeezed(unescape(head))


def _squeezed(text: str) -> str:
    """Return a text without blanks and signs of comments, for heads have long lines in pieces."""
    return "".join(text.replace("#", "").split())


def _report(listing: Listing, look: Look) -> Row:
    from lookkit.report.report import write_report

    if pages.missing():
        return Row(REPORT, READER, "absent", f"cannot be made again: {pages.missing()}")
    if not listing.same:
        return Row(REPORT, READER, "reads", "by another machine architecture: not compared")
    theirs = _text(listing, REPORT)
    with TemporaryDirectory() as place:
        made = Path(place, REPORT)
        try:
            write_report(look, made, certificates=[listing.folder])
        except LookkitError as error:
            return Row(REPORT, READER, "faulty", f"cannot be made again: {error}")
        ours = made.read_text(encoding="utf-8")
    framed = "sheet.png" in listing.entries
    if framed:
        theirs = _FRAMES.sub("", theirs)
    drawn = listing.manifest.get("drawn_by") == drawn_by()
    if not drawn:
        theirs, ours = _DRAWING.sub("", theirs), _DRAWING.sub("", ours)
    fault = _unlike(theirs, ours)
    if fault:
        return Row(REPORT, READER, "faulty", fault)
    left = ["its frames (they are not here)"] * framed
    left += ["its drawings (by another matplotlib)"] * (not drawn)
    text = "what recipe and accuracy reports make"
    return Row(REPORT, READER, "agrees", f"{text}, but for {' and '.join(left)}" if left else text)


def _text(listing: Listing, name: str) -> str:
    return (listing.folder / name).read_text(encoding="utf-8", errors="replace")


def _unlike(theirs: str, ours: str) -> str:
    """Return the first line in which two texts differ, or nothing."""
    return next(_differing(theirs.splitlines(), ours.splitlines()), "")


def _differing(theirs: Sequence[str], ours: Sequence[str]) -> Iterator[str]:
    for number, (one, other) in enumerate(zip_longest(theirs, ours), start=1):
        if one != other:
            told = (one or "").strip()[:60] or "nothing"
            yield f"line {number} is not what recipe and figures say: {told}"
