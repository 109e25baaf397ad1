"""The table of encodings: what its entries say, and how they are found."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lookkit.errors import InputError, UnknownNameError
from lookkit.spaces.encodings import encoding, encodings
from lookkit.spaces.outputs import outputs
from lookkit.spaces.read import read_encodings
from tests.spaces.reference import CUBE
from tests.spaces.test_curves import SHARED

LISTED = """
LogC4 · S-Log2/S-Gamut · S-Log3/S-Gamut3 · S-Log3/S-Gamut3.Cine · V-Log · V-Log/V-Gamut
Canon Log · Canon Log 2 · Canon Log 3 · Log3G10 · F-Log · F-Log2 · F-Log2 C · N-Log · D-Log
BMDFilm Gen 5 · Apple Log · ACEScc · ACEScct · ACES2065-1 · ACEScg · ADX10 · ADX16
Printing density, white 685 · BT.709 camera · BT.2020 camera · HLG camera · PQ camera · sRGB
Display P3 · Adobe RGB · ProPhoto RGB · Linear BT.709 · Linear BT.2020 · Linear P3-D65 · Linear AP0
Linear AP1 · S-Log · S-Log3/S-Gamut3, Venice · S-Log3/S-Gamut3.Cine, Venice · L-Log · Mi-Log
Protune · REDLog · REDLogFilm · Log3G12 · Panalog · ViperLog · Filmic Pro 6 · ACESproxy
Apple Log/Apple Wide Gamut
""".replace("\n", " · ").split(" · ")

every_encoding = pytest.mark.parametrize("name", encodings())


@pytest.mark.parametrize("name", [name for name in LISTED if name])
def test_every_promised_encoding_is_there(name):
    assert encoding(name).decode(np.full(3, 0.5)).shape == (3,)


@every_encoding
def test_every_encoding_states_range_depth_source_and_evidence(name):
    one = encodings()[name]
    assert one.name == name
    assert one.native_range in ("full", "legal")
    assert one.bits in (8, 10, 12, 16)
    assert len(one.source) > 5
    assert set(one.evidence.split(", ")) <= {"V", "V2", "M", "C"}


def test_no_name_means_two_encodings():
    names = [
        also.casefold()
        for one in encodings().values()
        for also in (one.name, *one.aliases, *filter(None, [one.interop_id]))
    ]
    assert len(names) == len(set(names))
    shown = [also.casefold() for one in outputs().values() for also in (one.name, *one.aliases)]
    assert len(shown) == len(set(shown))


@every_encoding
def test_every_name_finds_its_encoding_in_any_case(name):
    one = encodings()[name]
    for also in (one.name, *one.aliases, *filter(None, [one.interop_id])):
        assert encoding(also.upper()) is one
        assert encoding(f" {also.lower()} ") is one


@every_encoding
def test_neutral_stays_neutral(name):
    one = encoding(name)
    code = np.repeat(np.linspace(0, 0.9, 50)[:, None], 3, axis=1)
    if name.startswith("ADX"):
        code = code * 0.3  # Densities to 2.4; beyond, light is 1e9 and more.
    scene = one.decode(code)
    # The published matrix from the exposure of ADX has five decimals; a row sums to 0.99999.
    apart = 2e-5 if name.startswith("ADX") else 2e-9
    assert np.abs(scene - scene.mean(axis=1, keepdims=True)).max() <= apart * scene.max()
    assert np.ptp(one.encode(np.full(3, 0.18))) <= apart


@every_encoding
@given(
    scene=arrays(
        np.float64, (4, 3), elements=st.floats(-0.0625, 60, allow_subnormal=False, width=32)
    )
)
def test_scenes_come_back_negatives_included(name, scene):
    one = encoding(name)
    back = one.decode(one.encode(scene))
    # Overlapping pieces of a published formula share codes.
    floor = 1.7 * SHARED.get(name, 6e-7)
    assert np.abs(back - scene).max() <= floor + 1e-9 * np.abs(scene).max()


@every_encoding
@given(pixel=arrays(np.float64, (3,), elements=st.floats(allow_nan=False, allow_infinity=False)))
def test_any_finite_pixel_stays_finite(name, pixel):
    one = encoding(name)
    assert np.isfinite(one.decode(pixel)).all()
    assert np.isfinite(one.encode(pixel)).all()


@every_encoding
def test_brighter_codes_are_brighter_light(name):
    """The luminance of greys rises with code."""
    code = np.repeat(np.linspace(-0.1, 1.1, 2401)[:, None], 3, axis=1)
    light = encoding(name).decode(code)[:, 1]
    assert (np.diff(light) >= -1e-12 * np.abs(light[1:])).all()


def test_super_white_of_a_bt709_camera_is_carried_to_1_09():
    """10-bit 1019, the highest video code, is signal 1.0902 (ITU-R BT.709 item 5.4, M)."""
    camera = encoding("BT.709 camera")
    top = (1019 - 64) / 876
    assert top == pytest.approx(1.0902, abs=5e-5)
    light = camera.decode(np.full(3, 1019 / 1023))
    assert light == pytest.approx(((top + 0.099) / 1.099) ** (1 / 0.45), rel=1e-9)
    assert camera.encode(light) == pytest.approx(1019 / 1023, abs=1e-9)


def test_sub_black_of_a_bt709_camera_is_carried():
    light = encoding("BT.709 camera").decode(np.full(3, 16 / 1023))
    assert light == pytest.approx((16 - 64) / 876 / 4.5, rel=1e-9)


def test_a_file_in_another_range_gives_the_same_light():
    log = encoding("LogC4")
    scene = np.array([0.01, 0.18, 3.0])
    full = log.encode(scene)
    legal = log.encode(scene, range="legal", bits=10)
    assert legal * 1023 == pytest.approx(64 + 876 * full, abs=1e-10)
    assert log.decode(legal, range="legal", bits=10) == pytest.approx(scene, abs=1e-12)


def test_reading_legal_codes_as_full_is_wrong_by_what_is_known():
    """10-bit 64 read in full range: 0.062561 of signal instead of 0 (arithmetic)."""
    camera = encoding("BT.709 camera")
    right = camera.decode(np.full(3, 64 / 1023))
    wrong = camera.decode(np.full(3, 64 / 1023), range="full")
    assert right == pytest.approx(0, abs=1e-15)
    assert wrong == pytest.approx(0.062561 / 4.5, abs=2e-7)


@pytest.mark.parametrize("name", [n for n, one in encodings().items() if one.scene_linear])
def test_scene_linear_has_no_legal_range(name):
    with pytest.raises(InputError, match="scene-linear"):
        encoding(name).decode(np.zeros(3), range="legal")
    with pytest.raises(InputError, match="scene-linear"):
        encoding(name).lower(range="legal")


def test_what_is_log_and_what_is_linear():
    logs = {name for name, one in encodings().items() if one.is_log}
    assert {"LogC4", "N-Log", "ADX10", "ACEScc"} <= logs
    assert not logs & {"sRGB", "HLG camera", "BT.709 camera", "ACEScg"}
    linear = {name for name, one in encodings().items() if one.scene_linear}
    assert linear == {
        "ACES2065-1",
        "ACEScg",
        "Linear BT.709",
        "Linear BT.2020",
        "Linear P3-D65",
    }


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("LogC5", "LogC4"),
        ("S-Log3/S-Gamut3.Cin", "S-Log3/S-Gamut3.Cine"),
        ("Vlog", "V-Log"),
        ("Canon Log2", "Canon Log 2"),
        ("srgb!", "sRGB"),
    ],
)
def test_an_unknown_name_is_told_the_nearest(name, expected):
    with pytest.raises(UnknownNameError) as raised:
        encoding(name)
    assert f"did you mean {expected!r}" in str(raised.value)


def test_an_exposure_index_that_is_not_published_is_told_those_that_are():
    with pytest.raises(UnknownNameError) as raised:
        encoding("LogC3 EI3200")
    message = str(raised.value)
    assert "unknown exposure index 'LogC3 EI3200'" in message
    for index in (160, 200, 250, 320, 400, 500, 640, 800, 1000, 1280, 1600):
        assert f"LogC3 EI{index}" in message
    assert "LogC4" not in message


def test_own_encodings_come_first():
    own = read_encodings({"encodings": {"LogC4": {"curve": "linear", "primaries": "AP1"}}})
    assert encoding("logc4", own).scene_linear
    assert not encoding("logc4").scene_linear
    with pytest.raises(UnknownNameError, match="Camera Q"):
        encoding("Camera Q", own)


def test_pixels_of_another_shape_are_refused():
    with pytest.raises(ValueError, match=r"\(\.\.\., 3\)"):
        encoding("LogC4").decode(np.zeros((4, 4)))


def test_pictures_keep_their_shape():
    picture = CUBE[: 4 * 6].reshape(4, 6, 3)
    assert encoding("S-Log3/S-Gamut3").decode(picture).shape == (4, 6, 3)
