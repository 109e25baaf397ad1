"""What is handed over from the page: the same public functions as the command line calls."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lookkit.progress import Progress

if TYPE_CHECKING:
    from lookkit.page.server import Page


def _files(page: Page) -> list[str]:
    return list(dict.fromkeys(str(one.taken.place) for one in page.pictures))


def build(page: Page, progress: Progress) -> str:
    """Write the hand-off folder beside the recipe."""
    from lookkit.handoff.build import build as write

    look = page.session.look_of(page.session.text)
    made = write(look, page.session.file.parent, progress, frames=_files(page),
                 options=page.options)  # fmt: skip
    return f"the hand-off is in {made.folder.name}"


def sheet(page: Page, progress: Progress) -> str:
    """Write a sheet beside the recipe."""
    from lookkit.report.frames import graded_frames, sheet_title
    from lookkit.report.sheet import draw_sheet

    look = page.session.look_of(page.session.text)
    target = page.session.file.with_name(f"{page.session.file.stem}.sheet.png")
    made = graded_frames(look, _files(page), page.options, progress=progress)
    draw_sheet(made.rows, target, sheet_title(look), 480, made.note)
    return f"the sheet is {target.name}"


def report(page: Page, progress: Progress) -> str:
    """Write the page about the look beside the recipe."""
    from lookkit.report.report import write_report

    look = page.session.look_of(page.session.text)
    target = page.session.file.with_name(f"{page.session.file.stem}.report.html")
    write_report(look, target, files=_files(page), options=page.options, progress=progress)
    return f"the report is {target.name}"


def proof(page: Page, progress: Progress) -> str:
    """Write a page for a client beside the recipe: the film under its takes, in one file."""
    target = page.session.file.with_name(f"{page.session.file.stem}.proof.html")
    return proof_at(page, target, progress)


def proof_at(page: Page, target: Path, progress: Progress) -> str:
    """Write the proof, and say what it is and what is not in it."""
    from lookkit.page.proof.write import write_proof

    session = page.session
    looks = {one.name: session.look_of(one.text) for one in session.takes}
    current = next((one.name for one in session.takes if one.text == session.text), "now")
    looks = {current: session.look_of(session.text), **looks}
    left = write_proof(looks, page.pictures, page.output, target, progress)
    many = f"{len(looks) - len(left)} takes" if len(looks) - len(left) > 1 else "one look"
    told = f"the proof is {target.name}: {len(page.pictures)} pictures under {many}"
    if left:
        told += f"; without {', '.join(left)}, which read the cameras otherwise"
    return told


JOBS: Final[dict[str, Callable[[Page, Progress], str]]] = {
    "build": build,
    "sheet": sheet,
    "report": report,
    "proof": proof,
}
