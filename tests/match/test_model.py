"""The match file: round trips, located problems, and the same pixels in every form."""

import numpy as np
import pytest

from lookkit.errors import InputError, RecipeError
from lookkit.match.model import match_text, parse_match, read_match, write_match
from lookkit.ocio import Processor, library
from lookkit.spaces.working import State
from tests.match import simulation as sim
from tests.match.trials import chart_trial, footage_b

pytest.importorskip("colour", reason="the spectra come from colour-science, an optional extra")


@pytest.fixture(scope="module")
def trial():
    return chart_trial(sim.TYPICAL, 0)


@pytest.fixture(scope="module")
def text(trial):
    return match_text(trial.op.file)


def codes_of(trial):
    spectra = np.concatenate([sim.held_out_spectra(), sim.chart_spectra()])
    return np.concatenate([trial.camera_b.exact(spectra, stops) for stops in (-2, 0, 2)])


def test_a_written_match_is_read_back_the_same(trial, text, tmp_path):
    assert parse_match(text) == trial.op.file
    write_match(trial.op.file, tmp_path / "b.toml")
    again = read_match(tmp_path / "b.toml")
    codes = codes_of(trial)
    assert np.array_equal(again.for_light().evaluate(codes), trial.op.evaluate(codes))
    assert (tmp_path / "b.toml").read_text() == text


def test_the_file_stays_small_enough_to_read(text):
    assert len(text.splitlines()) < 50
    assert max(map(len, text.splitlines())) <= 100


def test_ocio_gives_the_pixels_of_the_fit(trial):
    codes = codes_of(trial)
    found = Processor(trial.op.lower()).apply_exact(codes)
    assert sim.difference(found, trial.op.evaluate(codes)).max() < 0.05


def test_ocio_and_the_fit_agree_beyond_black_and_white(trial):
    codes = np.repeat(np.linspace(-0.3, 1.4, 400)[:, None], 3, axis=1)
    found = Processor(trial.op.lower()).apply_exact(codes)
    exact = trial.op.evaluate(codes)
    assert found == pytest.approx(exact, rel=2e-3, abs=2e-5)
    assert exact[0].max() < 0.0


def test_a_clf_file_gives_the_pixels_of_the_fit(trial, tmp_path):
    ocio = library()
    group = ocio.GroupTransform()
    for transform in trial.op.lower():
        group.appendTransform(transform)
    path = tmp_path / "match.clf"
    group.write("Academy/ASC Common LUT Format", str(path), ocio.Config.CreateRaw())
    codes = codes_of(trial)
    found = Processor([ocio.FileTransform(src=str(path))]).apply_exact(codes)
    assert sim.difference(found, trial.op.evaluate(codes)).max() < 0.05


def test_the_inverse_undoes_the_match(trial):
    codes = codes_of(trial)
    assert trial.op.inverse(trial.op.evaluate(codes)) == pytest.approx(codes, abs=1e-7)


def test_the_match_says_what_it_takes_and_gives(trial):
    assert (trial.op.takes, trial.op.gives) == (State.CODE, State.SCENE)
    assert trial.op.label == "match B to A (D55)"


def test_a_colour_stage_has_no_1d_and_matrix_form():
    op = chart_trial(sim.STRESS, 1, stage="always").op
    assert parse_match(match_text(op.file)) == op.file
    assert op.lower() is None
    assert op.inverse(np.zeros((1, 3))) is None


def test_one_file_holds_several_lights_and_a_scene_picks_its_own(trial):
    day = trial.op.match
    lamp = day.model_copy(update={"light": "lamp", "matrix": ((2, 0, 0), (0, 2, 0), (0, 0, 2))})
    both = trial.op.file.with_light(lamp)
    assert parse_match(match_text(both)) == both
    assert both.for_light("lamp").match.matrix[0] == (2, 0, 0)
    assert both.for_light("D55").match == day
    with pytest.raises(InputError, match="say which one the scene has"):
        both.for_light()
    with pytest.raises(InputError, match=r"no match of camera B for the light 'lamb'.*'lamp'"):
        both.for_light("lamb")
    assert both.with_light(day).lights == (lamp, day)


@pytest.mark.parametrize(
    ("old", "new", "line_of", "words"),
    [
        ("schema = 1", "schema = 2", "schema", "expected 1"),
        ('light = "D55"', "", "lights", "light: missing"),
        ("bits = 8", "bits = 9", "bits", "8, 10, 12 or 16"),
        ('range = "legal"', 'range = "lega"', "range", "'full' or 'legal'"),
        ("top = 1.09", "tpo = 1.09", "tpo", "did you mean 'top'"),
        ("top = 1.09", "top = nan", "top", "finite|valid"),
        ("top = 1.09", "top = -1.0", "top", "greater than 0"),
        ('encoding = "unknown"', 'encoding = "LogC4"', "", "has a curve, expected none"),
    ],
)
def test_problems_are_told_with_their_line(text, old, new, line_of, words):
    broken = text.replace(old, new, 1)
    assert broken != text
    with pytest.raises(RecipeError, match=words) as caught:
        parse_match(broken, "b.toml")
    line = next(
        (n for n, row in enumerate(broken.splitlines(), 1) if row.startswith(f"{line_of} =")), None
    )
    if line_of and line:
        assert f"b.toml:{line}:" in str(caught.value)


def test_a_falling_curve_a_singular_matrix_and_broken_toml_are_refused(text):
    rows = text.splitlines()
    slopes = rows.index("slopes = [")
    first = rows[slopes + 1].split(",")[0]
    for broken, words in (
        (text.replace(first, "  -0.5", 1), "slope 1 is -0.5, expected above zero"),
        (text.replace(rows[rows.index("matrix = [") + 1], "  [0.0, 0.0, 0.0],"), "singular"),
        (text.replace("matrix = [", "matrix = ["[:-1], 1), "not valid TOML"),
    ):
        with pytest.raises(RecipeError, match=words):
            parse_match(broken)


def test_the_footage_of_an_unknown_camera_is_what_the_file_says(trial):
    assert (trial.op.file.range, trial.op.file.bits) == (
        footage_b().signal_range,
        footage_b().depth,
    )
