"""Where results go: names and places that a system refuses are told, and the rest goes on."""

import errno
import os
import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from lookkit.cli.apply import command
from lookkit.cli.progress import shown_progress
from lookkit.media import cluster, partial
from lookkit.media.jobs import Options, plan
from lookkit.media.stills import write_still
from tests.cli.test_cli import run
from tests.media.grading import grade
from tests.media.movies import RECIPE, made_look, noise, write_movie


@pytest.fixture(scope="module")
def look():
    return made_look()


@pytest.fixture
def recipe(tmp_path):
    path = tmp_path / "look.toml"
    path.write_text(RECIPE)
    return path


def still(path):
    write_still(path, np.full((8, 8, 3), 0.4, np.float32))
    return path


def apply(recipe, *words):
    return CliRunner().invoke(command, [str(recipe), *map(str, words), "--camera", "A"])


def test_a_name_that_grows_too_long_is_told_and_the_others_go_on(recipe, tmp_path):
    card = tmp_path / "card"
    card.mkdir()
    still(card / "b.tif")
    (card / "b.tif").rename(card / f"{'a' * 246}.tif")
    still(card / "b.tif")
    write_movie(card / "c.mkv", noise(2))
    (card / "c.mkv").rename(card / f"{'c' * 246}.mkv")
    still(card / "d.tif")
    done = apply(recipe, card)
    assert done.exit_code == 1
    assert done.exception is None or isinstance(done.exception, SystemExit)
    assert done.output.lower().count("file name too long") == 2
    assert "the result's name is the source's and 14 more characters" in done.output
    assert (card / "b_Plain_monitor.tif").exists()
    assert (card / "d_Plain_monitor.tif").exists()


def test_a_name_of_letters_with_many_bytes_is_written(look, tmp_path):
    (done,) = grade(look, [still(tmp_path / f"{'é' * 100}.tif")], camera="A")
    assert not done.problem


@pytest.mark.parametrize("code", [errno.EROFS, errno.EACCES])
def test_a_write_locked_card_is_told_once_a_file_with_what_helps(
    recipe, tmp_path, monkeypatch, code
):
    card = tmp_path / "card"
    card.mkdir()
    still(card / "a.tif")
    write_movie(card / "b.mkv", noise(2))
    for frame in range(4):
        still(card / f"c.{frame:04d}.exr")
    touch, mkdir = Path.touch, Path.mkdir

    def shut(change):
        def work(path, *args, **kwargs):
            if path.is_relative_to(card):
                raise OSError(code, os.strerror(code), str(path))
            return change(path, *args, **kwargs)

        return work

    monkeypatch.setattr(Path, "touch", shut(touch))
    monkeypatch.setattr(Path, "mkdir", lambda path, *a, **k: None if path.exists() else
                        shut(mkdir)(path, *a, **k))  # fmt: skip
    done = apply(recipe, card)
    assert done.exit_code == 1
    lines = [line for line in done.output.splitlines() if os.strerror(code).lower() in line]
    assert len(lines) == 3
    assert all("--into FOLDER" in line for line in lines)
    elsewhere = apply(recipe, card, "--into", tmp_path / "out")
    assert elsewhere.exit_code == 0, elsewhere.output


def test_a_full_disk_ends_a_sequence_with_one_line(recipe, tmp_path, monkeypatch):
    card = tmp_path / "card"
    card.mkdir()
    for frame in range(40):
        still(card / f"c.{frame:04d}.exr")
    still(card / "d.tif")
    sync, calls = os.fsync, []

    def full(handle):
        name = os.readlink(f"/proc/self/fd/{handle}")
        calls.append(name)
        if ".exr" in name and len(calls) > 5:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        sync(handle)

    monkeypatch.setattr(partial.os, "fsync", full)
    done = apply(recipe, card, "--into", tmp_path / "out")
    (line,) = [one for one in done.output.splitlines() if "no space left" in one]
    found = re.search(r"the job ends here, (\d+) of 40 frames done", line)
    assert found is not None
    made = list((tmp_path / "out" / "c_Plain_monitor").iterdir())
    assert len(made) >= int(found[1]) >= 1
    assert (tmp_path / "out" / "d_Plain_monitor.tif").exists()


def test_a_sequence_without_one_frame_leaves_no_folder(recipe, tmp_path, monkeypatch):
    for frame in range(3):
        still(tmp_path / f"c.{frame:04d}.exr")

    def full(handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(partial.os, "fsync", full)
    done = apply(recipe, tmp_path / "c.####.exr", "--into", tmp_path / "out")
    assert "no space left" in done.output
    assert list((tmp_path / "out").iterdir()) == []


def test_a_dry_run_makes_nothing(recipe, tmp_path):
    still(tmp_path / "a.tif")
    done = apply(recipe, tmp_path / "a.tif", "--into", tmp_path / "out" / "deep", "--dry-run")
    assert done.exit_code == 0, done.output
    assert not (tmp_path / "out").exists()
    (tmp_path / "file").touch()
    done = apply(recipe, tmp_path / "a.tif", "--into", tmp_path / "file" / "deep", "--dry-run")
    assert "file is a file" in str(done.exception)


def test_line_ends_in_names_do_not_break_lines(recipe, tmp_path):
    card = tmp_path / "a\nb"
    card.mkdir()
    still(card / "c.tif").rename(card / "c\n\x1b[31md.tif")
    (card / "e\rf.tif").write_text("no picture")
    for frame in range(2):
        still(card / "x.tif").rename(card / f"s\n.{frame:04d}.exr")
    (card / "s\n.0001.exr").write_text("no picture")
    for more in ([], ["--dry-run"]):
        done = apply(recipe, card, "--into", tmp_path / "out", *more)
        assert "\\n" in done.output
        assert "\x1b" not in done.output
        lines = done.output.splitlines()
        assert all("a\\nb" in line for line in lines), done.output


def test_line_ends_in_names_do_not_break_the_lines_of_other_commands(recipe, tmp_path, capsys):
    card = tmp_path / "card"
    card.mkdir()
    path = card / "c\nd.tif"
    still(card / "c.tif").rename(path)
    (card / "e\nf.tif").write_text("no picture")
    names = ("c\\nd.tif", "e\\nf.tif")
    for words in (
        ["sheet", recipe, card, "-o", tmp_path / "s.png", "--camera", "A"],
        ["new", card, "-o", tmp_path / "new.toml"],
        ["measure", path, "--output", "sRGB"],
        ["check", f"{card}/x\ny.toml"],
    ):
        _, out, err = run(capsys, *words)
        told = out + err
        assert not any(line.startswith(("d.tif", "f.tif", "y.toml")) for line in told.splitlines())
        assert any(name in told for name in (*names, "x\\ny")), told


def test_a_folder_for_pictures_that_cannot_be_made_is_told(tmp_path, capsys):
    (tmp_path / "file").touch()
    rows = [f"{r} {g} {b}" for b in (0, 1) for g in (0, 1) for r in (0, 1)]
    (tmp_path / "a.cube").write_text("\n".join(["LUT_3D_SIZE 2", *rows, ""]))
    for where in (tmp_path / "file" / "deep", tmp_path / ("x" * 300)):
        status, _, err = run(capsys, "inspect", tmp_path / "a.cube", "--quick", "--pictures", where)
        assert status == 2
        assert "cannot be made" in err
    # Whatever else the system says is a line too.
    status, _, err = run(capsys, "verify", tmp_path / ("x" * 300))
    assert (status, err.count("\n")) == (1, 1)
    assert "file name too long" in err


def test_a_name_that_is_no_text_is_told(look, tmp_path):
    name = os.fsdecode(b"caf\xe9.tif")
    try:
        still(tmp_path / "a.tif").rename(tmp_path / name)
    except OSError:
        pytest.skip("this file system takes Unicode names alone")
    good = still(tmp_path / "b.tif")
    bad, fine = grade(look, [tmp_path / name, good], camera="A")
    assert "no text in UTF-8" in bad.problem
    assert not fine.problem


def test_what_has_no_effect_on_a_picture_is_told(look, tmp_path):
    path = still(tmp_path / "a.tif")
    options = Options(camera="A", extension="mov", codec="prores-4444", range="legal")
    (job,) = plan(look, [path], options).jobs
    for option in ("--format mov", "--codec prores-4444", "--range legal"):
        assert f"{path}: is one picture; {option} has no effect on it" in job.warnings
    assert job.result.suffix == ".tif"
    write_movie(tmp_path / "c.mkv", noise(2))
    options = Options(camera="A", extension="tif", codec="prores-4444")
    (job,) = plan(look, [tmp_path / "c.mkv"], options).jobs
    assert any("becomes pictures; --codec prores-4444 has no effect" in w for w in job.warnings)


def test_brackets_in_a_name_are_no_markup(monkeypatch):
    times = iter([0.0, 2.0, 4.0])
    monkeypatch.setattr("lookkit.cli.progress.time.monotonic", lambda: next(times, 9.0))
    with shown_progress() as show:
        show("[/bold] a.mov", 1, 2)


@pytest.mark.parametrize("address", ["nowhere", "tcp://127.0.0.1:9", "127.0.0.1:99999", "tcp://"])
def test_a_wrong_address_is_told_at_once(look, tmp_path, address):
    pytest.importorskip("distributed", reason="the cluster needs dask.distributed")
    from lookkit.errors import InputError
    from lookkit.media.run import run

    planned = plan(look, [still(tmp_path / "a.tif")], Options(camera="A"))
    with pytest.raises(InputError, match=r"no scheduler answers|expected an address"):
        run(look, planned, cluster=address)


def test_a_lost_scheduler_is_told_in_one_line_a_file(look, tmp_path):
    (job,) = plan(look, [still(tmp_path / "a.tif")], Options(camera="A")).jobs

    class Lost:
        status = "cancelled"

    done = cluster._result(Lost(), job, "tcp://x:1")
    assert "the scheduler tcp://x:1 was lost" in done.problem
    assert "NoneType" not in done.problem
