"""The demo film against the world outside lookkit: colour-science decodes what it wrote."""

from __future__ import annotations

import hashlib
import importlib
import json
import sys
import warnings
from pathlib import Path

import numpy as np
import OpenImageIO as oiio
import pytest
from scipy.stats import spearmanr

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
sys.path.insert(0, str(EXAMPLES))

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    colour = pytest.importorskip("colour", reason="the demo needs colour-science")

from pottery import cameras, frames, spectra  # noqa: E402

WIDTH = 160
LUMA = np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709-6, 3.2
SETUPS = ("kiln", "flats", "blue-hour")


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    """All frames, small, and their manifest."""
    folder = tmp_path_factory.mktemp("film")
    frames.render(folder, WIDTH, tell=lambda _: None)
    return folder, json.loads((folder / "scenes.json").read_text(encoding="utf-8"))


def entry(film, name):
    return next(f for f in film[1]["files"] if Path(f["file"]).stem == name)


def codes(film, name):
    """Return integer code values at the file's own depth."""
    facts = entry(film, name)
    pixels = oiio.ImageBuf(str(film[0] / facts["file"])).get_pixels(oiio.UINT16)
    top = 2 ** facts["bits"] - 1
    return np.round(pixels / 65535.0 * top).astype(int)


def ap0(code):
    """LogC4 to ACES2065-1 by colour-science (ARRI LogC4 specification, 2022)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        wide = colour.models.log_decoding_ARRILogC4(code / 1023.0)
        spaces = colour.RGB_COLOURSPACES
        matrix = colour.matrix_RGB_to_RGB(
            spaces["ARRI Wide Gamut 4"], spaces["ACES2065-1"], "CAT02"
        )
    return wide @ matrix.T


def patches(film, name):
    """Return the mean code values of the middles of the 24 patches."""
    facts, picture = entry(film, name), codes(film, name)
    centres = np.array(facts["chart"]["patches"])
    reach = max(1, int(0.2 * np.hypot(*(centres[1] - centres[0]))))
    values = []
    for x, y in centres.astype(int):
        values.append(picture[y - reach : y + reach + 1, x - reach : x + reach + 1].mean((0, 1)))
    return np.array(values)


def test_every_file_of_the_manifest_is_there_with_its_size_and_depth(film):
    folder, manifest = film
    assert len(manifest["files"]) == 9 + 18
    for facts in manifest["files"]:
        spec = oiio.ImageBuf(str(folder / facts["file"])).spec()
        depth = spec.getattribute("oiio:BitsPerSample") or 8 * spec.format.size()
        assert (spec.width, spec.height, depth) == (facts["width"], facts["height"], facts["bits"])
    assert {f.name for f in folder.iterdir()} == {
        "scenes.json",
        *(f["file"] for f in manifest["files"]),
    }


def test_the_same_call_gives_the_same_bytes(film, tmp_path):
    again = ("flats_A", "flats_B", "flats_C", "flats_chart_B_plus2")
    frames.render(tmp_path, WIDTH, only=again, tell=lambda _: None)
    made = [f for f in tmp_path.iterdir() if f.suffix != ".json"]
    assert sorted(f.stem for f in made) == sorted(again)
    for file in made:
        first, second = (
            hashlib.sha256(f.read_bytes()).hexdigest() for f in (film[0] / file.name, file)
        )
        assert first == second, file.name


def test_the_flats_span_twelve_stops_in_the_scene_and_in_camera_a(film):
    # A back-lit sunset spans 12+ stops: common practice, no source.
    assert film[1]["set_ups"]["flats"]["stops"] >= 12
    luminance = ap0(codes(film, "flats_A"))[..., 1]
    shade = np.percentile(luminance, 0.5)
    x, y = np.array(entry(film, "flats_A")["samples"]["sun"]).astype(int)
    assert shade > 0
    assert np.log2(luminance[y, x] / shade) >= 12


def test_the_red_tube_lies_outside_bt709_and_its_codes_are_sound(film):
    tube = spectra.red_tube()
    x, y, z = tube @ spectra.observer()
    assert colour.XYZ_to_sRGB([x, y, z], apply_cctf_encoding=False).min() < 0  # BT.709 primaries
    peak = spectra.WAVELENGTHS[np.argmax(tube)]
    half = spectra.WAVELENGTHS[tube > tube.max() / 2]
    assert abs(peak - 630) <= 5
    assert 10 <= np.ptp(half) <= 20
    picture = codes(film, "blue-hour_A")
    u, v = np.array(entry(film, "blue-hour_A")["samples"]["tube"]).astype(int)
    value = ap0(picture[v, u])
    assert np.isfinite(value).all()
    assert value[0] > 4  # far above white (1.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        linear = (
            value
            @ colour.matrix_RGB_to_RGB(
                colour.RGB_COLOURSPACES["ACES2065-1"],
                colour.RGB_COLOURSPACES["ITU-R BT.709"],
                "CAT02",
            ).T
        )
    assert linear.min() < 0 < linear[0]
    assert picture.max() < 1023


@pytest.mark.parametrize("setup", SETUPS)
@pytest.mark.parametrize("step", ["minus2", "zero", "plus2"])
def test_grey_of_camera_a_decodes_to_its_reflectance_times_exposure(film, setup, step):
    # Neutral 5 of the average edition: Y = .1912 (BabelColor average, by colour-science).
    name = f"{setup}_chart_A_{step}"
    grey = ap0(patches(film, name)[21])[1]
    assert grey == pytest.approx(0.1912 * 2 ** entry(film, name)["exposure"], rel=0.06)


@pytest.mark.parametrize("setup", SETUPS)
def test_grey_in_the_scene_has_the_exposure_of_the_manifest(film, setup):
    facts, picture = entry(film, f"{setup}_A"), codes(film, f"{setup}_A")
    x, y = np.array(facts["samples"]["grey 4"]).astype(int)
    off = np.log2(ap0(picture[y, x])[1] / 0.1912) - facts["exposure"]
    assert abs(off) < 0.3


@pytest.mark.parametrize("setup", SETUPS)
def test_camera_b_keeps_super_white_in_eight_bit_legal_range(film, setup):
    picture = codes(film, f"{setup}_B")
    assert picture.min() >= 16
    assert 235 < picture.max() <= 255
    # BT.709 OETF (ITU-R BT.709-6, 1.2): 18 % grey, .3 stop brighter, white balance apart
    grey = patches(film, f"{setup}_chart_B_zero")[21] @ LUMA
    level = 1.099 * (0.1912 * 2**0.3) ** 0.45 - 0.099
    assert grey == pytest.approx(16 + 219 * level, abs=12)


@pytest.mark.parametrize("camera", ["A", "B"])
@pytest.mark.parametrize("setup", SETUPS)
def test_chart_positions_point_at_the_patches_in_order(film, setup, camera):
    source = {"kiln": "lamp", "flats": "sky", "blue-hour": "dusk"}[setup]
    light = importlib.import_module(f"pottery.{frames.SETUPS[setup]}").bench().sources[source]
    reflectances = spectra.reflectances()
    weights = light * spectra.observer()[:, 1]
    luminous = [reflectances[n] @ weights for n in spectra.chart_names()]
    name = f"{setup}_chart_{camera}_zero"
    seen = patches(film, name)
    bright = ap0(seen)[:, 1] if camera == "A" else seen @ LUMA
    assert spearmanr(bright, luminous).statistic > 0.9
    grid = bright.reshape(4, 6)
    for turned in (grid[::-1, ::-1], grid[:, ::-1], grid[::-1]):
        assert spearmanr(turned.ravel(), luminous).statistic < 0.6
    corners = np.array(entry(film, name)["chart"]["corners"])
    centres = np.array(entry(film, name)["chart"]["patches"])
    for corner, patch in zip(corners, (0, 5, 23, 18), strict=True):
        nearest = np.argmin(np.hypot(*(centres - corner).T))
        assert nearest == patch


def test_neutrals_stay_neutral_through_each_colour_matrix():
    from pottery import flats

    for camera in "ABC":
        matrix = cameras.colour_matrix(flats.bench(), camera)
        assert matrix @ np.ones(3) == pytest.approx(np.ones(3), abs=1e-12)


def test_the_spectral_rows_equal_the_integrals_of_colour_science():
    # Light skin under the tungsten lamp: XYZ by colour-science's integration.
    from pottery import kiln

    _, reflected = kiln.bench().tables()
    ours = reflected["lamp"](("light skin",))[0, 9:]
    shape = colour.SpectralShape(380, 780, 5)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        reference = colour.sd_to_XYZ(
            colour.SDS_COLOURCHECKERS["BabelColor Average"]["light skin"].copy().align(shape),
            illuminant=colour.sd_blackbody(3000, shape),
            method="Integration",
            shape=shape,
        )
    assert ours == pytest.approx(reference / 100, rel=2e-4)


def test_a_name_that_picks_no_frame_is_refused(tmp_path):
    with pytest.raises(ValueError, match="no such frame"):
        frames.render(tmp_path, WIDTH, only=("kilm",), tell=lambda _: None)
    assert not list(tmp_path.iterdir())
