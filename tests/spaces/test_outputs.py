"""Displays and delivery signals: levels, clipping, ranges."""

import numpy as np
import PyOpenColorIO as ocio
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lookkit.errors import InputError, UnknownNameError
from lookkit.spaces.outputs import output, outputs
from lookkit.spaces.primaries import BT709, BT2020, P3_D65

PROMISED = [
    "Rec.709 BT.1886",
    "sRGB",
    "P3-D65 2.6",
    "P3-DCI 2.6",
    "Display P3",
    "DCDM",
    *(f"Rec.2100 PQ {peak}{limit}" for peak in (500, 1000, 2000, 4000) for limit in ("", " P3")),
    "Rec.2100 HLG 1000",
    "Rec.2100 HLG 1000 P3",
]

every_output = pytest.mark.parametrize("name", outputs())


def test_every_promised_output_is_there():
    assert sorted(outputs()) == sorted(PROMISED)


@every_output
def test_every_output_states_range_depth_peak_and_source(name):
    one = output(name)
    assert one.range == "full"
    assert one.interface_range in ("full", "legal")
    assert one.bits in (8, 10, 12)
    assert one.peak >= one.reference_white
    assert len(one.source) > 5


@every_output
def test_hdr_has_its_paper_white_at_203_nits(name):
    """ITU-R BT.2408 (V2)."""
    one = output(name)
    assert one.is_hdr == name.startswith("Rec.2100")
    assert one.reference_white == (203 if one.is_hdr else 100)
    named = [int(word) for word in name.split() if word.isdigit()]
    if one.is_hdr:
        assert [one.peak] == named


@every_output
def test_black_is_the_lowest_and_the_peak_the_highest_signal(name):
    one = output(name)
    black, peak = one.encode(np.array([[0.0] * 3, [one.peak / 100] * 3]))
    assert black == pytest.approx(0, abs=1e-6)
    if "PQ" not in name and name != "DCDM":
        assert peak == pytest.approx(1, abs=1e-7)
    assert (peak <= 1).all()


@every_output
@given(fraction=arrays(np.float64, (4, 3), elements=st.floats(0, 1, allow_subnormal=False)))
def test_light_inside_the_limits_comes_back(name, fraction):
    one = output(name)
    light = fraction * one.peak / 100
    if one.limiting != one.display or "HLG" in name:
        # HLG has no signal for a single channel at the peak; the red corner of P3 lies a
        # thousandth outside BT.2020, and one of another white outside the projector's.
        light = 0.5 * light.mean(axis=1, keepdims=True) + 0.3 * light
    back = one.decode(one.encode(light))
    assert np.abs(back - light).max() <= 1e-6 * one.peak / 100


@every_output
@given(
    light=arrays(np.float64, (4, 3), elements=st.floats(allow_nan=False, allow_infinity=False)),
    excursions=st.booleans(),
)
def test_any_finite_light_gives_a_legal_signal(name, light, excursions):
    for delivered in ("full", "legal"):
        one = output(name).delivered(range=delivered, excursions=excursions)
        signal = one.encode(light)
        assert np.isfinite(signal).all()
        assert signal.min() >= 0
        assert signal.max() <= 1


@every_output
def test_more_light_is_more_signal(name):
    one = output(name)
    light = np.repeat(np.linspace(-0.1, 1.1 * one.peak / 100, 5001)[:, None], 3, axis=1)
    assert (np.diff(one.encode(light), axis=0) >= 0).all()


@pytest.mark.parametrize("bits", [8, 10, 12])
@pytest.mark.parametrize("name", ["Rec.709 BT.1886", "Rec.2100 HLG 1000"])
def test_a_legal_signal_stays_between_black_and_white(name, bits):
    one = output(name).delivered(range="legal", bits=bits)
    random = np.random.default_rng(1).uniform(-1, 2 * one.peak / 100, (2000, 3))
    integers = one.encode(random) * (2**bits - 1)
    step = 2 ** (bits - 8)
    assert integers.min() == pytest.approx(16 * step, abs=1e-9)
    assert integers.max() == pytest.approx(235 * step, abs=1e-9)


def test_excursions_keep_super_white_and_sub_black():
    """Legal range with excursions: 109 % lands on 1019, -6.8 % on 4 (BT.709 item 5.4, M)."""
    one = output("Rec.709 BT.1886").delivered(range="legal", bits=10, excursions=True)
    for integer in (4, 30, 64, 500, 940, 1000, 1019):
        signal = np.full(3, integer / 1023)
        assert one.encode(one.decode(signal)) == pytest.approx(signal, abs=1e-12)
    clipped = output("Rec.709 BT.1886").delivered(range="legal", bits=10)
    top = clipped.encode(one.decode(np.full(3, 1000 / 1023)))
    assert top * 1023 == pytest.approx(940, abs=1e-9)


def test_limiting_gamut_keeps_colours_inside():
    """A P3 corner in BT.2020 is the matrix of the two primaries, and never outside."""
    limited = output("Rec.2100 PQ 1000 P3")
    assert limited.limiting == P3_D65
    assert limited.display == BT2020
    corners = np.eye(3) * 10
    xyz = corners @ P3_D65.to_xyz().T
    expected = xyz @ np.linalg.inv(BT2020.to_xyz()).T
    # The red corner of P3 lies a thousandth outside BT.2020, where the signal ends.
    assert expected.min() == pytest.approx(-0.0121, abs=1e-4)
    found = limited.curve.decode(limited.encode(corners))
    assert found == pytest.approx(np.maximum(expected, 0), abs=1e-9)
    outside = np.array([20.0, -3.0, 5.0])
    assert limited.decode(limited.encode(outside)) == pytest.approx([10, 0, 5], abs=1e-9)


def test_theatrical_white_is_full_signal_in_its_own_white():
    one = output("P3-DCI 2.6")
    assert one.display.white == (0.314, 0.351)
    assert one.encode(np.ones(3)) == pytest.approx(1, abs=1e-12)
    assert one.encode(np.full(3, 0.3)) == pytest.approx(0.3 ** (1 / 2.6), abs=1e-12)


def test_dcdm_carries_a_d65_white():
    """X'Y'Z' of D65 at 48 cd/m2: SMPTE ST 428-1."""
    xyz = 52.37 * output("DCDM").encode(np.ones(3)) ** 2.6
    assert xyz == pytest.approx(48 * BT709.to_xyz().sum(axis=1), rel=1e-12)


def test_black_level_lifts_the_signal_of_black():
    one = output("Rec.709 BT.1886").with_black(0.1)
    assert one.encode(np.full(3, 0.001)) == pytest.approx(0, abs=1e-12)
    assert one.encode(np.zeros(3)) == pytest.approx(0)
    assert one.encode(np.ones(3)) == pytest.approx(1)
    with pytest.raises(InputError, match="no black level"):
        output("sRGB").with_black(0.1)
    with pytest.raises(InputError, match="black"):
        output("Rec.709 BT.1886").with_black(200)


@every_output
def test_the_aces_2_rendering_exists_in_opencolorio(name):
    styles = {style for style, _ in ocio.BuiltinTransformRegistry().getBuiltins()}
    one = output(name)
    assert one.aces2_style in styles
    assert f"{one.peak:g}nit" in one.aces2_style
    wanted = {"BT.709": "REC709", "P3-D65": "P3-D65", "BT.2020": "REC2020"}
    assert one.aces2_style.endswith(f"-{wanted[one.limiting.name]}_2.0")


@pytest.mark.parametrize("name", ["rec.709", "G24_REC709_DISPLAY", " bt.1886 "])
def test_aliases_and_interop_ids_find_their_output(name):
    assert output(name).name == "Rec.709 BT.1886"


def test_an_unknown_output_is_told_the_nearest():
    with pytest.raises(UnknownNameError, match=r"did you mean 'Rec\.2100 PQ 1000'"):
        output("Rec2100 PQ 1000")


def test_an_unknown_depth_is_refused():
    with pytest.raises(InputError, match="9 bits"):
        output("sRGB").delivered(bits=9)
