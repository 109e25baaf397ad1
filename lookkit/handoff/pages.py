"""The pages for people in a hand-off: `report.html`, and with frames `sheet.png`."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lookkit.deliver.written import Job, Written

if TYPE_CHECKING:
    from lookkit.look import Look
    from lookkit.media.jobs import Options

NOTES: Final = {
    "report.html": "curves, colours, exactness and frames, for any browser",
    "sheet.png": "every scene and camera side by side",
}
_NEEDED: Final = ("matplotlib", "PIL")


def jobs(
    look: Look, frames: Sequence[str | Path] = (), options: Options | None = None
) -> list[Job]:
    """Return the job that writes the report with frames, and a sheet of them."""

    def write(folder: Path) -> list[Written]:
        from lookkit.report.report import write_pages

        return [
            Written(path, "report", "page", note=NOTES[path.name])
            for path in write_pages(look, folder, frames, options)
        ]

    return [Job("report", write, last=True)]


def missing() -> str:
    """Return why no pages can be written here; empty where they can."""
    absent = [name for name in _NEEDED if find_spec(name) is None]
    if not absent:
        return ""
    return f"no report.html: {', '.join(absent)} not installed (pip install lookkit[pictures])"
