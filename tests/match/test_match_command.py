"""`lookkit match` from files to files, and that nothing is written when it refuses."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from lookkit.cli.match import command
from lookkit.errors import InputError
from lookkit.matchfile.steps import Match
from lookkit.recipe.match_file import read_match
from tests.match import filming as film
from tests.match import simulation as sim
from tests.match import walls
from tests.match.trials import scene_of

pytest.importorskip("colour", reason="the spectra come from colour-science, an optional extra")
pytest.importorskip("av", reason="clips need the optional extra 'clips'")
pytest.importorskip("cv2", reason="frames are drawn with opencv, of the optional extra 'match'")

CAMERA_A, CAMERA_B = sim.pair(sim.TYPICAL, 0)
RECIPE = """
schema = 1
name = "Plain print"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "BT.709 camera"
[scenes.kitchen]
light = 3200
[scenes.hall]
[outputs.monitor]
output = "Rec.709 BT.1886"
"""


def place(corners):
    return ",".join(f"{value:g}" for value in corners.ravel())


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A still of camera A, three clips of camera B, and the recipe."""
    made = tmp_path_factory.mktemp("frames")
    rng = np.random.default_rng(0)
    film.write_codes(made / "a.png", film.frame_a(CAMERA_A, 0.0, rng))
    for name, stops in (("under", -2.0), ("normal", 0.0), ("over", 2.0)):
        signals = [film.signal_b(CAMERA_B, stops, rng) for _ in range(2)]
        film.write_clip(made / f"{name}.mkv", signals)
    (made / "film.toml").write_text(RECIPE)
    return made


def run(folder, target, *more, cameras=("under.mkv@-2", "normal.mkv", "over.mkv@+2")):
    arguments = ["--recipe", folder / "film.toml", "--reference", f"A:{folder}/a.png"]
    for one in cameras:
        arguments += ["--camera", f"B:{folder}/{one}"]
    arguments += ["--corners", f"A={place(film.A_CORNERS)}"]
    arguments += ["--corners", f"B={place(film.B_CORNERS)}", "--stage", "never"]
    if target is not None:
        arguments += ["-o", target]
    return CliRunner().invoke(command, [str(part) for part in (*arguments, *more)])


def refused(result, target):
    """The message of a run that must have written nothing."""
    assert not list(target.parent.iterdir())
    assert isinstance(result.exception, InputError | SystemExit), result.exception
    return f"{result.output}{result.exception}"


def test_files_in_give_a_match_its_report_and_what_was_sampled(folder, tmp_path):
    target = tmp_path / "B.match.toml"
    result = run(folder, target, "--light", "window")
    assert result.exception is None, result.output
    names = {path.name for path in tmp_path.iterdir()}
    assert {
        "B.match.toml",
        "B-window.json",
        "B-window-patches-A.png",
        "B-window-patches-B.png",
    } <= names
    assert "left out" in result.output
    assert "the match finds the curve" in result.output
    file = read_match(target)
    held = sim.held_out_spectra()
    landed = scene_of(Match(file, file.lights[0]), CAMERA_B.exact(held))
    assert sim.difference(landed, CAMERA_A.truth(held)).mean() <= 1.6
    report = json.loads((tmp_path / "B-window.json").read_text())
    assert report["provenance"]["sources"][1]["files"] == ["under.mkv"]

    # A second light joins the file; the first stays as it is.
    again = run(folder, target, "--light", "lamp", cameras=("normal.mkv",))
    assert again.exception is None, again.output
    both = read_match(target)
    assert [one.light for one in both.lights] == ["window", "lamp"]
    assert both.lights[0] == file.lights[0]


@pytest.mark.parametrize(
    ("more", "cameras", "words"),
    [
        ((), ("under.mkv@+2", "normal.mkv", "over.mkv@-2"), "wrong order"),
        ((), ("normal.mkv", "over.mkv"), "two exposures at the same stops"),
        ((), ("none.mkv",), "does not exist"),
        (("--encoding", "A=LogC44"), ("normal.mkv",), "LogC4"),
        (("--encoding", "C=LogC4"), ("normal.mkv",), "but not its frames"),
        (("--range", "B=lega"), ("normal.mkv",), "expected 'full' or 'legal'"),
        (("--corners", "B=1,2,3"), ("normal.mkv",), "3 numbers, expected 8"),
        (("--corners", "B=a,b"), ("normal.mkv",), "expected numbers"),
        (("--crop", "B"), ("normal.mkv",), "expected CAMERA=VALUE"),
        (("--crop", "B=nan,0,100,100"), ("normal.mkv",), "expected numbers"),
        (("--crop", "B=0,0,inf,100"), ("normal.mkv",), "expected numbers"),
        (("--reference", "chart:2005"), ("normal.mkv",), "either a published chart or a camera"),
        (("--scene-frame", "A:x.png"), ("normal.mkv",), "one frame of camera A and one of"),
        (("--scene", "kitchn"), ("normal.mkv",), "did you mean 'kitchen'"),
        (("--scene", "hall"), ("normal.mkv",), "scene 'hall' names no light, expected one"),
        (("--scene", "kitchen", "--light", "sun"), ("normal.mkv",), "kitchen' is 3200, not sun"),
    ],
)
def test_bad_input_is_refused_and_nothing_is_written(folder, tmp_path, more, cameras, words):
    target = tmp_path / "out" / "B.toml"
    target.parent.mkdir()
    assert words in refused(run(folder, target, *more, cameras=cameras), target)


def test_a_target_that_cannot_be_written_is_told_before_any_frame_is_read(folder, tmp_path):
    for target, words in (
        (tmp_path / "none" / "B.toml", "cannot be written"),
        (tmp_path / "folder.toml", "is a folder"),
    ):
        (tmp_path / "folder.toml").mkdir(exist_ok=True)
        result = run(folder, target, cameras=("not-there.mkv",))
        assert words in str(result.exception)


def test_the_match_is_held_against_frames_of_the_scene_itself(folder, tmp_path):
    a, b = walls.filmed(CAMERA_A, CAMERA_B)
    film.write_codes(tmp_path / "scene_a.png", a)
    film.write_codes(tmp_path / "scene_b.png", b)
    scene = [f"--scene-frame={name}:{tmp_path}/scene_{name.lower()}.png" for name in "AB"]
    result = run(folder, tmp_path / "B.toml", *scene, cameras=("normal.mkv",))
    assert result.exception is None, f"{result.output}{result.exception}"
    assert "note: on the scene itself, half of" in result.output
    seen = read_match(tmp_path / "B.toml").lights[0].statistics.scene
    assert seen.pairs > 60
    assert seen.median < 2.0


def test_a_match_of_other_cameras_is_not_overwritten(folder, tmp_path):
    target = tmp_path / "B.toml"
    assert run(folder, target, cameras=("normal.mkv",)).exception is None
    text = target.read_text()
    target.write_text(text.replace('camera = "B"', 'camera = "C"', 1))
    result = run(folder, target, cameras=("normal.mkv",))
    assert "holds the match of camera C" in str(result.exception)


def test_what_is_missing_is_named(folder):
    assert str(run(folder, None).exception).startswith("-o: missing")
    result = CliRunner().invoke(command, ["-o", "b.toml"])
    assert str(result.exception).startswith("--reference, --camera: missing")
    result = CliRunner().invoke(command, ["--scene", "kitchen", "--reference", "A:a.png",
                                          "--camera", "B:b.png", "-o", "b.toml"])  # fmt: skip
    assert "name the recipe too" in str(result.exception)


def checked(*arguments):
    result = CliRunner().invoke(command, ["--check", *(str(part) for part in arguments)])
    assert result.exception is None, f"{result.output}{result.exception}"
    return result.output


def mean_of(text):
    """The mean between the first two cameras of a matrix."""
    row = next(line for line in text.splitlines() if line.startswith("A "))
    return float(row.split()[2])


def test_a_newcomer_makes_a_match_names_it_and_sees_the_cameras_come_together(folder, tmp_path):
    recipe = tmp_path / "film.toml"
    recipe.write_text(RECIPE.replace('camera"\n', 'camera"\nmatch = "B.match.toml"\n', 1))
    places = ["--corners", f"A={place(film.A_CORNERS)}", "--corners", f"B={place(film.B_CORNERS)}"]
    shots = ["--camera", f"A:{folder}/a.png", "--camera", f"B:{folder}/normal.mkv", *places]
    before = checked(folder / "film.toml", *shots)
    assert "Delta E 2000 (mean / p95 / max)" in before
    assert mean_of(before) > 2.0

    # The recipe names a match that is not there yet.
    result = run(folder, tmp_path / "B.match.toml", "--recipe", recipe, "--scene", "kitchen")
    assert result.exception is None, f"{result.output}{result.exception}"
    assert "match = " not in result.output

    with_frames = checked(recipe, *shots, "--scene", "kitchen")
    assert "scene kitchen, 24 patches" in with_frames
    assert mean_of(with_frames) < 0.5 * mean_of(before)
    alone = checked(recipe)
    assert "light 3200, scene kitchen, 24 patches" in alone
    # What it says of the fitted patches is not all that it says.
    assert "fitted to these patches; on other colours" in alone
    assert "  B: mean about " in alone
    assert ", skin about " in alone
    # Both are of the same frames; the file holds five decimals.
    assert mean_of(alone) == pytest.approx(mean_of(with_frames), abs=0.1)


def test_what_the_recipe_still_has_to_say_is_told(folder, tmp_path):
    result = run(folder, tmp_path / "B.toml", "--light", "window", cameras=("normal.mkv",))
    place_of_match = (tmp_path / "B.toml").resolve()
    assert "in [cameras.B]: match = " in result.output
    assert place_of_match.name in result.output
    assert 'in the scene of this light: light = "window"' in result.output


def test_a_check_refuses_what_it_cannot_compare(folder, tmp_path):
    recipe = folder / "film.toml"

    def refusal(*arguments):
        result = CliRunner().invoke(command, ["--check", *(str(part) for part in arguments)])
        assert isinstance(result.exception, InputError)
        return str(result.exception)

    assert "no camera has a match from a chart" in refusal(recipe)
    shot = ("--camera", f"B:{folder}/normal.mkv", "--corners", f"B={place(film.B_CORNERS)}")
    assert "at least two are needed" in refusal(recipe, *shot)
    assert "camera B is given twice" in refusal(recipe, *shot, *shot[:2])
    assert "without @STOPS" in refusal(recipe, "--camera", f"B:{folder}/normal.mkv@-2")
    assert "unknown scene 'cellar'" in refusal(recipe, *shot, "--scene", "cellar")


def test_the_main_camera_may_have_any_encoding_that_the_recipe_knows(folder, tmp_path):
    recipe = tmp_path / "film.toml"
    recipe.write_text(RECIPE.replace('"LogC4"', '"sRGB"'))
    result = run(folder, tmp_path / "B.toml", "--recipe", recipe, cameras=("normal.mkv",))
    # The frames are not sRGB, so the cameras cannot agree well; but A's encoding is believed.
    assert "encoding must be known" not in f"{result.output}{result.exception}"


def test_a_clip_that_says_another_range_than_it_is_read_in_is_told(folder, tmp_path):
    result = run(folder, tmp_path / "B.toml", "--range", "B=full", cameras=("normal.mkv",))
    assert "normal.mkv says legal range, but is read as full" in result.output
    assert read_match(tmp_path / "B.toml").range == "full"
