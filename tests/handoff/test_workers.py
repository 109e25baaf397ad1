"""Other processes do jobs of a build, and nobody can tell from the folder."""

import subprocess
import time

import pytest

from lookkit.deliver import cube
from lookkit.deliver.written import Job
from lookkit.handoff import workers
from lookkit.handoff.build import build
from lookkit.handoff.formats import FORMATS
from lookkit.look import Look, loads
from lookkit.progress import silent

LOOK = loads(
    """
schema = 1
name = "Warm print"
extends = "warm-print"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "V-Log"
[outputs.monitor]
output = "Rec.709 BT.1886"
[deliver]
sizes = [17]
formats = ["cube"]
fit = false
certify = false
"""
)


def done(folder, *others, apart=True):
    """Do the two cubes, and `others` here."""
    jobs = [*cube.jobs(LOOK), *others]
    names = {0: ("cube", 0), 1: ("cube", 1)} if apart else {}
    written = workers.all_done(LOOK, jobs, names, folder, silent)
    return {one.path.name: one.path.read_bytes() for one in written}


@pytest.fixture
def begun(monkeypatch):
    """The processes that were begun, on a machine of two cores."""
    processes = []

    class Remembered(subprocess.Popen):
        def __init__(self, *args, **named):
            super().__init__(*args, **named)
            processes.append(self)

    monkeypatch.setattr(workers, "cores", lambda: 2)
    monkeypatch.setattr(workers.subprocess, "Popen", Remembered)
    return processes


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    return done(tmp_path_factory.mktemp("alone"), apart=False)


def test_a_job_done_beside_gives_the_same_bytes_and_the_same_record(
    tmp_path, begun, alone, monkeypatch
):
    def until_there(folder):
        end = time.monotonic() + 60.0
        while len([*folder.rglob("[!.]*.cube")]) < 2 and time.monotonic() < end:
            time.sleep(0.02)
        return []

    # This process cannot make a cube, so another must have.
    monkeypatch.setattr(cube, "write_look_cube", None)
    assert list(done(tmp_path, Job("wait", until_there)).items()) == list(alone.items())
    assert len(alone) == 2
    assert len(begun) == 1


def test_jobs_of_a_process_that_dies_are_done_here(tmp_path, begun, alone, monkeypatch):
    def until_dead(_):
        begun[0].wait(60.0)
        return []

    monkeypatch.setattr(workers, "__name__", "no_such_module")
    assert done(tmp_path, Job("wait", until_dead)) == alone
    assert begun[0].returncode == 1


def test_all_is_done_here_where_no_process_can_begin(tmp_path, begun, alone, monkeypatch):
    def refuse(*_, **__):
        raise PermissionError(13, "no processes")

    monkeypatch.setattr(workers.subprocess, "Popen", refuse)
    assert done(tmp_path) == alone
    assert not begun


def test_a_report_waits_for_all_others(tmp_path, begun):
    """It reads their accuracy reports from the folder."""
    found = []

    def read(folder):
        found.extend(folder.rglob("[!.]*.cube"))
        return []

    done(tmp_path, Job("report", read, last=True))
    assert len(found) == 2
    look = Look(LOOK.recipe, LOOK.text)
    assert [job.last for job in FORMATS["report"](look)] == [True]


def test_an_interrupt_ends_the_other_processes(tmp_path, begun):
    def interrupted(_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        done(tmp_path, Job("stop", interrupted))
    assert begun[0].returncode is not None


def test_a_small_build_begins_no_process(tmp_path, begun):
    build(LOOK, tmp_path)
    assert not begun
