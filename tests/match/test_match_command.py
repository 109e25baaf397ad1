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
        (("--reference", "chart:2005"), ("normal.mkv",), "either a published chart or a camera"),
        (("--scene", "A:x.png"), ("normal.mkv",), "one frame of camera A and one of camera B"),
    ],
)
def test_bad_input_is_refused_and_nothing_is_written(folder, tmp_path, more, cameras, words):
    target = tmp_path / "out" / "B.toml"
    target.parent.mkdir()
    assert words in refused(run(folder, target, *more, cameras=cameras), target)


def test_a_match_of_other_cameras_is_not_overwritten(folder, tmp_path):
    target = tmp_path / "B.toml"
    assert run(folder, target, cameras=("normal.mkv",)).exception is None
    text = target.read_text()
    target.write_text(text.replace('camera = "B"', 'camera = "C"', 1))
    result = run(folder, target, cameras=("normal.mkv",))
    assert "holds the match of camera C" in str(result.exception)


def test_what_is_missing_is_named(folder):
    assert "-o is missing" in str(run(folder, None).exception)
    result = CliRunner().invoke(command, ["--camera", "B:b.png", "-o", "b.toml"])
    assert "--reference is missing" in str(result.exception)
    result = CliRunner().invoke(command, ["--camera", "B:b.png", "--check"])
    assert "--check needs --recipe" in str(result.exception)


def test_check_compares_the_cameras_through_the_recipe(folder):
    arguments = ["--check", "--recipe", folder / "film.toml"]
    arguments += ["--camera", f"A:{folder}/a.png", "--camera", f"B:{folder}/normal.mkv"]
    arguments += ["--corners", f"A={place(film.A_CORNERS)}"]
    arguments += ["--corners", f"B={place(film.B_CORNERS)}"]
    result = CliRunner().invoke(command, [str(part) for part in arguments])
    assert result.exception is None, result.output
    assert "Delta E 2000 (mean / p95 / max)" in result.output
    mean = float(result.output.splitlines()[1].split()[2])
    assert mean > 2.0
