"""Interrupted jobs: nothing broken under a final name, and the next run goes on."""

import hashlib
import os
import random
import signal
import subprocess
import sys
import threading
import time
from functools import partial

import pytest

from lookkit.media.jobs import Options, plan
from lookkit.media.partial import clear_parts, whole_or_none
from lookkit.media.pipeline import Ahead, Behind
from lookkit.media.run import run
from tests.media.movies import RECIPE, made_look, noise, write_movie

KILLS = int(os.environ.get("LOOKKIT_KILLS", "2"))


def digests(folder):
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture
def footage(tmp_path):
    folder = tmp_path / "card"
    folder.mkdir()
    for number in range(3):
        write_movie(folder / f"A00{number}.mkv", noise(12, 320, 180, seed=number))
    (tmp_path / "recipe.toml").write_text(RECIPE)
    return folder


def command(footage, into, *more):
    return [sys.executable, "-m", "lookkit", "apply", str(footage.parent / "recipe.toml"),
            str(footage), "--camera", "A", "--into", str(into), *more]  # fmt: skip


@pytest.mark.parametrize("form", ["mov", "dpx"])
def test_killed_at_any_moment_it_leaves_no_broken_file_and_goes_on(tmp_path, footage, form):
    subprocess.run(command(footage, tmp_path / "calm", "--format", form), check=True,
                   capture_output=True)  # fmt: skip
    wanted = digests(tmp_path / "calm")
    luck = random.Random(8)
    began = time.monotonic()
    for _ in range(KILLS):
        job = subprocess.Popen(command(footage, tmp_path / "wild", "--format", form),
                               stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # fmt: skip
        time.sleep(luck.uniform(0.3, 2.5))
        job.send_signal(signal.SIGKILL)
        job.wait()
        for name, digest in digests(tmp_path / "wild").items():
            if ".part" not in name:
                assert digest == wanted[name]
    assert time.monotonic() - began < 60 * max(1, KILLS // 4)
    done = subprocess.run(command(footage, tmp_path / "wild", "--format", form), check=True,
                          capture_output=True, text=True)  # fmt: skip
    assert len(done.stdout.splitlines()) == 3
    assert digests(tmp_path / "wild") == wanted


def test_ctrl_c_leaves_nothing_half_written(tmp_path, footage):
    # What runs in a shell's background is started deaf to Ctrl-C.
    hearing = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
    asked = command(footage, tmp_path / "out", "--format", "mov")
    with subprocess.Popen(asked, stderr=subprocess.PIPE, text=True, preexec_fn=hearing) as job:
        deadline = time.monotonic() + 30
        while time.monotonic() < deadline and not list((tmp_path / "out").glob(".*.part.mov")):
            time.sleep(0.02)
        job.send_signal(signal.SIGINT)
        try:
            _, told = job.communicate(timeout=30)
        finally:
            job.kill()
    assert job.returncode == 130
    assert "nothing half-written" in told
    assert not list((tmp_path / "out").glob(".*"))


def test_a_stage_that_is_interrupted_while_it_starts_has_ended_when_it_is_left(monkeypatch):
    """What it reads is closed after it: FFmpeg ends the process where a thread still decodes."""
    start = threading.Thread.start
    reading = []

    def items():
        try:
            for number in range(1000):
                reading.append(number)
                time.sleep(0.01)
                yield number
        finally:
            reading.append("closed")

    def interrupted(thread):
        start(thread)
        raise KeyboardInterrupt

    monkeypatch.setattr(threading.Thread, "start", interrupted)
    with pytest.raises(KeyboardInterrupt), Ahead(items()) as ahead:
        next(ahead)
    assert reading[-1] == "closed"
    done = []
    with pytest.raises(KeyboardInterrupt), Behind(done.append) as behind:
        behind.put(1)
    stages = ("lookkit-ahead", "lookkit-behind")
    assert not [one for one in threading.enumerate() if one.name in stages]


def test_what_is_done_is_kept_and_what_others_made_is_left(tmp_path, footage):
    look = made_look()
    options = Options(camera="A", into=tmp_path / "out", extension="mov")
    first = run(look, plan(look, [footage], options))
    assert [one.kept for one in first] == [False] * 3
    again = run(look, plan(look, [footage], options))
    assert [one.kept for one in again] == [True] * 3
    other = made_look(RECIPE.replace('name = "Plain"', 'name = "Plain"\nversion = 2'))
    changed = run(other, plan(other, [footage], options))
    assert all("--overwrite" in one.problem for one in changed)
    anew = Options(camera="A", into=tmp_path / "out", extension="mov", overwrite=True)
    assert [one.problem for one in run(other, plan(other, [footage], anew))] == [""] * 3


def test_frames_that_are_there_are_not_made_again(tmp_path, footage):
    look = made_look()
    options = Options(camera="A", into=tmp_path / "out", extension="png")
    source = footage / "A000.mkv"
    (done,) = run(look, plan(look, [source], options))
    files = sorted(done.target.parent.glob("*.png"))
    stamps = {path: path.stat().st_mtime_ns for path in files}
    files[7].unlink()
    (again,) = run(look, plan(look, [source], options))
    assert again.frames == 1
    assert [p for p in files if p.stat().st_mtime_ns != stamps[p]] == [files[7]]


def test_results_beside_their_sources_are_not_taken_for_sources(footage):
    look = made_look()
    options = Options(camera="A", extension="mov")
    run(look, plan(look, [footage], options))
    assert len(plan(look, [footage], options).jobs) == 3


def test_only_parts_of_dead_processes_are_cleared(tmp_path):
    dead = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"],
                          capture_output=True, text=True, check=True)  # fmt: skip
    with whole_or_none(tmp_path / "a.mov") as part:
        part.write_bytes(b"x")
        left = part.with_name(part.name.replace(f"~{os.getpid()}~", f"~{dead.stdout.strip()}~"))
        left.write_bytes(b"y")
        assert clear_parts(tmp_path) == 1
        assert part.exists()
        assert not left.exists()
    assert (tmp_path / "a.mov").read_bytes() == b"x"


def test_a_dry_run_writes_nothing(tmp_path, footage):
    done = subprocess.run(command(footage, tmp_path / "out", "--format", "mov", "--dry-run"),
                          capture_output=True, text=True, check=True)  # fmt: skip
    assert "A000_Plain_monitor.mov (camera A, monitor, prores-422-hq 10 bits, 12 frames" in (
        done.stdout
    )
    assert not list((tmp_path / "out").glob("*"))
