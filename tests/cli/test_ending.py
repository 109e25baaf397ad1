"""A command that is told to end leaves nothing half-written, and clears what a dead one left."""

import importlib
import os
import signal
import subprocess
import sys
import time

import pytest

from lookkit.errors import LookkitError
from lookkit.files import build_beside, write_beside
from tests.handoff.verifying import SMALL

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_build_that_is_told_to_end_leaves_nothing(tmp_path, number):
    recipe, into = tmp_path / "film.toml", tmp_path / "into"
    recipe.write_text(SMALL.replace("sizes = [17]", "sizes = [65]").replace("fit = false", ""))
    process = subprocess.Popen(
        [sys.executable, "-m", "lookkit", "build", str(recipe), "--into", str(into)],
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        until = time.monotonic() + 60.0
        while not (into.is_dir() and list(into.iterdir())) and time.monotonic() < until:
            time.sleep(0.05)
        process.send_signal(number)
        _, said = process.communicate(timeout=60)
    finally:
        process.kill()
    assert process.returncode == 130
    assert "nothing half-written was left" in said
    assert "about" in said.splitlines()[0]
    assert list(into.iterdir()) == []


def test_an_interrupt_of_which_an_extension_makes_an_error_is_one(monkeypatch, capsys):
    command = importlib.import_module("lookkit.cli.main")

    def loading(**_):
        try:
            signal.raise_signal(signal.SIGTERM)
        except KeyboardInterrupt as stop:
            raise ImportError("initialization failed") from stop

    monkeypatch.setattr(command.cli, "main", loading)
    monkeypatch.setattr(command, "_leave_at_once", lambda: sys.exit(130))
    old = {kind: signal.getsignal(kind) for kind in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    for kind in old:
        signal.signal(kind, signal.SIG_DFL)
    try:
        with pytest.raises(SystemExit) as end:
            command.main([])
    finally:
        for kind, handler in old.items():
            signal.signal(kind, handler)
    assert end.value.code == 130


def test_a_file_that_fails_in_a_folder_is_told_by_the_name_it_was_to_have(tmp_path):
    with pytest.raises(LookkitError) as told, build_beside(tmp_path / "made") as folder:
        raise LookkitError(f"{folder}/a.cube: writing failed (No space left on device)")
    assert str(told.value).startswith(f"{tmp_path}/made/a.cube: ")
    assert list(tmp_path.iterdir()) == []


def test_what_a_dead_process_left_is_cleared_and_what_a_living_one_makes_is_not(tmp_path):
    code = (
        "import os, sys; from pathlib import Path; from lookkit.files import build_beside\n"
        "with build_beside(Path(sys.argv[1])) as folder:\n"
        "    (folder / 'big').write_bytes(b'x' * 1000)\n"
        "    os._exit(1)\n"
    )
    subprocess.run([sys.executable, "-c", code, str(tmp_path / "made")], check=False)
    (left,) = tmp_path.iterdir()
    with build_beside(tmp_path / "made") as mine:
        assert not left.exists()
        with build_beside(tmp_path / "made2"):
            assert mine.is_dir()
    assert {path.name for path in tmp_path.iterdir()} == {"made", "made2"}


def test_a_file_that_a_dead_process_left_is_cleared(tmp_path):
    code = (
        "import os, sys; from pathlib import Path; from lookkit.files import write_beside\n"
        "with write_beside(Path(sys.argv[1])) as beside:\n"
        "    beside.write_bytes(b'x' * 1000)\n"
        "    os._exit(1)\n"
    )
    subprocess.run([sys.executable, "-c", code, str(tmp_path / "made.cube")], check=False)
    (left,) = tmp_path.iterdir()
    with write_beside(tmp_path / "made.cube") as mine:
        assert not left.exists()
        with write_beside(tmp_path / "made.cube"):
            assert mine.is_file()
    assert [path.name for path in tmp_path.iterdir()] == ["made.cube"]


def test_what_is_not_ours_stays(tmp_path):
    others = [tmp_path / ".made-notes", tmp_path / ".made-otherhost-12-abc"]
    for one in others:
        one.mkdir()
    with build_beside(tmp_path / "made"):
        pass
    assert all(one.is_dir() for one in others)
