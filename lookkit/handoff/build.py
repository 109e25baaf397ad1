"""The hand-off: one folder in which each recipient finds the file that fits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from lookkit.deliver.config import merged_job
from lookkit.deliver.written import Job, Written
from lookkit.errors import InputError
from lookkit.files import build_beside, safe_name
from lookkit.handoff.formats import FORMATS
from lookkit.handoff.manifest import write_manifest
from lookkit.handoff.readme import readme
from lookkit.progress import Progress, silent

if TYPE_CHECKING:
    from lookkit.look import Look


def handoff_name(look: Look) -> str:
    """Return the name of the folder: show, look and version."""
    recipe = look.recipe
    return f"{safe_name(recipe.show)}_{safe_name(recipe.name)}_v{recipe.version:03d}"


@dataclass(frozen=True)
class Handoff:
    """A written hand-off folder, and where its files exceed the default budget."""

    folder: Path
    over_budget: tuple[str, ...] = ()


def build(
    look: Look,
    into: Path,
    progress: Progress = silent,
    more: Callable[[Look], list[Job]] = lambda look: [],
    base: str | None = None,
) -> Handoff:
    """Write the hand-off folder below `into`.

    The folder appears under its name only when it is whole.

    Parameters
    ----------
    look
        Its recipe's `[deliver]` says what is written.
    into
        The folder to put the hand-off into; made if it does not exist.
    progress
        Told of each job.
    more
        Gives jobs besides those of the formats, done after them.
    base
        An OCIO config that the look is also merged over; see `config.merge_config`.

    Raises
    ------
    InputError
        If the recipe has no camera or no output, or the folder exists or cannot be written.
    LookkitError
        If the disk fails, a file exceeds the recipe's budget, or OpenColorIO refuses the
        config.
    """
    recipe = look.recipe
    if not recipe.cameras or not recipe.outputs:
        what = "cameras" if not recipe.cameras else "outputs"
        raise InputError(f"{look.source}: no {what}, expected at least one to build for")
    jobs = [
        job for name in FORMATS if name in recipe.deliver.formats for job in FORMATS[name](look)
    ]
    if base is not None:
        jobs.append(merged_job(look, base))
    jobs += more(look)
    total = len(jobs) + 1
    with build_beside(into / handoff_name(look)) as folder:
        written: list[Written] = []
        for done, job in enumerate(jobs):
            progress(job.label, done, total)
            written += job.write(folder)
        progress("manifest", len(jobs), total)
        (folder / "recipe.toml").write_text(look.text, encoding="utf-8")
        (folder / "README.txt").write_text(readme(look, folder, written), encoding="utf-8")
        write_manifest(look, folder, written)
        progress("done", total, total)
    over = [f"{one.path.name}: {text}" for one in written for text in one.over_budget]
    return Handoff(into / handoff_name(look), tuple(over))
