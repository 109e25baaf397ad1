"""The same jobs on many machines: each clip, or segment of a sequence, a task of dask's."""

from __future__ import annotations

import logging
import re
import socket
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
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
_PATIENCE: Final = "5s"
_SECONDS: Final = 5.0
_LONGEST: Final = 1 << 20
"""Bytes of a scheduler's greeting at the most."""
_ADDRESS: Final = re.compile(r"^(?P<kind>[a-z]+://)?(?P<host>\[.+\]|[^:/]+):(?P<port>\d+)/?$")


def run_on(address: str, look: Look, jobs: Sequence[Job], counter: Counter) -> list[Done]:
    """Do jobs on the workers of a dask scheduler; results and problems are as on one machine.

    A worker that dies gives its tasks back: they are done again by another, and results
    that were whole are kept.

    Raises
    ------
    InputError
        If dask.distributed is not installed, the address is none or no scheduler answers.
    """
    try:
        import distributed as dask
    except ImportError as error:
        raise InputError(
            "a cluster needs dask.distributed, which is not installed: "
            "pip install 'lookkit[cluster]'"
        ) from error
    _check_address(address)
    connect: Any = dask.Client
    as_completed: Any = dask.as_completed
    with _quiet():
        try:
            client = connect(address, timeout=_PATIENCE, set_as_default=False)
        except Exception as error:
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
                results[at] = _result(task, part, address)
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


def _check_address(address: str) -> None:
    """Check within seconds that something listens at an address: dask itself waits for long.

    Raises
    ------
    InputError
        If it is no address, or nothing does.
    """
    found = _ADDRESS.match(address)
    if found is None:
        raise InputError(f"cluster {address!r}: expected an address, such as tcp://name:8786")
    if found["kind"] not in (None, "tcp://", "tls://"):
        return
    try:
        place = (found["host"].strip("[]"), int(found["port"]))
        with socket.create_connection(place, _SECONDS) as line:
            if found["kind"] != "tls://":
                line.settimeout(_SECONDS)
                # A scheduler speaks first, and begins with the size of what it says.
                size = int.from_bytes(line.recv(8), "little")
                if not 0 < size < _LONGEST:
                    raise OSError(0, "something else does")
    except (OSError, OverflowError, UnicodeError) as error:
        why = getattr(error, "strerror", None) or error
        raise InputError(f"cluster {address}: no scheduler answers there ({why})") from error


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep dask from printing what becomes of its connections, and from waiting long for them."""
    import dask

    talkers = ("distributed", "tornado", "asyncio")
    names = [name for name in logging.root.manager.loggerDict if name.split(".")[0] in talkers]
    loggers = [logging.getLogger(name) for name in {*talkers, *names}]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        with dask.config.set({"distributed.comm.timeouts.connect": _PATIENCE,
                              "distributed.comm.retry.count": 0}):  # fmt: skip
            yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)


def _result(task: Any, part: Job, address: str) -> Done:
    if task.status == "finished":
        try:
            done: Done = task.result()
        except Exception as error:
            what = f"what became of it was not told ({type(error).__name__})"
        else:
            return done
    elif task.status == "error":
        what = f"the worker was lost ({type(task.exception()).__name__})"
    else:
        what = (
            f"the scheduler {address} was lost before its end; the same command goes on from here"
        )
    return Done(part.place, part.result, f"{part.place}: {what}", warnings=part.warnings)


def _joined(job: Job, parts: list[Done]) -> Done:
    problems = [done.problem for done in parts if done.problem]
    return replace(
        parts[0],
        target=job.result,
        problem="\n".join(problems),
        frames=sum(done.frames for done in parts),
        kept=all(done.kept for done in parts),
        not_finite=sum(done.not_finite for done in parts),
        warnings=tuple(dict.fromkeys(line for done in parts for line in done.warnings)),
    )
