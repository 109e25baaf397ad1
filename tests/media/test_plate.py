"""A plate of grain: neutral at 50 %, and how true it is."""

import numpy as np
import pytest
from click.testing import CliRunner

from lookkit.cli.texture import command
from lookkit.look import loads
from lookkit.texture.plate import Plate
from tests.media.movies import RECIPE, decoded

TEXTURE = '[texture]\ngate = "super 16 mm"\n'


def overlaid(picture, plate):
    """The blend: W3C, Compositing and Blending, overlay."""
    low = 2 * picture * plate
    return np.where(picture < 0.5, low, 1 - 2 * (1 - picture) * (1 - plate))


@pytest.fixture(scope="module")
def look():
    return loads(RECIPE + TEXTURE)


@pytest.fixture(scope="module")
def plate(look):
    return Plate(look.graph, "monitor", look.recipe.texture.numbers, 200, 300)


def test_fifty_per_cent_is_the_mean_and_the_blends_neutral(plate):
    frame = plate.frame(3)
    # The mean of 60 000 pixels that are alike beyond their neighbours: four standard errors.
    assert np.abs(frame.mean(axis=(0, 1)) - 0.5).max() < 4 * 1.7 * frame.std() / np.sqrt(60000)
    assert overlaid(np.linspace(0, 1, 11), 0.5) == pytest.approx(np.linspace(0, 1, 11))


def test_laid_over_mid_grey_it_is_the_true_grain(look, plate):
    code = np.full((1, 1, 3), 0.278, np.float32)
    grey = look.graph.input_transform("A").inverse(np.full((1, 1, 3), 0.18))
    assert code == pytest.approx(grey, abs=1e-3)
    plain = look.evaluate(grey, camera="A", output="monitor")[0, 0]
    true = look.picture(np.broadcast_to(grey, (200, 300, 3)), camera="A", output="monitor",
                        shot="plate", frame=3)  # fmt: skip
    laid = overlaid(plain, plate.frame(3).astype(float))
    assert np.abs(laid - true).max() * 1023 < 0.1


def test_it_tells_how_strong_it_is_elsewhere(look, plate):
    told = {one.stop: one.ratio for one in plate.matches()}
    assert told[0] == pytest.approx((1.0, 1.0, 1.0), abs=1e-3)
    grey = look.graph.input_transform("A").inverse(np.full((1, 1, 3), 0.18 * 8))
    plain = look.evaluate(grey, camera="A", output="monitor")[0, 0]
    true = look.picture(np.broadcast_to(grey, (200, 300, 3)), camera="A", output="monitor")
    found = (overlaid(plain, plate.frame(0).astype(float)) - plain).std(axis=(0, 1))
    assert found / (true - plain).std(axis=(0, 1)) == pytest.approx(told[3], rel=0.05)


def test_the_command_writes_a_movie_and_says_what_it_is(tmp_path):
    (tmp_path / "film.toml").write_text(RECIPE + "[texture]\ngate = 2.0\n")
    target = tmp_path / "plate.mov"
    words = [str(tmp_path / "film.toml"), "-o", str(target), "--size", "64x36", "--frames", "3"]
    done = CliRunner().invoke(command, words)
    assert done.exit_code == 0, done.output
    assert "no halation and no softness" in done.output
    luma = [np.frombuffer(one.planes[0], np.uint16).reshape(36, -1)[:, :64]
            for one in decoded(target)]  # fmt: skip
    assert len(luma) == 3
    # 50 % in legal range of 12 bits, as this codec is decoded: 4 (64 + 876 / 2).
    assert np.mean(luma) == pytest.approx(4 * 502, abs=6)
    assert np.std(luma[0]) > 3
    assert np.abs(luma[0].astype(int) - luma[1]).mean() > 3


@pytest.mark.parametrize(
    ("text", "words", "told"),
    [
        (RECIPE, [], "has no grain, expected a [texture] with some"),
        (RECIPE + TEXTURE, ["--size", "big"], "'big': expected pixels, such as 3840x2160"),
        (RECIPE.replace("film-print", "aces-2") + TEXTURE, [], "has no negative"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, text, words, told):
    (tmp_path / "film.toml").write_text(text)
    target = tmp_path / "plate.mov"
    done = CliRunner().invoke(command, [str(tmp_path / "film.toml"), "-o", str(target), *words])
    assert told in done.output or told in str(done.exception)
    assert not target.exists()
