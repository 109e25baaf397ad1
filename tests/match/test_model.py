"""The match file: round trips, located problems, and the same pixels in every form."""

import numpy as np
import pytest

from lookkit.errors import RecipeError
from lookkit.evaluate import evaluate
from lookkit.lower import lower
from lookkit.matchfile.roots import root_terms
from lookkit.matchfile.steps import Match
from lookkit.ocio import Processor, library
from lookkit.recipe.match_file import match_text, parse_match, read_match, write_match
from lookkit.spaces import ranges
from lookkit.spaces.working import State
from tests.match import simulation as sim
from tests.match.trials import chart_trial, footage_b

pytest.importorskip("colour", reason="the spectra come from colour-science, an optional extra")


@pytest.fixture(scope="module")
def trial():
    return chart_trial(sim.TYPICAL, 0)


@pytest.fixture(scope="module")
def text(trial):
    return match_text(trial.match.file)


def signals_of(trial):
    spectra = np.concatenate([sim.held_out_spectra(), sim.chart_spectra()])
    codes = np.concatenate([trial.camera_b.exact(spectra, stops) for stops in (-2, 0, 2)])
    return ranges.convert(codes, "legal", "full", 8)


def test_a_written_match_is_read_back_the_same(trial, text, tmp_path):
    assert parse_match(text) == trial.match.file
    write_match(trial.match.file, tmp_path / "b.toml")
    again = read_match(tmp_path / "b.toml")
    steps = Match(again, again.lights[0]).steps
    signals = signals_of(trial)
    assert np.array_equal(evaluate(steps, signals), evaluate(trial.match.steps, signals))
    assert (tmp_path / "b.toml").read_text() == text


def test_the_file_stays_small_enough_to_read(text):
    assert len(text.splitlines()) < 50
    assert max(map(len, text.splitlines())) <= 100


def test_ocio_gives_the_pixels_of_the_fit(trial):
    signals = signals_of(trial)
    found = Processor(lower(trial.match.steps)).apply_exact(signals)
    assert sim.difference(found, evaluate(trial.match.steps, signals)).max() < 0.05


def test_ocio_and_the_fit_agree_beyond_black_and_white(trial):
    signals = np.repeat(np.linspace(-0.3, 1.4, 400)[:, None], 3, axis=1)
    found = Processor(lower(trial.match.steps)).apply_exact(signals)
    exact = evaluate(trial.match.steps, signals)
    assert found == pytest.approx(exact, rel=2e-3, abs=2e-5)
    assert exact[0].max() < 0.0


def test_a_clf_file_gives_the_pixels_of_the_fit(trial, tmp_path):
    ocio = library()
    group = ocio.GroupTransform()
    for transform in lower(trial.match.steps):
        group.appendTransform(transform)
    path = tmp_path / "match.clf"
    group.write("Academy/ASC Common LUT Format", str(path), ocio.Config.CreateRaw())
    signals = signals_of(trial)
    found = Processor([ocio.FileTransform(src=str(path))]).apply_exact(signals)
    assert sim.difference(found, evaluate(trial.match.steps, signals)).max() < 0.05


def test_the_inverse_undoes_the_match(trial):
    curve, colours = trial.match.steps
    signals = signals_of(trial)
    scene = evaluate(trial.match.steps, signals)
    assert curve.inverse(colours.inverse(scene)) == pytest.approx(signals, abs=1e-7)


def test_the_match_says_what_it_takes_and_gives(trial):
    curve, colours = trial.match.steps
    assert (curve.takes, curve.gives) == (State.CODE, State.SCENE)
    assert (colours.takes, colours.gives) == (State.SCENE, State.SCENE)
    assert curve.label == "curve of match B to A (D55)"
    assert colours.label == "match B to A (D55)"


def test_the_two_steps_give_what_the_fit_gave(trial):
    codes = trial.camera_b.exact(sim.held_out_spectra())
    light = footage_b().decode(codes)
    stepped = evaluate(trial.match.steps, ranges.convert(codes, "legal", "full", 8))
    assert stepped == pytest.approx(trial.match.scene(light), abs=1e-12)
    fitted = trial.fit.solution.scene(light)
    # The file holds five digits of each slope.
    assert sim.difference(stepped, fitted).max() < 0.01


def test_a_colour_stage_has_no_matrix_form_but_its_curve_has_one():
    match = chart_trial(sim.STRESS, 1, stage="always").match
    assert parse_match(match_text(match.file)) == match.file
    curve, colours = match.steps
    assert len(curve.lower()) == 2
    assert colours.lower() is None
    assert colours.inverse(np.zeros((1, 3))) is None
    plain = match.without_stage.steps[1]
    matched_grey = np.linalg.solve(np.array(match.one.matrix), np.full(3, 0.18))[None]
    assert plain.evaluate(matched_grey) == pytest.approx(colours.evaluate(matched_grey), abs=1e-12)
    assert plain.lower() is not None


def test_the_stage_of_earlier_versions_on_the_camera_s_own_light_is_still_read(trial):
    roots = ((0.05, -0.02, 0.01), (0.02, 0.03, -0.05), (0.0, 0.04, 0.02))
    one = trial.match.one.model_copy(update={"roots": roots, "stage": None})
    old = trial.match.file.model_copy(update={"lights": (one,)})
    assert parse_match(match_text(old)) == old
    light = np.random.default_rng(0).uniform(0.0, 1.0, size=(20, 3))
    wanted = light @ np.array(one.matrix).T + root_terms(light) @ np.array(roots).T
    assert Match(old, one).steps[1].evaluate(light) == pytest.approx(wanted, abs=1e-12)
    assert Match(old, one).without_stage.one.matrix == one.matrix


def test_one_file_holds_several_lights_each_once(trial):
    day = trial.match.one
    lamp = day.model_copy(update={"light": "lamp", "matrix": ((2, 0, 0), (0, 2, 0), (0, 0, 2))})
    both = trial.match.file.with_light(lamp)
    assert parse_match(match_text(both)) == both
    assert [one.light for one in both.lights] == ["D55", "lamp"]
    assert both.with_light(day).lights == (lamp, day)
    with pytest.raises(RecipeError, match="light 'lamp' twice"):
        parse_match(match_text(both).replace('light = "D55"', 'light = "lamp"'))


@pytest.mark.parametrize(
    ("old", "new", "line_of", "words"),
    [
        ("schema = 1", "schema = 2", "schema", "expected 1"),
        ('light = "D55"', "", "lights", "light: missing"),
        ("bits = 8", "bits = 9", "bits", "8, 10, 12 or 16"),
        ('range = "legal"', 'range = "lega"', "range", "'full' or 'legal'"),
        ("top = 1.09", "tpo = 1.09", "tpo", "did you mean 'top'"),
        ("top = 1.09", "top = nan", "top", "finite"),
        ("top = 1.09", "top = -1.0", "top", "more than 0"),
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
    assert (trial.match.file.range, trial.match.file.bits) == (
        footage_b().signal_range,
        footage_b().depth,
    )
