"""`lookkit apply` on clips, as a user types it."""

from fractions import Fraction

import click
import pytest
from click.testing import CliRunner

from lookkit.cli.apply import Rate, command
from lookkit.errors import InputError
from lookkit.media.jobs import Options, plan
from lookkit.media.run import run
from tests.media.movies import RECIPE, decoded, made_look, noise, write_movie

SHOTS = """
[[shots]]
match = "A*"
camera = "A"
"""


@pytest.fixture
def recipe(tmp_path):
    path = tmp_path / "look.toml"
    path.write_text(RECIPE + SHOTS)
    return path


def apply(*words):
    return CliRunner().invoke(command, [str(word) for word in words])


def test_the_shot_list_says_whose_a_clip_is(tmp_path, recipe):
    write_movie(tmp_path / "A001.mkv", noise(2), tags=(2, 2, 1))
    write_movie(tmp_path / "X001.mkv", noise(2), tags=(2, 2, 1))
    done = apply(recipe, tmp_path / "A001.mkv", tmp_path / "X001.mkv", "--into", tmp_path / "out")
    assert done.exit_code == 1
    assert "A001_Plain_monitor.mkv" in done.output
    assert "X001.mkv: nothing says which camera" in done.output
    frames = decoded(tmp_path / "out" / "A001_Plain_monitor.mkv")
    assert [frame.format.name for frame in frames] == ["yuv420p10le"] * 2


def test_a_shot_on_the_command_comes_before_the_recipes(tmp_path, recipe):
    write_movie(tmp_path / "A001.mkv", noise(2), tags=(2, 2, 1))
    write_movie(tmp_path / "X001.mkv", noise(2), tags=(2, 2, 1))
    done = apply(
        recipe, tmp_path / "A001.mkv", tmp_path / "X001.mkv", "--dry-run",
        "--shot", "X*=B", "--shot", "A*=C",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "(camera C, monitor" in done.output
    assert "(camera B, monitor" in done.output
    unknown = apply(recipe, tmp_path / "X001.mkv", "--dry-run", "--shot", "X*=Z")
    assert isinstance(unknown.exception, InputError)
    assert "unknown camera 'Z'" in str(unknown.exception)


def test_a_card_is_worked_on_as_it_lies(tmp_path, recipe):
    (tmp_path / "card" / "day").mkdir(parents=True)
    write_movie(tmp_path / "card" / "day" / "A001.mkv", noise(2))
    done = apply(recipe, tmp_path / "card", "--into", tmp_path / "out", "--format", "mov")
    assert done.exit_code == 0, done.output
    assert (tmp_path / "out" / "day" / "A001_Plain_monitor.mov").exists()
    again = apply(recipe, tmp_path / "card", "--into", tmp_path / "out", "--format", "mov")
    assert "done before" in again.output


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("24", Fraction(24)), ("23.976", Fraction(24000, 1001)), ("12.5", Fraction(25, 2)),
        ("29.97", Fraction(30000, 1001)), ("24000/1001", Fraction(24000, 1001)),
    ],
)  # fmt: skip
def test_rates_are_exact(text, rate):
    assert Rate().convert(text, None, None) == rate


@pytest.mark.parametrize("text", ["0", "-1", "film", "1/0", "5000"])
def test_rates_that_are_none(text):
    with pytest.raises(click.BadParameter, match="expected"):
        Rate().convert(text, None, None)


def test_very_short_hevc_clips_are_written(tmp_path):
    look = made_look()
    for number in range(6):
        path = tmp_path / f"A{number}.mkv"
        write_movie(path, noise(1 + number % 3, 128, 64, seed=number))
        options = Options(camera="A", codec="hevc", into=tmp_path / "out")
        (done,) = run(look, plan(look, [path], options))
        assert not done.problem
        assert len(decoded(done.target)) == 1 + number % 3


def test_progress_tells_file_and_rate(tmp_path):
    write_movie(tmp_path / "A001.mkv", noise(4))
    write_movie(tmp_path / "A002.mkv", noise(4))
    look, seen = made_look(), []
    planned = plan(look, [tmp_path], Options(camera="A", into=tmp_path / "o", extension="mov"))
    run(look, planned, lambda *step: seen.append(step))
    assert seen[-1][1:] == (8, 8)
    assert "A002.mkv, file 2 of 2" in seen[-1][0]
    assert "frames/s" in seen[-1][0]
