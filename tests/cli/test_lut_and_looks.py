"""One LUT in one step, and the looks to start from."""

import json

import numpy as np
import pytest

from lookkit.look import load, load_shipped, shipped_looks
from lookkit.lutfile.cube import read_cube
from tests.cli.test_cli import SCENES, run
from tests.report.film import write_film

WITH_SCENE = SCENES.replace("fit = false\ncertify = false", "fit = false")


@pytest.fixture
def recipe(tmp_path):
    path = tmp_path / "film.toml"
    path.write_text(WITH_SCENE)
    return path


def test_a_lut_is_the_graph_at_its_points_with_its_measures_beside_it(recipe, tmp_path, capsys):
    target = tmp_path / "set.cube"
    status, out, _ = run(
        capsys, "lut", recipe, "--camera", "A", "--scene", "dusk", "--size", 17, "-o", target
    )
    assert status == 0
    assert "takes LogC4, full range; gives Rec.709 BT.1886, full range" in out
    found = read_cube(target).lattice.values
    points = np.linspace(0.0, 1.0, 17)
    codes = np.stack(np.meshgrid(points, points, points, indexing="ij"), axis=-1)
    exact = load(recipe).evaluate(codes, camera="A", output="monitor", scene="dusk")
    np.testing.assert_allclose(found, exact, atol=1e-7)
    assert json.loads((tmp_path / "set.cube.json").read_text())
    assert (tmp_path / "set.cube.txt").read_text()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--camera", "A", "-o", "set.3dl"], "ends in .cube"),
        (["--camera", "A", "-o", "nowhere/set.cube"], "no such folder"),
        (["--camera", "X", "-o", "set.cube"], "unknown camera 'X'"),
        (["--camera", "A", "--output", "tv", "-o", "set.cube"], "unknown output 'tv'"),
    ],
)
def test_a_lut_that_cannot_be_is_refused_and_nothing_is_written(
    recipe, tmp_path, capsys, monkeypatch, words, told
):
    monkeypatch.chdir(tmp_path)
    status, _, err = run(capsys, "lut", recipe, *words)
    assert status == 2
    assert told in err
    assert list(tmp_path.iterdir()) == [recipe]


def test_every_shipped_look_is_listed_with_its_note(capsys):
    status, out, _ = run(capsys, "looks")
    assert status == 0
    said = " ".join(out.split())
    for name in shipped_looks():
        assert name in said
        assert " ".join(load_shipped(name).recipe.note.split()) in said


def test_a_page_shows_the_users_frames_through_every_look(tmp_path, capsys):
    write_film(tmp_path)
    film, frame = tmp_path / "film.toml", tmp_path / "day_A.dpx"
    status, _, err = run(capsys, "looks", film, frame, "-o", tmp_path / "looks.html", "--width", 64)
    assert status == 0, err
    page = (tmp_path / "looks.html").read_text()
    for name in shipped_looks():
        assert load_shipped(name).recipe.name in page


def test_a_look_wears_anothers_look_on_its_own_cameras_and_outputs(recipe):
    warm = load_shipped("warm-print")
    worn = load(recipe).wearing(warm)
    assert worn.cameras == ("A",)
    assert worn.recipe.look == warm.recipe.look
    codes = np.random.default_rng(3).random((50, 3))
    text = recipe.read_text().replace('name = "Plain"', 'name = "W"\nextends = "warm-print"')
    extended = recipe.with_name("extended.toml")
    extended.write_text(text)
    asked = {"camera": "A", "output": "monitor", "scene": "dusk"}
    np.testing.assert_array_equal(
        worn.evaluate(codes, **asked), load(extended).evaluate(codes, **asked)
    )


def test_a_shipped_look_stands_beside_a_recipe_by_its_name(tmp_path, capsys):
    write_film(tmp_path)
    film, frame = tmp_path / "film.toml", tmp_path / "day_A.dpx"
    words = ["sheet", film, frame, "-o", tmp_path / "two.html", "--width", 64, "--beside"]
    status, _, err = run(capsys, *words, "warm-print")
    assert status == 0, err
    assert load_shipped("warm-print").recipe.name in (tmp_path / "two.html").read_text()
    status, _, err = run(capsys, *words, "warm-prin")
    assert status == 2
    assert "did you mean 'warm-print'" in err


def test_a_page_of_looks_asks_for_frames_and_a_name(recipe, tmp_path, capsys):
    status, _, err = run(capsys, "looks", "-o", tmp_path / "looks.html")
    assert status == 2
    assert "RECIPE FRAMES" in err
    status, _, err = run(capsys, "looks", recipe)
    assert status == 2
    assert "-o looks.html" in err
