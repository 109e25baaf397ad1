"""Each quality check, provoked by what it is for, with its figure."""

from dataclasses import replace

import numpy as np
import pytest

from lookkit.match import charts, quality
from lookkit.match.fit import Shot, curve_knots, fit_shots, plain_fit
from lookkit.match.patches import Patches
from lookkit.match.solve import errors
from lookkit.match.stray import dark_stray
from tests.match import simulation as sim
from tests.match.trials import chart_trial, footage_b, shot

pytest.importorskip("colour", reason="the spectra come from colour-science, an optional extra")

ALL = np.ones(24, dtype=bool)
SCENE = charts.edition("2005").scene


def patches(**changes):
    plain = Patches(
        codes=SCENE,
        light=SCENE,
        noise=np.zeros((24, 3)),
        pixels=np.full(24, 400),
        clipped=np.zeros(24),
        crushed=np.zeros(24),
        where=charts.centres(),
        medians=SCENE,
    )
    return replace(plain, **changes)


def only(findings, check):
    """The one finding, which must be of that check."""
    (finding,) = findings
    assert finding.check == check
    return finding


def test_clean_frames_give_no_findings():
    assert quality.clipping("B", 0.0, patches()) == []
    assert quality.noise("B", patches(), SCENE, ALL) == []
    assert quality.evenness("B", SCENE, SCENE, ALL) == []
    assert quality.cast("B", SCENE) == []


def test_clipped_and_crushed_patches_are_named():
    share = np.zeros(24)
    share[charts.WHITE] = 0.1
    found = only(quality.clipping("B", 0.0, patches(clipped=share)), "clipped")
    assert (found.level, found.figure) == ("warning", 1.0)
    assert "white 9.5" in found.words
    assert quality.clipping("B", 2.0, patches(clipped=share))[0].level == "note"
    assert only(quality.clipping("B", 0.0, patches(crushed=share)), "crushed").level == "note"


def test_noise_is_the_doubt_of_a_mean_in_delta_e():
    rng = np.random.default_rng(0)
    noise = np.full((24, 3), 0.05)
    found = only(quality.noise("B", patches(noise=noise), SCENE, ALL), "noisy")
    # By drawing means of 100 independent pixels: the darkest patch is the most doubtful.
    drawn = SCENE[23] + rng.normal(size=(4000, 3)) * 0.05 / np.sqrt(100)
    assert found.figure == pytest.approx(
        np.sqrt((sim.lab(drawn) - sim.lab(SCENE[23])) ** 2).mean(axis=0).max() * 1.25, rel=0.9
    )
    assert quality.noise("B", patches(noise=noise / 40), SCENE, ALL) == []


@pytest.mark.parametrize("rise", [0.3, -0.5])
def test_falling_light_is_measured_within_three_hundredths_of_a_stop(rise):
    place = charts.centres()[:, :1] - 0.5
    found = only(quality.evenness("B", SCENE * 2.0 ** (rise * place), SCENE, ALL), "shaded")
    assert found.figure == pytest.approx(abs(rise), abs=0.03)


def test_a_wrong_tone_curve_is_no_falling_light():
    assert quality.evenness("B", np.maximum(SCENE, 1e-4) ** 1.3, SCENE, ALL) == []


def test_two_kinds_of_light_are_told_from_one():
    place = charts.centres()[:, 1] - 0.5
    warm = np.stack([2.0 ** (0.3 * place), np.ones(24), 2.0 ** (-0.2 * place)], axis=1)
    checks = {one.check: one for one in quality.evenness("B", SCENE * warm, SCENE, ALL)}
    assert checks["mixed light"].figure == pytest.approx(0.3, abs=0.05)
    assert quality.evenness("B", SCENE * [1.3, 1.0, 0.7], SCENE, ALL) == []


def test_a_cast_is_measured_on_neutral_5():
    found = only(quality.cast("B", SCENE * 2.0 ** np.array([0.4, 0.0, 0.0])), "cast")
    assert found.figure == pytest.approx(0.4, abs=0.02)


def test_wrong_exposure_of_the_reference_and_the_difference_are_told():
    checks = quality.exposure("camera A", "B", SCENE * 0.25, SCENE * 0.5, ALL)
    assert [one.level for one in checks] == ["warning", "note"]
    assert checks[0].figure == pytest.approx(-2.0, abs=0.05)
    assert checks[1].figure == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("percent", [1.0, 2.0, 4.0])
def test_flare_is_recovered_from_the_bracket(percent):
    trial = chart_trial(sim.TYPICAL, 0, flare=percent / 100.0)
    target = trial.camera_a.truth(sim.chart_spectra())
    found = only(quality.flare("B", trial.fit.solution, target), "flared")
    assert found.figure == pytest.approx(percent, abs=0.35)


def test_no_flare_is_found_where_there_is_none():
    trial = chart_trial(sim.TYPICAL, 0)
    target = trial.camera_a.truth(sim.chart_spectra())
    assert quality.flare("B", trial.fit.solution, target) == []


def test_glared_patches_are_named_and_left_out():
    trial = chart_trial(sim.TYPICAL, 0, glared=4)
    findings = quality.glare("B", trial.fit, np.ones((3, 24), dtype=bool))
    found = only([one for one in findings if one.level == "warning"], "glared")
    glared = np.random.default_rng(0).choice(24, 4, replace=False)
    strong = [charts.patch_names()[index] for index in glared]
    assert any(name in found.words for name in strong)
    assert found.figure > 3.0


def test_an_exposure_that_is_not_what_it_was_called_is_told():
    camera_a, camera_b = sim.pair(sim.TYPICAL, 3)
    rng = np.random.default_rng(3)
    chart = sim.chart_spectra()
    shots = [shot(camera_b, chart, stops, rng) for stops in (-2.0, 0.0, 1.4)]
    shots[2] = Shot(2.0, shots[2].light, shots[2].usable)
    fit = fit_shots(
        shots, camera_a.read(chart, 0.0, rng), knots=curve_knots(), stage="never", leave_out=False
    )
    found = only(quality.bracket("B", [-2.0, 0.0, 2.0], fit.solution), "bracket")
    assert found.figure == pytest.approx(-0.6, abs=0.15)


def test_the_edition_of_a_chart_is_told_from_its_colours():
    camera = np.array([[1.1, -0.05, 0.02], [0.03, 0.9, 0.04], [-0.02, 0.1, 1.2]])
    for name in ("1976", "2005", "2014-11-after"):
        seen = charts.edition(name).scene @ camera
        nearest, means = quality.best_edition(seen, ALL)
        assert nearest == name
        assert means[name] < 0.05


@pytest.mark.parametrize("shown", ["1976", "2005", "2014-11-after"])
def test_the_edition_is_told_of_a_camera_of_unknown_curve_by_what_fits_leave(shown):
    camera = np.array([[1.1, -0.05, 0.02], [0.03, 0.9, 0.04], [-0.02, 0.1, 1.2]])
    signal = sim.knee(sim.bt709(charts.edition(shown).scene @ camera.T * 0.9))
    codes = np.repeat((np.round(16.0 + 219.0 * signal) / 255.0)[:, None], 4, axis=1)
    shots = [Shot(0.0, footage_b().decode(codes).mean(axis=1), ALL)]
    left = {}
    for name in charts.editions():
        _, kept, solution = plain_fit(shots, charts.edition(name).scene, curve_knots())
        left[name] = errors(kept, solution)[kept.keep].mean()
    assert min(left, key=left.get) == shown
    named = "2005" if shown != "2005" else "1976"
    found = only(quality.edition_mismatch("B", named, left), "edition")
    assert f"fits edition '{shown}' better than '{named}'" in found.words
    assert quality.edition_mismatch("B", shown, left) == []
    assert found.level == "warning"
    near = {"2005": 1.05, "average": 1.0, "1976": 1.6}
    assert only(quality.edition_mismatch("B", "2005", near), "edition").level == "note"


@pytest.mark.parametrize("shown", ["2005", "1976", "2014-11-after"])
def test_charts_of_two_editions_are_told_by_what_fits_leave(shown):
    # Camera A sees the mean of charts, camera B another one; both by made-up matrices.
    camera = np.array([[1.1, -0.05, 0.02], [0.03, 0.9, 0.04], [-0.02, 0.1, 1.2]])
    target = charts.edition("average").scene @ np.diag([1.05, 1.0, 0.9])
    signal = sim.bt709(charts.edition(shown).scene @ camera.T * 0.9)
    shots = [Shot(0.0, footage_b().decode((16.0 + 219.0 * signal) / 255.0), ALL)]
    theirs, _ = quality.best_edition(target, ALL)
    left = {}
    for name in charts.editions():
        seen = quality.as_edition(target, theirs, name)
        _, kept, solution = plain_fit(shots, seen, curve_knots())
        left[name] = errors(kept, solution)[kept.keep].mean()
    found = only(quality.two_editions("B", "A", theirs, left), "two editions")
    assert f"taken for '{shown}' beside 'average'" in found.words
    same = {name: 0.9 if name == "average" else 0.82 for name in left}
    assert quality.two_editions("B", "A", "average", same) == []


def codes_of(top, stops, seed=3):
    """Medians of camera B's patches where it clips its signal at `top`, and camera A's light."""
    camera_a, camera_b = sim.pair(sim.TYPICAL, seed)
    camera_b = replace(camera_b, curve=lambda signal: np.minimum(sim.knee(signal), top))
    rng = np.random.default_rng(seed)
    chart = sim.chart_spectra()
    medians = [np.median(camera_b.codes(chart, one, rng), axis=(1, 2)) for one in stops]
    return medians, [camera_a.truth(chart) * 2.0**one for one in stops]


@pytest.mark.parametrize("top", [0.8, 0.85, 0.92])
def test_a_camera_that_clips_below_the_top_is_found_by_its_plateau(top):
    stops = (-2.0, 0.0, 2.0)
    code = quality.plateau(*codes_of(top, stops))
    assert code == pytest.approx((16.0 + 219.0 * top) / 255.0, abs=2.0 / 255.0)
    found = quality.plateau_found("B", code, 8, (0.0, 2.0))
    assert found.level == "warning"
    assert f"clips at code {255 * code:.0f} of 255" in found.words
    flat = quality.on_plateau(codes_of(top, stops)[0][2], code)
    assert flat[charts.WHITE]
    assert not flat[charts.BLACK]


def test_a_knee_and_equal_patches_are_no_plateau():
    assert quality.plateau(*codes_of(9.0, (0.0,))) is None
    # The same codes for the same light: patches may be alike.
    alike = np.full((24, 3), 0.6)
    assert quality.plateau([alike], [np.full((24, 3), 0.5)]) is None


@pytest.mark.parametrize("curve", [sim.knee, sim.cine, lambda signal: signal])
def test_the_two_darkest_greys_tell_stray_light_within_a_percent(curve):
    # The simulation's own curves, 8-bit video; what is wanted is what was put in.
    rng = np.random.default_rng(4)
    for put in (0.0, 0.01, 0.02):
        a, b = sim.pair(sim.TYPICAL, 7, curve=curve, flare=put)
        seen = shot(b, sim.chart_spectra(), 0.0, rng)
        found = dark_stray(seen.light, a.truth(sim.chart_spectra()), seen.usable)
        assert found == pytest.approx(100.0 * put, abs=1.0)
    without_black = ALL & (np.arange(24) != charts.BLACK)
    assert dark_stray(seen.light, a.truth(sim.chart_spectra()), without_black) is None


def test_flare_of_one_exposure_is_unknown_or_told_by_the_greys():
    (found,) = quality.flare_unknown("B", 0.2)
    assert "is unknown" in found.words
    assert "-2, 0 and +2 stops" in found.words
    assert found.level == "note"
    assert only(quality.flare_unknown("B", 2.2), "flare unknown").level == "warning"
    assert "neutral 3.5" not in only(quality.flare_unknown("B", None), "flare unknown").words
    stray = SCENE + 0.02 * SCENE[charts.WHITE].mean()
    known = only(quality.greys_flare("C", 1.3 * stray, SCENE, ALL), "flared")
    assert known.figure == pytest.approx(2.0, abs=0.1)
    assert quality.greys_flare("C", 1.3 * SCENE, SCENE, ALL) == []
    without_black = ALL & (np.arange(24) != charts.BLACK)
    assert quality.greys_flare("C", stray, SCENE, without_black) == []
    assert only(quality.paper_flare("A", stray, SCENE, ALL), "flared").figure > 1.8
    for name in charts.editions():
        assert quality.paper_flare("A", charts.edition(name).scene, SCENE, ALL) == []


def test_cameras_that_see_colours_differently_are_not_taken_for_glare():
    # tests/benchmarks/match_alarms.py counts on many.
    for seed in (60, 61):
        fit = chart_trial(sim.STRESS, seed).fit
        found = quality.glare("B", fit, np.ones(fit.kept.shape, dtype=bool))
        assert [one.check for one in found if one.level == "warning"] == []


def test_pixels_that_are_no_numbers_are_told():
    assert quality.lost_pixels("B", 0, 0.0) == []
    assert "312 pixels are no numbers" in only(quality.lost_pixels("B", 312, 0.0), "lost").words
