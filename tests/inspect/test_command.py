"""`lookkit inspect` as a person meets it."""

import json

import pytest
from click.testing import CliRunner

from lookkit.accuracy.sampling import grid
from lookkit.cli.inspect import command
from lookkit.errors import InputError, LutFileError
from lookkit.lutfile.cube import read_cube
from tests.inspect.luts import contrast, written


def run(*arguments: object):
    return CliRunner().invoke(
        command, [str(one) for one in arguments], catch_exceptions=False, standalone_mode=False
    )


@pytest.fixture
def faulty(tmp_path):
    path = tmp_path / "faulty.cube"
    path.write_text("LUT_3D_SIZE 2\n" + "0,5 0,5 0,5\n" * 8)
    return path


def test_a_sound_file_ends_with_0(tmp_path):
    done = run(written(tmp_path / "a.cube", contrast(5)), "--quick")
    assert done.exit_code == 0
    assert "faults\n  none" in done.output
    assert "who reads it" not in done.output


def test_a_faulty_file_ends_with_1(faulty):
    done = run(faulty, "--quick")
    assert done.exit_code == 1
    assert "error, line 2: '0,5'" in done.output


def test_warnings_alone_end_with_0(tmp_path):
    path = written(tmp_path / "a.cube", contrast(3))
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    done = run(path, "--quick")
    assert done.exit_code == 0
    assert "warning, line 1" in done.output


@pytest.mark.parametrize("name", ["none.cube", "folder", "a.txt"])
def test_what_cannot_be_read_is_an_input_error(name, tmp_path):
    # The front door turns it into one line and status 2.
    (tmp_path / "folder").mkdir()
    (tmp_path / "a.txt").write_text("LUT_3D_SIZE 2\n")
    with pytest.raises(InputError):
        run(tmp_path / name)


def test_a_repair_is_written_and_told_and_ends_with_0(faulty, tmp_path):
    done = run(faulty, "--quick", "--repair", "-o", tmp_path / "clean.cube")
    assert done.exit_code == 0
    assert "line 2 and 7 more: decimal commas made points" in done.output
    assert (read_cube(tmp_path / "clean.cube").lattice.values == 0.5).all()


def test_a_repair_that_would_lose_something_is_refused(tmp_path):
    (tmp_path / "a.cube").write_text("LUT_3D_SIZE 2\n" + "0 0 0\n" * 7)
    with pytest.raises(LutFileError, match="ends after 7 rows"):
        run(tmp_path / "a.cube", "--quick", "--repair", "-o", tmp_path / "b.cube")
    assert not (tmp_path / "b.cube").exists()


@pytest.mark.parametrize("options", [("--repair",), ("-o", "x.cube")])
def test_repair_wants_a_file_and_a_file_wants_repair(options, faulty):
    done = CliRunner().invoke(command, [str(faulty), *options])
    assert done.exit_code == 2
    assert "go together" in done.output


def test_json_is_whole(faulty, tmp_path):
    done = run(faulty, "--quick", "--json", "--repair", "-o", tmp_path / "clean.cube")
    report = json.loads(done.stdout)
    assert report["faults"][0]["line"] == 2
    assert report["repair"]["changes"] == ["line 2 and 7 more: decimal commas made points"]


def test_two_files_are_compared(tmp_path):
    one, other = written(tmp_path / "a.cube", grid(3)), written(tmp_path / "b.cube", grid(3) ** 2)
    done = run(one, other, "--gives", "sRGB")
    assert done.exit_code == 0
    assert "worst colours" in done.output
    assert "Delta E 2000" in done.output
    report = json.loads(run(one, other, "--json").stdout)
    # At the one point between the ends, 0.5 against 0.25.
    assert report["codes"]["largest"] == pytest.approx(0.25 * 1023)
    assert len(report["worst"]) == 10


def test_two_files_are_only_compared(tmp_path, faulty):
    done = CliRunner().invoke(command, [str(faulty), str(faulty), "--pictures", str(tmp_path)])
    assert done.exit_code == 2


def test_pictures_are_written_where_asked(tmp_path):
    pytest.importorskip("matplotlib")
    done = run(written(tmp_path / "a.cube", contrast(5)), "--quick", "--pictures", tmp_path / "p")
    assert done.exit_code == 0
    assert sorted(path.name for path in (tmp_path / "p").iterdir()) == ["a_curves.png", "a_net.png"]


def test_the_help_says_what_the_status_means():
    done = CliRunner().invoke(command, ["--help"])
    assert "Exit status" in done.output
