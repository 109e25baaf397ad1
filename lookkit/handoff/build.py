"""The hand-off: one folder in which each recipient finds the file that fits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lookkit.deliver.config import check_base, merged_job
from lookkit.errors import InputError
from lookkit.files import build_beside, safe_name
from lookkit.handoff import pages
from lookkit.handoff.carried import write_recipe
from lookkit.handoff.formats import FORMATS
from lookkit.handoff.manifest import write_manifest
from lookkit.handoff.plan import Plan, plan
from lookkit.handoff.readme import certificates, readme
from lookkit.handoff.workers import all_done
from lookkit.progress import Progress, silent

if TYPE_CHECKING:
    from lookkit.look import Look
    from lookkit.media.jobs import Options

_WORTH_WORKERS: Final = 20.0
"""Seconds of their work from which on other processes are worth a second of start each."""


def handoff_name(look: Look) -> str:
    """Return the name of the folder: show, look and version."""
    recipe = look.recipe
    return f"{safe_name(recipe.show)}_{safe_name(recipe.name)}_v{recipe.version:03d}"


@dataclass(frozen=True)
class Handoff:
    """A written hand-off folder.

    `over_budget` says where its files exceed the default budget, `left_out` what could not be
    written here.
    """

    folder: Path
    over_budget: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()


def build(
    look: Look,
    into: Path,
    progress: Progress = silent,
    *,
    base: str | None = None,
    frames: Sequence[str | Path] = (),
    options: Options | None = None,
    begun: Callable[[Plan], None] | None = None,
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
    base
        An OCIO config that the look is also merged over; see `config.merge_config`.
    frames, options
        Frames for the report and a sheet, as `lookkit apply` takes them.

    begun
        Told before anything is made how much that will be.

    Raises
    ------
    InputError
        If the recipe has no camera or no output, two names of it would be one file's, or the
        folder exists or cannot be written.
    LookkitError
        If the disk fails, a file exceeds the recipe's budget, or OpenColorIO refuses the
        config.
    """
    recipe = look.recipe
    if not recipe.cameras or not recipe.outputs:
        what = "cameras" if not recipe.cameras else "outputs"
        raise InputError(f"{look.source}: no {what}, expected at least one to build for")
    _refuse_shared_names(look)
    if base is not None:
        check_base(base)
    left_out = pages.missing() if "report" in recipe.deliver.formats else ""
    chosen = [name for name in FORMATS if name in recipe.deliver.formats and name != "report"]
    named = [((name, n), job) for name in chosen for n, job in enumerate(FORMATS[name](look))]
    jobs = [job for _, job in named]
    if begun is not None:
        begun(plan(look, [name for (name, _), _ in named]))
    if base is not None:
        jobs.append(merged_job(look, base))
    if "report" in recipe.deliver.formats and not left_out:
        jobs += pages.jobs(look, frames, options)
    total = len(jobs) + 1
    apart = {number: name for number, (name, job) in enumerate(named) if job.apart}
    if plan(look, [name for name, _ in apart.values()]).seconds < _WORTH_WORKERS:
        apart = {}
    with build_beside(into / handoff_name(look)) as folder:
        written = all_done(look, jobs, apart, folder, progress)
        progress("manifest", len(jobs), total)
        written += write_recipe(look, folder)
        (folder / "README.txt").write_text(readme(look, written), encoding="utf-8")
        told = certificates(look, folder, written)
        (folder / "ACCURACY.txt").write_text(told, encoding="utf-8")
        write_manifest(look, folder, written)
        progress("done", total, total)
    over = [f"{one.path.name}: {text}" for one in written for text in one.over_budget]
    return Handoff(into / handoff_name(look), tuple(over), (left_out,) if left_out else ())


def _refuse_shared_names(look: Look) -> None:
    """Raise InputError if two names give the same file name on some system."""
    problems = []
    chosen = look.recipe.deliver.scenes
    for what, names in (
        ("cameras", look.cameras),
        ("outputs", look.outputs),
        ("scenes", tuple(dict.fromkeys((*look.scenes, *chosen)))),
    ):
        first: dict[str, str] = {}
        for name in names:
            other = first.setdefault(safe_name(name).casefold(), name)
            if other != name:
                problems.append(
                    f"{look.source}: {what} {other!r} and {name!r} would have the same files, "
                    "expected names that differ in letters or digits"
                )
    if problems:
        raise InputError("\n".join(problems))
