"""What is no look is refused, and a wrong name is seen where greys can show it."""

import numpy as np
import pytest

from lookkit.accuracy.sampling import grid
from lookkit.adopt.checks import fitting_names, grey_warnings, mix_warnings, range_warnings
from lookkit.adopt.source import open_source
from lookkit.lutfile.cube import write_cube_1d
from lookkit.spaces.encodings import encoding
from tests.adopt.sources import bake, bake_look, known_look
from tests.cli.test_cli import run

SHOWN = "Rec.709 BT.1886"


def log_to_log(code):
    return np.clip(encoding("S-Log3/S-Gamut3.Cine").encode(encoding("LogC4").decode(code)), 0, 1)


BAD = {
    "turns LogC4 into S-Log3/S-Gamut3.Cine: a technical LUT": log_to_log,
    "gives nearly the same for every colour": lambda code: 0.0 * code + 0.4,
    "changes nothing": lambda code: code,
    "holds curves alone": lambda code: code**0.7,
    "do not rise from black to white": lambda code: 1.0 - code,
}


@pytest.mark.parametrize("said", BAD)
def test_what_is_no_look_is_refused_in_words(said, tmp_path, capsys):
    cube = bake(tmp_path / "bad.cube", BAD[said](grid(17)))
    status, _, err = run(
        capsys, "adopt", cube, "--from", "LogC4", "--to", SHOWN, "-o", tmp_path / "mine.toml"
    )
    assert status == 2
    assert said in err
    assert not (tmp_path / "mine.toml").exists()


def test_curves_alone_a_number_that_is_none_and_unknown_names_are_refused(tmp_path, capsys):
    curves = tmp_path / "curves.cube"
    write_cube_1d(curves, np.linspace(0, 1, 64)[:, None].repeat(3, axis=1) ** 2, title="c",
                  comments=[])  # fmt: skip
    broken = tmp_path / "broken.cube"
    broken.write_text("LUT_3D_SIZE 2\n" + "0 0 0\n" * 7 + "nan 1 1\n")
    whole = bake(tmp_path / "whole.cube", grid(5) ** 0.8)
    for file, camera, shown, said in (
        (curves, "LogC4", SHOWN, "holds curves alone"),
        (broken, "LogC4", SHOWN, "broken.cube:9"),
        (whole, "LogC5", SHOWN, "did you mean 'LogC4'"),
        (whole, "LogC4", "Rec.709 1886", "unknown output"),
        (tmp_path / "gone.cube", "LogC4", SHOWN, "gone.cube"),
    ):
        status, _, err = run(
            capsys, "adopt", file, "--from", camera, "--to", shown, "-o", tmp_path / "mine.toml"
        )
        assert (status, said in err) == (2, True), err


def test_a_recipe_that_is_there_is_left_as_it_is(tmp_path, capsys):
    cube = bake(tmp_path / "look.cube", grid(5) ** 0.8)
    there = tmp_path / "mine.toml"
    there.write_text("mine")
    status, _, err = run(capsys, "adopt", cube, "--from", "LogC4", "--to", SHOWN, "-o", there)
    assert (status, there.read_text()) == (2, "mine")
    assert "is there already" in err


def test_greys_tell_of_a_wrong_encoding_and_name_the_right_one(tmp_path):
    cube = bake_look(tmp_path / "look.cube", known_look(), 17)
    right = open_source(cube, "LogC4", SHOWN)
    assert grey_warnings(right) == []
    assert "LogC4" in fitting_names(right)
    (wrong,) = grey_warnings(open_source(cube, "ACEScg", SHOWN))
    assert "the encoding or a range is likely another" in wrong
    assert "LogC4" in wrong


def test_a_signal_of_the_other_range_and_a_matrix_with_curves_are_told(tmp_path):
    code = grid(17)
    signal = known_look().evaluate(code.reshape(-1, 3), camera="A", output="main")
    signal = signal.reshape(code.shape)
    # ITU-R BT.709: legal ten-bit signals span 64 to 940.
    legal = bake(tmp_path / "legal.cube", (signal * 876.0 + 64.0) / 1023.0)
    (told,) = range_warnings(open_source(legal, "LogC4", SHOWN))
    assert "--to-range legal" in told
    assert range_warnings(open_source(legal, "LogC4", SHOWN, shown_range="legal")) == []
    # IEC 61966-2-1: the matrix from CIE XYZ to sRGB's primaries, and a power behind it.
    matrix = [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.204, 1.057]]
    mixed = np.clip(code @ np.transpose(matrix), 0.0, 1.0) ** (1 / 2.2)
    technical = open_source(bake(tmp_path / "technical.cube", mixed), "LogC4", SHOWN)
    assert "one fixed mix of the three" in mix_warnings(technical)[0]
    assert mix_warnings(open_source(bake(tmp_path / "look.cube", signal), "LogC4", SHOWN)) == []
