"""The same jobs on many machines: each clip, or segment of a sequence, a task of dask's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lookkit.errors import InputError
from lookkit.media.jobs import Job
from lookkit.media.numbered import Numbered
from lookkit.media.work import Done, perform

if TYPE_CHECKING:
    from lookkit.look import Look
    from lookkit.media.run import Counter

SEGMENT: Final = 25
"""Frames of a sequence in one task."""
_PATIENCE: Final = "20s"


def run_on(address: str, look: Look, jobs: Sequence[Job], counter: Counter) -> list[Done]:
    """Do jobs on the workers of a dask scheduler; results and problems are as on one machine.

    A worker that dies gives its tasks back: they are done again by another, and results
    that were whole are kept.

    Raises
    ------
    InputError
        If dask.distributed is not installed or no scheduler answers.
    """
    try:
        import distributed as dask
    except ImportError as error:
        raise InputError(
            "a cluster needs dask.distributed, which is not installed: "
            "pip install 'lookkit[cluster]'"
        ) from error
    connect: Any = dask.Client
    as_completed: Any = dask.as_completed
    try:
        client = connect(address, timeout=_PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(f"cluster {address}: no scheduler answers there") from error
    with client:
        parts = [(number, part) for number, job in enumerate(jobs) for part in segments(job)]
        tasks = {
            client.submit(
                _perform, look.text, _absolute(look.source), part, pure=False, retries=3
            ): at
            for at, (_, part) in enumerate(parts)
        }
        results: list[Done | None] = [None] * len(parts)
        for task in as_completed(tasks, loop=client.loop):
            at = tasks[task]
            number, part = parts[at]
            results[at] = _result(task, part)
            counter.begin(part.place.name, number + 1)
            counter.tick(part.frames)
    return [
        _joined(job, [done for (of, _), done in zip(parts, results, strict=True)
                      if of == number and done is not None])
        for number, job in enumerate(jobs)
    ]  # fmt: skip


def segments(job: Job) -> list[Job]:
    """Return a job in parts that can be done apart: runs of frames of a sequence of pictures."""
    source, target = job.source, job.target
    if not (isinstance(source, Numbered) and isinstance(target, Numbered)):
        return [job]
    made = []
    for start in range(0, len(source.frames), SEGMENT):
        frames = source.frames[start : start + SEGMENT]
        made.append(replace(job, source=source.only(frames), target=target.only(frames)))
    made[0] = replace(made[0], source=replace(made[0].source, missing=source.missing))  # type: ignore[type-var]
    return made


def _perform(text: str, source: str, job: Job) -> Done:
    return perform(_look(text, source), job)


@lru_cache(maxsize=4)
def _look(text: str, source: str) -> Look:
    from lookkit.look import Look
    from lookkit.recipe.load import parse_recipe

    return Look(parse_recipe(text, source), text, source)


def _absolute(source: str) -> str:
    return str(Path(source).resolve()) if Path(source).exists() else source


def _result(task: Any, part: Job) -> Done:
    if task.status == "finished":
        done: Done = task.result()
        return done
    why = type(task.exception()).__name__
    what = f"{part.place}: the worker was lost ({why})"
    return Done(part.place, part.result, what, warnings=part.warnings)


def _joined(job: Job, parts: list[Done]) -> Done:
    problems = [done.problem for done in parts if done.problem]
    return replace(
        parts[0],
        target=job.result,
        problem="\n".join(problems),
        frames=sum(done.frames for done in parts),
        kept=all(done.kept for done in parts),
        not_finite=sum(done.not_finite for done in parts),
    )
