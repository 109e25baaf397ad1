"""The command line: right exit status, no traceback, heavy libraries only when needed."""

import subprocess
import sys

import pytest

from lookkit.cli.main import COMMANDS, main


def run(capsys, *args):
    status = 0
    try:
        main(list(map(str, args)))
    except SystemExit as stop:
        status = stop.code or 0
    captured = capsys.readouterr()
    return status, captured.out, captured.err


RECIPE = """schema = 1
name = "Plain"
[cameras.A]
encoding = "LogC4"
[outputs.monitor]
output = "Rec.709 BT.1886"
[deliver]
fit = false
certify = false
"""


@pytest.fixture
def recipe(tmp_path):
    path = tmp_path / "plain.toml"
    path.write_text(RECIPE)
    return path


def test_help_imports_nothing_heavy():
    code = (
        "import sys; from lookkit.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'pydantic', 'PyOpenColorIO', 'OpenImageIO', 'scipy', 'rich', 'colour'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
    for name, text in COMMANDS.items():
        assert name in done.stdout
        assert text.split()[0] in done.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(name, capsys):
    status, out, _ = run(capsys, name, "--help")
    assert status == 0
    assert "Usage: lookkit" in out


def test_a_misspelt_command_gets_the_nearest(capsys):
    status, _, err = run(capsys, "biuld")
    assert status == 2
    assert "did you mean 'build'" in err


def test_a_bad_recipe_exits_with_2_and_every_problem(tmp_path, capsys):
    path = tmp_path / "bad.toml"
    path.write_text(
        RECIPE
        + "[[look]]\nkind = 'exposure'\nstop = 1\n[outputs.web]\noutput = 'sRGB'\nrang = 'x'\n"
    )
    status, out, err = run(capsys, "check", path)
    assert status == 2
    assert out == ""
    assert len(err.splitlines()) == 2
    assert err.startswith(f"{path}:12: look[1].stop: ")


def test_check_says_what_the_graph_is(recipe, capsys):
    status, out, _ = run(capsys, "check", recipe)
    assert status == 0
    for word in ("LogC4", "film-print", "Rec.709 BT.1886", "scene -> display"):
        assert word in out


def test_build_lists_what_it_wrote_and_refuses_to_overwrite(recipe, tmp_path, capsys):
    status, out, _ = run(capsys, "build", recipe, "--into", tmp_path / "out")
    assert status == 0
    assert "manifest.json" in out
    status, _, err = run(capsys, "build", recipe, "--into", tmp_path / "out")
    assert status == 2
    assert "exists already" in err


@pytest.mark.parametrize(
    ("command", "told"),
    [
        ("check {} --picture g.doc", "expected a name that ends with .svg or .png"),
        ("sheet {} a.tif -o none/s.png", "none/s.png: cannot be written"),
        ("report {} a.tif -o none/r.html", "none/r.html: cannot be written"),
        ("measure a.tif --output sRGB -o none/m.html", "none/m.html: cannot be written"),
        ("build {} --merge none.ocio", "none.ocio: cannot be read as an OCIO config"),
        ("apply {} a.tif --shot a*=Z", "unknown camera 'Z': one of: A"),
    ],
)
def test_what_cannot_be_written_or_read_is_told_before_any_work(
    capsys, recipe, tmp_path, monkeypatch, command, told
):
    monkeypatch.chdir(tmp_path)
    status, _, err = run(capsys, *command.format(recipe).split())
    assert status == 2
    assert err.startswith(told) or (command.startswith("check") and told in err)
    assert [path.name for path in tmp_path.iterdir()] == [recipe.name]


def test_a_missing_recipe_exits_with_2(capsys, tmp_path):
    status, _, err = run(capsys, "build", tmp_path / "none.toml")
    assert status == 2
    assert "does not exist" in err


SCENES = (
    RECIPE
    + """[scenes.dusk]
[[scenes.dusk.trims]]
kind = "exposure"
stops = 1.0
"""
)


def test_build_makes_the_scene_that_is_asked_for(tmp_path, capsys):
    path = tmp_path / "film.toml"
    path.write_text(SCENES)
    status, out, _ = run(capsys, "build", path, "--into", tmp_path / "out", "--scene", "dusk")
    assert status == 0
    assert "A_dusk_LogC4" in out
    status, _, err = run(capsys, "build", path, "--into", tmp_path / "o2", "--scene", "dawn")
    assert status == 2
    assert "unknown scene 'dawn'" in err


def test_apply_grades_a_still_in_its_scene_and_leaves_the_source(tmp_path, capsys):
    import numpy as np

    from lookkit.media.stills import read_still, write_still

    path = tmp_path / "film.toml"
    path.write_text(SCENES)
    shot = tmp_path / "shot.tif"
    write_still(shot, np.full((8, 12, 3), 0.3))
    before = shot.read_bytes()
    for args, name in (((), "plain"), (("--scene", "dusk"), "dusk")):
        status, out, _ = run(
            capsys, "apply", path, shot, "--camera", "A", "--into", tmp_path / name, *args
        )
        assert status == 0
        assert str(shot) in out
    plain, dusk = (
        read_still(next((tmp_path / name).iterdir())).pixels.mean() for name in ("plain", "dusk")
    )
    assert dusk > plain + 0.05
    assert shot.read_bytes() == before


def test_trace_and_explain_print_what_they_are_asked(recipe, capsys):
    status, out, _ = run(capsys, "trace", recipe, "--camera", "A", "--colour", "0.5,0.3,0.2")
    assert status == 0
    assert "film-print" in out
    status, _, err = run(capsys, "trace", recipe, "--camera", "A", "--colour", "red")
    assert status == 2
    assert "three numbers" in err
    status, out, _ = run(capsys, "explain", "tone-bands")
    assert status == 0
    assert "stops" in out
