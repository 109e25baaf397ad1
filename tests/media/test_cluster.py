"""The same jobs on a local dask cluster: the same bytes, the same problems, nothing lost."""

import contextlib
import os
import signal
import threading
import time

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.media.cluster import segments
from lookkit.media.jobs import Options, plan
from lookkit.media.run import run
from lookkit.media.stills import write_still
from tests.media.movies import made_look, noise, write_movie
from tests.media.test_resume import digests

distributed = pytest.importorskip("distributed", reason="the cluster needs dask.distributed")
pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(scope="module")
def look():
    return made_look()


@pytest.fixture(scope="module")
def card(tmp_path_factory):
    folder = tmp_path_factory.mktemp("card")
    for number in range(2):
        write_movie(folder / f"A00{number}.mkv", noise(6, 128, 72, seed=number))
    random = np.random.default_rng(4)
    for frame in range(60):
        pixels = random.random((18, 32, 3), dtype=np.float32)
        write_still(folder / f"plate.{frame:04d}.exr", pixels)
    (folder / "broken.mov").write_text("nothing")
    (folder / "plate.0030.exr").write_text("nothing")
    return folder


@contextlib.contextmanager
def cluster():
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50
    ) as local:
        yield local


def test_a_sequence_is_cut_into_segments_that_make_the_whole(look, card, tmp_path):
    (job,) = plan(look, [str(card / "plate.####.exr")], Options(camera="A", into=tmp_path)).jobs
    parts = segments(job)
    assert len(parts) == 3
    assert tuple(f for part in parts for f in part.source.frames) == job.source.frames
    assert {part.id for part in parts} == {job.id}


def test_two_workers_make_the_same_bytes_and_tell_the_same(look, card, tmp_path):
    def apply(into, address=None):
        planned = plan(look, [card], Options(camera="A", into=into))
        done = run(look, planned, cluster=address)
        problems = [one.problem.replace(str(into), "") for one in (*planned.refused, *done)]
        return digests(into), problems

    here = apply(tmp_path / "here")
    with cluster() as local:
        there = apply(tmp_path / "there", local.scheduler_address)
    assert here == there
    assert len(here[0]) == 2 + 59
    assert sum(bool(problem) for problem in here[1]) == 2


def test_a_worker_that_is_killed_loses_nothing(look, card, tmp_path):
    options = Options(camera="A", into=tmp_path / "out")
    planned = plan(look, [card / "A000.mkv", card / "A001.mkv", str(card / "plate.####.exr")],
                   options)  # fmt: skip
    with cluster() as local:
        victim = next(iter(local.workers.values())).pid

        def kill():
            deadline = time.monotonic() + 20
            while time.monotonic() < deadline and not (tmp_path / "out").exists():
                time.sleep(0.01)
            os.kill(victim, signal.SIGKILL)

        killer = threading.Thread(target=kill)
        killer.start()
        done = run(look, planned, cluster=local.scheduler_address)
        killer.join()
    assert [bool(one.problem) for one in done] == [False, False, True]  # plate.0030.exr is broken
    run(look, planned)
    expected = plan(look, [card], Options(camera="A", into=tmp_path / "calm"))
    run(look, expected)
    assert digests(tmp_path / "out") == digests(tmp_path / "calm")


def test_an_address_where_nobody_answers(look, card, tmp_path, monkeypatch):
    monkeypatch.setattr("lookkit.media.cluster._PATIENCE", "1s")
    planned = plan(look, [card / "A000.mkv"], Options(camera="A", into=tmp_path))
    with pytest.raises(InputError, match="no scheduler answers"):
        run(look, planned, cluster="tcp://127.0.0.1:9")
