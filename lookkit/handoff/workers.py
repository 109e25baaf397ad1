"""The jobs of a build, some of them in processes beside this one.

Such a process is a plain Python that runs this module. It gets the look and the folder, then the
name of one job after another, and answers with what it wrote. A job that fails there, or whose
process dies, is done again here, so that an error is told as it always is.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Final

from lookkit.deliver.written import Job, Written
from lookkit.handoff.formats import FORMATS
from lookkit.ocio import cores
from lookkit.progress import Progress

if TYPE_CHECKING:
    from lookkit.look import Look

Name = tuple[str, int]
"""A job's format, and its number among the jobs of that format."""

_MOST: Final = 4
"""Processes at once: a fit of 65 points takes half a gigabyte."""

_LOOK: Final = 0.5
"""Seconds between looks at what the others have done."""


def all_done(
    look: Look,
    jobs: Sequence[Job],
    apart: Mapping[int, Name],
    folder: Path,
    progress: Progress,
) -> list[Written]:
    """Do jobs and return what they wrote, in the order of the jobs.

    Parameters
    ----------
    look
        The look that the jobs are of.
    jobs
        What is to be done.
    apart
        Which of them other processes may do, and how they are named there. One process is begun
        for each core but this process's own.
    folder
        Where they write.
    progress
        Told of each job that this process begins, and of how many are done in all.
    """
    waiting = deque(apart)
    written: dict[int, Sequence[Written]] = {}

    def tell(what: str) -> None:
        progress(what, len(written), len(jobs) + 1)

    def do(number: int) -> None:
        tell(jobs[number].label)
        written[number] = jobs[number].write(folder)

    def feed(worker: _Worker) -> None:
        for number in _taken(waiting):
            answer = worker.does(apart[number])
            if answer is None:
                waiting.append(number)
                return
            written[number] = answer

    count = max(0, min(cores(), _MOST, len(waiting)) - 1)
    workers: list[_Worker] = []
    threads: list[Thread] = []
    try:
        # Where the system begins no process, all is done here.
        with suppress(OSError):
            while len(workers) < count:
                workers.append(_Worker(look, folder))
        for worker in workers:
            threads.append(Thread(target=feed, args=(worker,), daemon=True))
            threads[-1].start()
        for number in range(len(jobs)):
            if number not in apart and not jobs[number].last:
                do(number)
        for number in _taken(waiting):
            do(number)
        for thread in threads:
            while thread.is_alive():
                tell("the last of them")
                thread.join(_LOOK)
        # What a worker could not do has come back.
        for number in _taken(waiting):
            do(number)
        for number, job in enumerate(jobs):
            if job.last:
                do(number)
    finally:
        for worker in workers:
            worker.end()
        for thread in threads:
            thread.join()
        for worker in workers:
            worker.close()
    return [one for number in range(len(jobs)) for one in written[number]]


def _taken(numbers: deque[int]) -> Iterator[int]:
    """Take the next number until there is none; others may take from the same queue."""
    while True:
        try:
            yield numbers.popleft()
        except IndexError:
            return


class _Worker:
    """A process that does jobs of a look."""

    def __init__(self, look: Look, folder: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", __name__],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(one for one in sys.path if one)},
            # Ctrl-C ends the process that the user sees, and that ends this one.
            start_new_session=True,
        )
        self._ask((look, folder))

    def does(self, job: Name) -> Sequence[Written] | None:
        """Let it do a job and return what it wrote; None if it could not."""
        if not self._ask(job):
            return None
        assert self._process.stdout is not None
        try:
            answer: Sequence[Written] | None = pickle.load(self._process.stdout)
        except (EOFError, OSError, pickle.UnpicklingError):
            return None
        return answer

    def end(self) -> None:
        """End it, whatever it does."""
        self._process.kill()
        self._process.wait()

    def close(self) -> None:
        """Close the pipes to it, once nobody reads them any more."""
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            with suppress(OSError):
                pipe.close()

    def _ask(self, what: object) -> bool:
        assert self._process.stdin is not None
        try:
            pickle.dump(what, self._process.stdin)
            self._process.stdin.flush()
        except OSError:
            return False
        return True


def _serve() -> None:
    """Do the jobs that come in, until nobody asks any more."""
    answers = os.fdopen(os.dup(1), "wb")
    # What libraries print is no answer.
    os.dup2(2, 1)
    look, folder = pickle.load(sys.stdin.buffer)
    jobs: dict[str, list[Job]] = {}
    while True:
        try:
            kind, number = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        if kind not in jobs:
            jobs[kind] = FORMATS[kind](look)
        try:
            made = list(jobs[kind][number].write(folder))
        except Exception:  # The process that asked does it again, and tells the error.
            made = None
        pickle.dump(made, answers)
        answers.flush()


if __name__ == "__main__":
    _serve()
