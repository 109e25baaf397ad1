"""The whole job on filmed frames, and everything that must be refused."""

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.match.frames import Exposure, Footage, read_exposure
from lookkit.match.make import match_charts
from lookkit.match.report import patches_picture, report_dict, summary, write_json, write_page
from lookkit.spaces.encodings import encoding
from tests.match import filming as film
from tests.match import simulation as sim
from tests.match.trials import scene_of

pytest.importorskip("colour", reason="the spectra come from colour-science, an optional extra")
pytest.importorskip("cv2", reason="frames are drawn with opencv, of the optional extra 'match'")

CAMERA_A, CAMERA_B = sim.pair(sim.TYPICAL, 0)
LOG = encoding("LogC4")
A_PICTURE = film.frame_a(CAMERA_A, 0.0, np.random.default_rng(0))


def footage_a(picture=A_PICTURE, **how):
    exposure = Exposure(picture, files=("a.dpx",), sha256="a")
    given = {"encoding": LOG, "corners": film.A_CORNERS} | how
    return Footage("A", (exposure,), **given)


def footage_b(stops=(0.0,), called=None, corners=film.B_CORNERS, camera=CAMERA_B, **how):
    rng = np.random.default_rng(1)
    exposures = tuple(
        Exposure(
            film.frame_b(camera, each, rng, **how), name, (f"b{name:+g}.mov",), f"b{name}",
            8, "legal",
        )
        for each, name in zip(stops, called or stops, strict=True)
    )  # fmt: skip
    return Footage("B", exposures, corners=corners)


@pytest.fixture(scope="module")
def made():
    """A bracket, with the charts found in every frame."""
    return match_charts(
        footage_a(corners=None), footage_b((-2.0, 0.0, 2.0), corners=None), light="window"
    )


def test_filmed_frames_are_matched_on_colours_that_were_not_filmed(made):
    for stops, most in ((0.0, 1.6), (-2.0, 2.0), (2.0, 1.8)):
        codes = CAMERA_B.exact(sim.held_out_spectra(), stops)
        landed = scene_of(made.match, codes) * 2.0**-stops
        assert sim.difference(landed, CAMERA_A.truth(sim.held_out_spectra())).mean() <= most


def test_the_match_records_what_it_was_made_from(made):
    match = made.file.lights[0]
    assert (made.file.camera, made.file.reference, match.light) == ("B", "A", "window")
    assert (made.file.encoding, made.file.range, made.file.bits) == ("unknown", "legal", 8)
    sources = [(one.camera, one.stops, one.files) for one in match.provenance.sources]
    assert sources == [
        ("A", 0.0, ("a.dpx",)),
        ("B", -2.0, ("b-2.mov",)),
        ("B", 0.0, ("b+0.mov",)),
        ("B", 2.0, ("b+2.mov",)),
    ]
    low, high = match.statistics.covers
    assert low < -4.0
    assert high > 3.0
    assert abs(match.statistics.flare) < 0.5


def test_the_upside_down_chart_is_read_the_right_way_round(made):
    corners = made.camera[1].chart.corners
    assert np.linalg.norm(corners - film.B_CORNERS, axis=1).max() < 4.0


def test_the_report_holds_what_a_person_must_know(made, tmp_path):
    text = summary(made)
    assert "left out" in text
    assert "scenes under another light than 'window'" in text
    assert "expect, on colours that are not the chart's" in text
    assert "next time: film one frame of the scene with both cameras" in text
    data = report_dict(made)
    assert len(data["patches"]) == 24
    assert data["before"]["mean"] > 2.5 * data["statistics"]["chart"]["mean"]
    assert data["must_not_be_used_for"]
    promised = data["statistics"]["promise"]
    assert promised["mean"]["about"] < promised["mean"]["up-to"]
    assert set(promised) == {"mean", "p95", "skin"}
    write_json(made, tmp_path / "b.json")
    write_json(made, tmp_path / "again.json")
    assert (tmp_path / "b.json").read_bytes() == (tmp_path / "again.json").read_bytes()


def test_the_page_of_pictures_is_drawn(made, tmp_path):
    pytest.importorskip("matplotlib", reason="the page needs the optional extra 'pictures'")
    from lookkit.media.stills import read_still

    write_page(made, tmp_path / "b.png")
    pixels = read_still(tmp_path / "b.png").pixels
    assert pixels.shape[0] > 700
    assert pixels.std() > 0.1


def test_the_sampled_squares_are_drawn_where_the_chart_is(made):
    reading = made.camera[1]
    shown = patches_picture(reading.exposure.picture, reading.chart)
    plain = patches_picture(np.zeros_like(reading.exposure.picture), reading.chart)
    drawn = np.argwhere(plain.max(axis=-1) > 0.5)[:, ::-1]
    low, high = film.B_CORNERS.min(axis=0), film.B_CORNERS.max(axis=0)
    assert len(drawn) > 500
    assert (drawn >= low).all()
    assert (drawn <= high).all()
    assert shown.min() >= 0.0
    assert shown.max() <= 1.0


def test_a_published_chart_stands_in_for_the_main_camera():
    made = match_charts("2005", Footage("A", (Exposure(A_PICTURE),), LOG, corners=film.A_CORNERS))
    assert made.file.reference == "chart 2005"
    assert made.file.lights[0].method == "published chart"
    assert made.match.steps[0].takes == "scene"
    # Camera A's own matrix is good, so little is left to do; its chart is Ohta's own.
    assert made.fit.chart.mean < 2.5


@pytest.mark.parametrize("edition", ["2005", "2014-11-after"])
def test_a_real_scene_linear_chart_needs_only_a_matrix_to_its_published_values(
    edition, shared_data
):
    exposure = read_exposure([shared_data / "exr/Carrots.exr"])
    made = match_charts(edition, Footage("A", (exposure,), encoding("ACES2065-1")), stage="never")
    assert made.fit.chart.mean <= 2.0
    assert made.fit.chart.mean < made.before_errors.mean - 0.5
    assert made.file.lights[0].curve is None


@pytest.mark.parametrize("rise", [0.5, -0.3])
def test_light_that_falls_off_over_the_chart_is_told_and_allowed_for(rise):
    made = match_charts(
        footage_a(), footage_b((-2.0, 0.0, 2.0), unevenness=film.ramp(rise)), stage="never"
    )
    (shaded,) = (one for one in made.findings if one.check == "shaded")
    # The ramp runs over the drawing with its frame, 433 pixels; the chart takes 405.
    assert shaded.figure == pytest.approx(abs(rise) * 405 / 433, abs=0.06)
    codes = CAMERA_B.exact(sim.held_out_spectra())
    truth = CAMERA_A.truth(sim.held_out_spectra())
    assert sim.difference(scene_of(made.match, codes), truth).mean() <= 1.6


def test_a_sixth_of_the_chart_under_glare_does_not_spoil_the_match():
    made = match_charts(
        footage_a(), footage_b(glare={2: 0.1, 8: 0.2, 13: 0.15, 20: 0.25}), stage="never"
    )
    assert any(one.check == "glared" for one in made.findings)
    codes = CAMERA_B.exact(sim.held_out_spectra())
    truth = CAMERA_A.truth(sim.held_out_spectra())
    assert sim.difference(scene_of(made.match, codes), truth).mean() <= 1.9


def test_a_camera_is_not_matched_to_itself():
    with pytest.raises(InputError, match="cannot be matched to itself"):
        match_charts(footage_a(), Footage("A", (Exposure(A_PICTURE),), LOG))
    twin = Footage("B", (Exposure(A_PICTURE, files=("a.dpx",)),), LOG)
    with pytest.raises(InputError, match=r"a\.dpx is given for camera A and for camera B"):
        match_charts(footage_a(), twin)


def test_the_main_camera_must_have_a_known_encoding():
    with pytest.raises(InputError, match="main camera's encoding must be known"):
        match_charts(footage_a(encoding=None), footage_b())


def test_an_exposure_series_in_the_wrong_order_is_refused():
    with pytest.raises(InputError, match=r"wrong order: b\+0\.mov at \+0 stops should be brighter"):
        match_charts(footage_a(), footage_b((2.0, 0.0, -2.0), (-2.0, 0.0, 2.0)))


def test_black_frames_are_refused():
    picture = np.random.default_rng(0).uniform(0.0627, 0.0628, size=A_PICTURE.shape)
    black = Footage("B", (Exposure(picture, bits=8, range="legal"),))
    with pytest.raises(InputError, match=r"camera B.*one flat colour"):
        match_charts(footage_a(), black)
    dark = footage_b((-9.5,))
    with pytest.raises(InputError, match=r"frames are black|not the chart"):
        match_charts(footage_a(), dark)


def test_a_chart_that_clips_all_over_is_refused():
    with pytest.raises(InputError, match=r"usable|not the chart"):
        match_charts(footage_a(), footage_b((5.0,)))


def test_a_picture_without_a_chart_is_refused_with_what_to_do():
    pytest.importorskip("colour_checker_detection", reason="needs the optional extra 'match'")
    empty = np.random.default_rng(0).uniform(0.3, 0.6, size=A_PICTURE.shape)
    with pytest.raises(InputError, match=r"camera B: no chart found.*four corners"):
        match_charts(footage_a(), Footage("B", (Exposure(empty, bits=8, range="legal"),)))


def test_wrong_corners_are_refused():
    with pytest.raises(InputError, match=r"camera B.*is not the chart"):
        match_charts(footage_a(), footage_b(corners=film.B_CORNERS * 0.4))


def test_charts_in_different_light_get_a_warning_that_says_so():
    # A red LED, roughly: the published spectra have none this narrow.
    wavelength = np.arange(380.0, 785.0, 5.0)
    red = np.exp(-0.5 * ((wavelength - 625.0) / 12.0) ** 2) + 0.004
    under_red = sim.CameraB(sim.TYPICAL[1], red, 0)
    made = match_charts(footage_a(), footage_b(camera=under_red), stage="never")
    (warning,) = (one for one in made.findings if one.check == "light")
    assert warning.figure == made.fit.cross.mean > 3.0
    assert "were both charts in the same light" in made.file.lights[0].statistics.warnings[-1]


def test_charts_that_cannot_be_brought_together_are_refused():
    other = footage_b()
    mixed = other.exposures[0].picture[..., [1, 2, 0]]
    shuffled = Footage("B", (Exposure(mixed, bits=8, range="legal"),), corners=film.B_CORNERS)
    with pytest.raises(InputError, match=r"cannot be brought together|is not the chart"):
        match_charts(footage_a(), shuffled)


def test_a_camera_that_clips_below_the_top_is_told_and_its_clipped_patches_are_left_out():
    low = sim.CameraB(
        sim.TYPICAL[1], CAMERA_A.illuminant, 0, curve=lambda signal: np.minimum(signal, 0.85)
    )
    made = match_charts(footage_a(), footage_b((-2.0, 0.0, 2.0), camera=low))
    told = [one for one in made.findings if one.check == "clipped" and one.unit == "code"]
    assert told[0].figure == pytest.approx(16 + 219 * 0.85, abs=2.0)
    assert not any(one.check == "glared" for one in made.findings)
    held = sim.held_out_spectra()
    codes = low.exact(held)
    fair = codes.max(axis=1) < (16 + 219 * 0.849) / 255
    errors = sim.difference(scene_of(made.match, codes[fair]), CAMERA_A.truth(held[fair]))
    assert errors.mean() <= 1.6


def test_pixels_that_are_no_numbers_are_no_light_and_are_told():
    exposure = footage_b().exposures[0]
    picture = exposure.picture.copy()
    picture[200:206, 300:310] = np.nan
    broken = Footage("B", (Exposure(picture, bits=8, range="legal"),), corners=film.B_CORNERS)
    made, whole = (match_charts(footage_a(), one) for one in (broken, footage_b()))
    assert any("60 pixels are no numbers" in one.words for one in made.findings)
    codes = CAMERA_B.exact(sim.held_out_spectra())
    apart = sim.difference(scene_of(made.match, codes), scene_of(whole.match, codes))
    assert apart.max() < 0.3
