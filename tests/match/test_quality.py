"""Each quality check, provoked by what it is for, with its figure."""

from dataclasses import replace

import numpy as np
import pytest

from lookkit.match import charts, quality
from lookkit.match.fit import Shot, curve_knots, fit_shots
from lookkit.match.patches import Patches
from tests.match import simulation as sim
from tests.match.trials import chart_trial, shot

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
    found = only(quality.glare("B", trial.fit, np.ones((3, 24), dtype=bool)), "glared")
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
    found = quality.edition_mismatch("C", "1976", charts.edition("2014-11-after").scene, ALL)
    assert only(found, "edition").figure > 0.5
    assert quality.edition_mismatch("C", "2005", SCENE, ALL) == []
