"""What a verification found: one row for each file and reader."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

Verdict = Literal["agrees", "reads", "misreads", "refuses", "faulty", "absent"]
"""agrees: within a stated tolerance; reads: read, with nothing to compare with; misreads:
read as something else; refuses: not read at all; faulty: missing, changed, unlisted or broken;
absent: not tried, because the reader or a schema is not here."""

BAD: Final = ("misreads", "refuses", "faulty")


@dataclass(frozen=True)
class Row:
    """What one reader makes of one file.

    Attributes
    ----------
    file
        Its path in the folder, with forward slashes; "" is the folder itself.
    reader
        Who read it: a library with its version, "lookkit", or "graph" where the numbers of
        the file were held against the graph of the folder's recipe.
    text
        For people: how far it agrees and within what, or what is wrong.
    difference, within
        The figure and its tolerance, where there are such; their unit is in `text`.
    """

    file: str
    reader: str
    verdict: Verdict
    text: str = ""
    difference: float | None = None
    within: float | None = None

    @property
    def bad(self) -> bool:
        """Whether the hand-off should not be trusted for this."""
        return self.verdict in BAD


@dataclass(frozen=True)
class Report:
    """All that a verification found, in the order of the files.

    Attributes
    ----------
    format
        The number of the folder's layout, from its manifest.
    """

    folder: Path
    format: int
    rows: tuple[Row, ...] = field(default=())

    @property
    def sound(self) -> bool:
        """Whether nothing bad was found; what could not be tried does not count."""
        return not any(row.bad for row in self.rows)

    @property
    def summary(self) -> str:
        """One line: how much was found of each verdict, and what could not be tried."""
        counts = Counter(row.verdict for row in self.rows)
        order: Sequence[Verdict] = ("agrees", "reads", *BAD, "absent")
        words = [f"{counts[verdict]} {verdict}" for verdict in order if counts[verdict]]
        missing = sorted({row.reader for row in self.rows if row.verdict == "absent"})
        tail = f"; not tried: {', '.join(missing)}" if missing else ""
        return f"{'sound' if self.sound else 'NOT SOUND'}: {', '.join(words)}{tail}"

    def as_dict(self) -> dict[str, Any]:
        """Return plain data, ready for JSON."""
        return {
            "folder": str(self.folder),
            "format": self.format,
            "sound": self.sound,
            "summary": self.summary,
            "rows": [_plain(row) for row in self.rows],
        }


def _plain(row: Row) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "file": row.file,
        "reader": row.reader,
        "verdict": row.verdict,
        "text": row.text,
    }
    if row.difference is not None:
        entry["difference"] = row.difference
    if row.within is not None:
        entry["within"] = row.within
    return entry
