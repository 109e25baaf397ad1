"""The hand-off's recipe loads from the hand-off alone, with the LUTs and matches it names."""

import json
import shutil

import numpy as np
import pytest
from click.testing import CliRunner

from lookkit.cli.main import cli
from lookkit.errors import InputError
from lookkit.handoff.build import build
from lookkit.handoff.verify import verify
from lookkit.look import files_of, load
from lookkit.lutfile.cube import write_cube
from lookkit.media.stills import write_still
from tests.recipe.matched import RECIPE, match_of, write_film

AS_DELIVERED = "lattices"

PLAIN = '[deliver]\nfit = false\ncertify = false\nsizes = [17]\nformats = ["cube", "config"]\n'
LUT = '\n[[look]]\nkind = "lut"\nfile = "{}"\nexpects = "ACEScct"\nreturns = "ACEScct"\n'
CODES = np.random.default_rng(0).uniform(0.1, 0.9, (200, 3))


def write_lut(path):
    path.parent.mkdir(parents=True, exist_ok=True)
    ramp = np.linspace(0.0, 1.0, 3)
    grid = np.stack(np.meshgrid(ramp, ramp, ramp, indexing="ij"), axis=-1)
    write_cube(path, grid**1.1, title="a test", comments=(), decimals=8)


def handed_over(folder, recipe, clean=True):
    """Build `recipe`, take away all it was made from, and load what is left."""
    path = write_film(folder / "work", recipe + PLAIN)
    look = load(path)
    before = look.evaluate(CODES, camera="B", output="monitor", scene="kitchen")
    made = build(look, folder / "out").folder
    moved = folder / "elsewhere"
    shutil.move(made, moved)
    if clean:
        shutil.rmtree(folder / "work")
    again = load(moved / "recipe.toml")
    after = again.evaluate(CODES, camera="B", output="monitor", scene="kitchen")
    assert np.array_equal(before, after)
    assert again.recipe_hash == look.recipe_hash
    manifest = json.loads((moved / "manifest.json").read_text())
    for _, file in files_of(again):
        assert file.relative_to(moved).as_posix() in manifest["files"]
    return moved, look, again


def test_files_of_the_folder_keep_their_names_and_the_recipe_its_text(tmp_path):
    write_lut(tmp_path / "work" / "luts" / "print.cube")
    moved, look, _ = handed_over(tmp_path, RECIPE + LUT.format("luts/print.cube"))
    assert (moved / "recipe.toml").read_text() == look.text
    for name in ("B.match.toml", "matches/C.match.toml", "luts/print.cube"):
        assert (moved / name).is_file()
    rows = verify(moved, readers=()).rows
    assert [row for row in rows if row.bad] == []
    assert {"luts/print.cube", "B.match.toml"} <= {row.file for row in rows}


def test_a_match_that_was_changed_in_the_hand_off_is_found(tmp_path):
    moved, _, _ = handed_over(tmp_path, RECIPE)
    match = moved / "B.match.toml"
    match.write_text(match.read_text().replace("1.1,", "1.2,", 1))
    bad = {row.file for row in verify(moved, readers=()).rows if row.bad}
    assert {"B.match.toml", "recipe.toml"} <= bad


@pytest.mark.parametrize(
    "name",
    ["../outside/print.cube", "{folder}/full path/print.cube", "cube/print.cube", "a b/é!.cube",
     "MANIFEST.json/x.cube", "-/print.cube", "files/print.cube", "./print.cube"],
)  # fmt: skip
def test_a_file_with_another_place_lies_in_files_and_the_recipe_says_so(tmp_path, name):
    name = name.format(folder=tmp_path)
    write_lut(tmp_path / "work" / name)
    moved, _, again = handed_over(tmp_path, RECIPE + LUT.format(name))
    assert not name.startswith("/") or not (tmp_path / "elsewhere" / name[1:]).exists()
    (carried,) = (place for place, _ in files_of(again) if place.endswith(".cube"))
    assert carried.startswith("files/")
    assert sorted(path.name for path in moved.iterdir()) == sorted(
        ["B.match.toml", "ACCURACY.txt", "README.txt", "cube", "files", "manifest.json",
         "matches", "ocio", "recipe.toml"]
    )  # fmt: skip


def test_files_of_one_name_from_two_places_stay_two(tmp_path):
    both = ("../one/print.cube", "../two/PRINT.cube")
    for name in both:
        write_lut(tmp_path / "work" / name)
    _, _, again = handed_over(tmp_path, RECIPE + "".join(LUT.format(name) for name in both))
    carried = [place for place, _ in files_of(again) if place.endswith(".cube")]
    assert carried == ["files/print.cube", "files/PRINT-2.cube"]


def test_a_match_outside_of_the_folder_comes_too(tmp_path):
    recipe = RECIPE.replace('"matches/C.match.toml"', '"../C.match.toml"')
    from lookkit.recipe.match_file import write_match

    write_match(match_of("C", ("shade",), "LogC3 EI800"), tmp_path / "C.match.toml")
    moved, _, _ = handed_over(tmp_path, recipe)
    assert 'match = "files/C.match.toml"' in (moved / "recipe.toml").read_text()


def test_an_overridden_lut_comes_too(tmp_path):
    for name in ("luts/day.cube", "luts/night.cube"):
        write_lut(tmp_path / "work" / name)
    recipe = RECIPE.replace(
        "light = 3200\n", 'light = 3200\noverrides.print.file = "luts/night.cube"\n'
    )
    lut = LUT.format("luts/day.cube").replace('kind = "lut"', 'kind = "lut"\nid = "print"')
    moved, _, _ = handed_over(tmp_path, recipe + lut)
    assert (moved / "luts" / "night.cube").is_file()


def test_a_file_that_went_away_stops_the_build_and_nothing_is_left(tmp_path):
    look = load(write_film(tmp_path / "work", RECIPE + PLAIN))
    (tmp_path / "work" / "B.match.toml").unlink()
    with pytest.raises(InputError, match=r"B\.match\.toml: cannot be read"):
        build(look, tmp_path / "out")
    assert not any((tmp_path / "out").iterdir())


def test_check_build_and_apply_say_where_a_camera_has_no_match(tmp_path):
    deliver = PLAIN + 'scenes = ["cellar", "yard"]\n'
    recipe = write_film(tmp_path / "work", RECIPE + deliver)
    still = tmp_path / "still.png"
    write_still(still, np.full((8, 8, 3), 0.4, dtype=np.float32), bits=16)
    runner = CliRunner()
    words = "camera B has no match for tungsten, the light of scene cellar"
    attic = "camera B in scene attic, which names no light, takes the first of its matches"

    checked = runner.invoke(cli, ["check", str(recipe)])
    assert f"beware: {words}" in checked.output
    assert f"beware: {attic}" in checked.output
    assert "match B to A (window): scenes yard, attic; in place of the input" in checked.output

    built = runner.invoke(cli, ["build", str(recipe), "--into", str(tmp_path / "out")])
    assert built.exit_code == 0, built.output
    assert f"beware: {words}" in built.output
    assert attic not in built.output
    (cube,) = (tmp_path / "out").rglob("B_yard_*.cube")
    assert "with the match B to A (window)" in cube.read_text()
    (cube,) = (tmp_path / "out").rglob("B_cellar_*.cube")
    assert "with the match" not in cube.read_text()

    def graded(*more):
        options = ["--camera", "B", "--output", "monitor", "--into", str(tmp_path / "graded")]
        done = runner.invoke(cli, ["apply", str(recipe), str(still), *options, *more])
        assert done.exit_code == 0, done.output
        return done.output

    assert words in graded("--scene", "cellar", "--overwrite")
    assert "warning" not in graded("--scene", "yard", "--overwrite")
