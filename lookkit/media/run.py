"""Doing all the jobs of a plan, here or on a cluster."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

from lookkit.media.jobs import Job, Plan
from lookkit.media.numbered import Numbered
from lookkit.media.partial import clear_parts
from lookkit.media.work import Done, folder_of, perform
from lookkit.progress import Progress, silent

if TYPE_CHECKING:
    from lookkit.look import Look


class Counter:
    """Turns frames as they are done into progress with a rate."""

    def __init__(self, progress: Progress, jobs: Sequence[Job]) -> None:
        self._progress = progress
        self._total = sum(job.frames for job in jobs)
        self._jobs = len(jobs)
        self._done = 0
        self._began = time.monotonic()
        self._lock = threading.Lock()
        self.name, self.number = "", 0

    def begin(self, name: str, number: int) -> None:
        """Say which file of the jobs is worked on."""
        self.name, self.number = name, number
        self.tick(0)

    def tick(self, frames: int) -> None:
        """Count frames that were done."""
        with self._lock:
            self._done += frames
            spent = max(time.monotonic() - self._began, 1e-3)
            what = f"{self.name}, file {self.number} of {self._jobs}"
            if self._done:
                what += f", {self._done / spent:.1f} frames/s"
            self._progress(what, self._done, max(self._total, self._done))


def run(
    look: Look, plan: Plan, progress: Progress = silent, cluster: str | None = None
) -> list[Done]:
    """Do the jobs of a plan; one that fails is told and the others go on.

    Results that the same jobs made before are kept: an interrupted run goes on with the
    first file, or frame of a sequence, that is not whole.

    Parameters
    ----------
    progress
        Gets the file at work and frames per second, frames done and frames in all.
    cluster
        Address of a dask scheduler; the jobs become tasks of its workers, which see the
        same files under the same names. Results are the same.

    Returns
    -------
    list of Done
        One for each job, in order.

    Raises
    ------
    InputError
        If the cluster cannot be used.
    """
    for folder in sorted({folder_of(job) for job in plan.jobs}):
        clear_parts(folder)
    counter = Counter(progress, plan.jobs)
    if cluster is not None:
        from lookkit.media.cluster import run_on

        done = run_on(cluster, look, plan.jobs, counter)
    else:
        done = []
        for number, job in enumerate(plan.jobs, 1):
            counter.begin(job.place.name, number)
            done.append(perform(look, job, counter.tick))
    for job, one in zip(plan.jobs, done, strict=True):
        if one.problem and isinstance(job.target, Numbered):
            # A sequence has a folder of its own; one without a single frame goes.
            with suppress(OSError):
                job.target.folder.rmdir()
    return done
