"""Measures of finished pictures: pictures whose answer is known."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from lookkit.cli.measure import command
from lookkit.errors import InputError
from lookkit.media.measure import CHROMA_SPAN, Meter, measure_file, measure_signal, percent
from lookkit.media.stills import read_still, write_still
from lookkit.spaces.icc import profile_of
from lookkit.spaces.outputs import output
from tests.media.grading import grade
from tests.media.movies import flat, made_look, write_movie

REC709 = output("Rec.709 BT.1886")


def solid(rgb, height=40, width=256):
    return np.broadcast_to(np.array(rgb, dtype=np.float32), (height, width, 3)).copy()


def test_a_ramp_is_its_own_distribution():
    ramp = np.linspace(0, 1, 1280, dtype=np.float32)[None, :, None].repeat(8, 0).repeat(3, 2)
    found = measure_signal(ramp, REC709)
    # Each column of the measure holds ten columns of the ramp; the median is their middle.
    middles = (np.arange(128) + 0.5) / 128 * 100
    assert np.abs(found.columns[3] - middles).max() < 0.5
    assert found.columns[0][0] == pytest.approx(0.0, abs=1e-4)
    assert found.columns[-1][-1] == pytest.approx(100.0, abs=1e-4)
    assert found.excursions == 0.0


def test_quantiles_are_those_of_numpy():
    random = np.random.default_rng(3)
    grey = random.normal(0.5, 0.15, (400, 128)).astype(np.float32)
    meter = Meter(REC709)
    meter.add(grey[..., None].repeat(3, 2))
    wanted = np.quantile(grey, [0.05, 0.25, 0.5, 0.75, 0.95], axis=0, method="inverted_cdf") * 100
    assert np.abs(meter.measures().columns[1:-1] - wanted).max() < 0.06


def test_excursions_are_counted_by_component():
    picture = solid((0.5, 0.5, 0.5))
    picture[:10, :, 0] = -0.02  # a quarter of the rows, red under black
    picture[20:24, :, 2] = 1.2  # a tenth, blue far above white
    meter = Meter(REC709)
    meter.add(picture)
    found = meter.measures()
    assert found.below == pytest.approx({"R'": 0.25, "G'": 0.0, "B'": 0.0, "Y'": 0.0})
    assert found.above == pytest.approx({"R'": 0.0, "G'": 0.0, "B'": 0.1, "Y'": 0.0})
    assert found.beyond == pytest.approx(0.1)
    assert found.reserved is None


def test_light_outside_smaller_gamuts_is_counted():
    from lookkit.spaces.primaries import BT709, P3_D65, between

    pq = output("Rec.2100 PQ 1000")
    colours = {"inside": [0.2, 0.1, 0.1]}
    # BT.709 red is inside BT.709; P3 red lies outside it; BT.2020 green outside both.
    light = np.stack([
        np.array(colours["inside"]) @ between(BT709, pq.display, "none").T,
        np.array([1.0, 0.0, 0.0]) @ between(P3_D65, pq.display, "none").T,
        np.array([0.0, 1.0, 0.0]),
        np.array([0.3, 0.3, 0.3]),
    ])  # fmt: skip
    signal = pq.curve.encode(np.maximum(light, 0.0))[:, None].repeat(16, 1)
    found = measure_signal(signal.astype(np.float32), pq)
    assert found.outside == pytest.approx({"BT.709": 0.5, "P3-D65": 0.25})
    assert measure_signal(signal.astype(np.float32), REC709).outside == {}


def test_chromaticities_of_primaries_fall_where_the_cie_puts_them():
    # u', v' of BT.709 red and D65 white from their x, y (ISO/CIE 11664-5).
    for rgb, (x, y) in (((1, 0, 0), (0.64, 0.33)), ((1, 1, 1), (0.3127, 0.3290))):
        found = measure_signal(solid(rgb), REC709).chroma
        v, u = np.argwhere(found)[0]
        assert found[v, u] == found.sum() == 40 * 256
        scale = CHROMA_SPAN / len(found)
        bottom = -2 * x + 12 * y + 3
        assert (u + 0.5) * scale == pytest.approx(4 * x / bottom, abs=scale)
        assert (v + 0.5) * scale == pytest.approx(9 * y / bottom, abs=scale)


def test_clips_are_measured_in_the_codes_of_their_file(tmp_path):
    path = tmp_path / "bars.mkv"
    # 10-bit legal: 940 is white, 1000 above it, 1019 the last code that is not reserved.
    frames = [flat((940, 512, 512)), flat((1000, 512, 512)), flat((1021, 512, 512)),
              flat((64, 512, 512))]  # fmt: skip
    write_movie(path, frames)
    found = measure_file(path, REC709)
    assert found.frames == 4
    assert found.above["Y'"] == pytest.approx(0.5)
    assert found.below["Y'"] == 0.0
    assert found.reserved == pytest.approx(0.25)
    # (1000 - 64) / 876 is 106.8 %, beyond 105 %.
    assert found.beyond == pytest.approx(0.5)
    assert found.columns[-1].max() == pytest.approx((1021 - 64) / 876 * 100, abs=0.01)
    assert measure_file(path, REC709, every=3).frames == 2
    assert measure_file(path, REC709, signal_range="full").above["Y'"] == 0.0


def test_a_legal_still_is_read_in_its_range(tmp_path):
    path = tmp_path / "still.tif"
    write_still(path, solid((235 / 255,) * 3), bits=8)
    assert measure_file(path, REC709, signal_range="legal").columns[3, 0] == pytest.approx(
        100, abs=0.1
    )
    assert measure_file(path, REC709).columns[3, 0] == pytest.approx(23500 / 255, abs=0.1)


def test_nothing_cannot_be_measured():
    with pytest.raises(InputError, match="no picture"):
        Meter(REC709).measures()


def test_shares_are_told_in_words():
    assert [percent(v) for v in (0.0, 1e-6, 0.0123, 0.5)] == ["none", "under 0.001 %", "1.2 %",
                                                              "50 %"]  # fmt: skip


def test_the_command_counts_and_cautions(tmp_path):
    path = tmp_path / "a.tif"
    write_still(path, solid((0.5, 0.5, 0.5)))
    page = tmp_path / "page.html"
    done = CliRunner().invoke(command, [str(path), "--output", "Rec.709", "-o", str(page)])
    assert done.exit_code == 0, done.output
    assert "below black: R' none" in done.output
    assert "delivery specification" in done.output
    assert "a.tif" in page.read_text()
    assert "delivery specification" in page.read_text()
    told = CliRunner().invoke(command, [str(path), "--output", "Rec.709", "--json"])
    assert json.loads(told.output)[str(path)]["above_white"]["Y'"] == 0.0
    missing = CliRunner().invoke(command, [str(path)])
    assert missing.exit_code == 2
    assert "--output" in missing.output


# White of 16 bits is 235 x 256 = 60160 (ITU-R BT.709-6, 4.6: quantisation in units of 2^(n-8)).
@pytest.mark.parametrize(
    ("name", "bits"),
    [("a.tif", 16), ("a.png", 16), ("a.tif", 8), ("a.dpx", 10), ("a.dpx", 12), ("a.exr", 32),
     ("a.jpg", 8)],
)  # fmt: skip
def test_levels_of_legal_stills_are_the_same_for_apply_and_measure(tmp_path, name, bits):
    text = (
        'schema = 1\nname = "Plain"\n[cameras.L]\nencoding = "Linear BT.709"\n'
        '[cameras.V]\nencoding = "BT.709 camera"\n'
        '[outputs.air]\noutput = "Rec.709 BT.1886"\nrange = "legal"\n'
    )
    look = made_look(text)
    source = tmp_path / "light.exr"
    write_still(source, solid((16.0,) * 3), bits=32)
    suffix = name.partition(".")[2]
    (done,) = grade(look, [source], camera="L", extension=suffix, bits=bits, into=tmp_path)
    assert not done.problem
    depth = 16 if bits == 32 else bits
    signal = look.evaluate(np.full((1, 3), 16.0), camera="L", output="air")[0, 0] * 1023
    level = (signal - 64) / 876
    code = (16 + 219 * level) * 2 ** (depth - 8)
    codes = read_still(done.target).pixels * (2**depth - 1)
    assert np.abs(codes - code).max() <= 0.51 + 0.2 * (bits == 32)
    target = look.graph.output("air")
    found = measure_file(done.target, target)
    assert found.columns[3, 0] == pytest.approx(100 * level, abs=51 / 219 / 2 ** (depth - 8))
    # And in again: a legal camera sees the same signal in whatever depth the file has.
    (again,) = grade(look, [done.target], camera="V", extension="tif", bits=16, into=tmp_path)
    seen = (codes[0, 0] / 2 ** (depth - 8) * 4) / 1023
    wanted = look.evaluate(seen[None], camera="V", output="air")[0] * 1023 * 64
    assert np.abs(read_still(again.target).pixels[0, 0] * 65535 - wanted).max() <= 2


def test_a_clean_file_of_ours_in_16_bits_has_nothing_above_white(tmp_path):
    path = tmp_path / "a.tif"
    legal = REC709.delivered("legal")
    write_still(path, solid((60160 / 65535,) * 3))
    assert measure_file(path, legal).excursions == 0.0
    write_still(path, solid((60218 / 65535,) * 3))
    assert measure_file(path, legal).excursions == 1.0


def test_pixels_that_are_not_finite_are_counted_and_left_out(tmp_path):
    picture = solid((0.5, 0.5, 0.5))
    picture[:4] = np.nan
    picture[4:8, :, 1] = np.inf
    path = tmp_path / "a.exr"
    write_still(path, picture, bits=32)
    found = measure_file(path, REC709)
    assert found.not_finite == pytest.approx(0.2)
    assert found.excursions == 0.0
    assert np.allclose(found.columns, 50.0, atol=0.05)
    done = CliRunner().invoke(command, [str(path), "--output", "Rec.709",
                                        "-o", str(tmp_path / "page.html")])  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "not finite, and not counted otherwise: 20 %" in done.output
    write_still(path, np.full((8, 8, 3), np.nan, np.float32), bits=32)
    with pytest.raises(InputError, match=r"a\.exr: not one pixel is finite"):
        measure_file(path, REC709)


# PQ codes of 10 bits, full range: 769 is 1000 cd/m2, 723 is 623 (ITU-R BT.2100-2, table 4).
def test_light_above_the_named_peak_of_pq_is_counted(tmp_path):
    pq = output("Rec.2100 PQ 1000")
    picture = solid((723 / 1023,) * 3)
    picture[:10] = 769 / 1023
    assert measure_signal(picture, pq).over_peak == 0.0
    assert measure_signal(picture, pq).brightest == pytest.approx(1000, rel=0.01)
    picture[:4, :, 2] = 846 / 1023  # 2000 cd/m2
    found = measure_signal(picture, pq)
    assert found.over_peak == pytest.approx(0.1)
    assert found.brightest == pytest.approx(2000, rel=0.01)
    assert "light above the output's peak: 10 %, the brightest 1992 cd" in found.to_text()
    assert measure_signal(picture, REC709).over_peak is None


def test_a_file_that_says_to_be_something_else_is_told(tmp_path):
    path = tmp_path / "pq.mkv"
    write_movie(path, [flat((500, 512, 512))] * 2, tags=(9, 16, 9))
    told = measure_file(path, REC709).warnings
    assert told[0].startswith(f"{path}: tagged BT.2020 primaries, PQ transfer, but measured as Rec")
    assert not measure_file(path, output("Rec.2100 PQ 1000")).warnings
    assert (
        "PQ transfer, but measured as Rec.2100 HLG"
        in (measure_file(path, output("Rec.2100 HLG 1000")).warnings[0])
    )
    write_movie(path, [flat((500, 512, 512))] * 2, tags=(6, 6, 6))
    assert measure_file(path, REC709).warnings  # other primaries
    write_movie(path, [flat((500, 512, 512))] * 2, tags=(2, 6, 6))
    assert not measure_file(path, REC709).warnings
    still = tmp_path / "a.png"
    write_still(still, solid((0.5,) * 3), interop_id="srgb_rec709_display")
    assert not measure_file(still, output("sRGB")).warnings
    assert "says that it is" in measure_file(still, output("Display P3")).warnings[0]


def test_a_profile_of_another_display_is_told(tmp_path):
    # ICC.1:2022: the profiles of the two displays that computers have.
    still = tmp_path / "a.tif"
    write_still(still, solid((0.5,) * 3), profile=profile_of(output("Display P3")))
    assert not measure_file(still, output("Display P3")).warnings
    for other in (output("sRGB"), REC709):
        (told,) = measure_file(still, other).warnings
        assert f"says that it is Display P3, but is measured as {other.name}" in told
    write_still(still, solid((0.5,) * 3))
    assert not measure_file(still, REC709).warnings


def test_the_page_shows_the_picture(tmp_path):
    path, page = tmp_path / "a.tif", tmp_path / "page.html"
    write_still(path, solid((0.5, 0.4, 0.3)))
    for name in ("Rec.709", "Rec.2100 PQ 1000", "DCDM"):
        done = CliRunner().invoke(command, [str(path), "--output", name, "-o", str(page)])
        assert done.exit_code == 0, done.output
        assert '<img src="data:image/jpeg;base64,' in page.read_text()
