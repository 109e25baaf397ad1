"""Encodings, matrices and displays against what their makers and standards print."""

import numpy as np
import pytest

from lookkit.spaces import curves, ranges
from lookkit.spaces.encodings import encoding, encodings
from lookkit.spaces.outputs import output
from lookkit.spaces.primaries import AP0, AP1, BT709, BT2020, between
from lookkit.spaces.working import AP0_TO_AP1, AP1_TO_AP0
from tests.spaces import published


def code_of(name: str, light: float) -> float:
    """The code of neutral light, as the maker's formula scales it."""
    return float(encoding(name).curve.encode(np.full(3, light))[1])


@pytest.mark.parametrize("row", published.CODES_10_BIT, ids=lambda row: row.encoding)
def test_ten_bit_codes_are_those_that_the_maker_prints(row):
    found = [round(code_of(row.encoding, percent / 100) * 1023) for percent in row.percent]
    assert found == list(row.codes), (row.source, row.evidence)


def test_every_encoding_has_published_values():
    rows = {row.encoding for row in [*published.CODES_10_BIT, *published.LEVELS]}
    missing = [name for name in set(encodings()) - rows
               if not name.startswith(tuple(published.ELSEWHERE))]  # fmt: skip
    assert missing == []


def test_mid_grey_of_acesproxy_is_code_1705_of_twelve_bits():
    """Academy S-2013-001: (log2(0.18) + 2.5) 200 + 1700, rounded (M, C)."""
    assert code_of("ACESproxy12", 0.18) * 4095 == pytest.approx(1705.2, abs=0.05)


def test_v_log_twelve_bit_codes_are_four_times_the_ten_bit_ones():
    percent, codes = published.V_LOG_12_BIT
    found = [round(code_of("V-Log", one / 100) * 1023 * 4) for one in percent]
    # 1732 and 2408 are printed as four times the rounded 10-bit codes.
    assert np.abs(np.subtract(found, codes)).max() <= 2


@pytest.mark.parametrize("row", published.LEVELS, ids=lambda row: f"{row.encoding} {row.light:g}")
def test_levels_are_those_published(row):
    # Codes are printed to six decimals; the light of the top anchors to two.
    tolerance = 2e-6 if row.light > 100 else 6e-7
    assert code_of(row.encoding, row.light) == pytest.approx(row.code, abs=tolerance), row


@pytest.mark.parametrize("name", published.AP0_VECTORS)
def test_a_code_ends_at_the_published_ap0_value(name):
    """Curve, matrix and chromatic adaptation together."""
    ap0 = encoding(name).decode(np.array([0.5, 0.4, 0.3])) @ AP1_TO_AP0.T
    assert ap0 == pytest.approx(published.AP0_VECTORS[name], abs=1e-6)


def test_log_c3_constants_round_to_the_printed_table():
    """ALEXA Log C Curve: Usage in VFX, linear scene exposure factor, SUP 3.x (as C has it)."""
    import colour.models.rgb.transfer_functions.arri as arri

    printed = arri.DATA_ALEXA_LOG_C_CURVE_CONVERSION["SUP 3.x"]["Linear Scene Exposure Factor"]
    for index, row in printed.items():
        curve = encoding(f"LogC3 EI{index}").curve
        found = (
            curve.lin_break,
            curve.lin_slope,
            curve.lin_offset,
            curve.log_slope,
            curve.log_offset,
            curve.linear_slope,
            curve.linear_offset,
        )
        assert found == pytest.approx(row[:7], abs=5.0e-7), index
    ours = [name for name in encodings() if name.startswith("LogC3")]
    assert ours == [f"LogC3 EI{index}" for index in printed]


def test_ap0_and_ap1_matrices_follow_from_their_primaries():
    """Academy TB-2014-004 and S-2014-004 print ten decimals (V)."""
    assert between(AP0, AP1, "cat02") == pytest.approx(AP0_TO_AP1, abs=1e-9)
    assert between(AP1, AP0, "cat02") == pytest.approx(AP1_TO_AP0, abs=1e-9)


def test_bt709_and_bt2020_matrices_to_ap0_are_those_published():
    assert between(BT709, AP0, "bradford") == pytest.approx(
        np.array(published.BT709_TO_AP0), abs=1e-11
    )
    assert between(BT2020, AP0, "bradford") == pytest.approx(
        np.array(published.BT2020_TO_AP0), abs=1e-11
    )


def test_bt1886_levels():
    """ITU-R BT.1886 annex 1, Lw 100, Lb 0 (equation M, values C)."""
    monitor = output("Rec.709 BT.1886")
    signal = np.array([0.25, 0.5, 0.75, 0.9])
    light = 100 * monitor.decode(np.repeat(signal[:, None], 3, axis=1))[:, 0]
    assert light == pytest.approx([3.58968, 18.94646, 50.13569, 77.65726], abs=1e-5)


def test_bt1886_with_a_black_level():
    """The same with Lb 0.1 (M, C)."""
    monitor = output("Rec.709 BT.1886").with_black(0.1)
    light = 100 * monitor.decode(np.array([[0.0] * 3, [0.5] * 3, [1.0] * 3]))[:, 0]
    assert light == pytest.approx([0.1, 21.6049, 100.0], abs=5e-5)


def test_ten_nits_on_a_reference_monitor_is_narrow_code_400():
    """Arithmetic: 0.1^(1/2.4) = 0.383119, times 876 plus 64."""
    monitor = output("Rec.709 BT.1886")
    assert monitor.encode(np.full(3, 0.1)) == pytest.approx(0.383119, abs=5e-7)
    legal = monitor.delivered(range="legal", bits=10)
    assert round(float(legal.encode(np.full(3, 0.1))[0]) * 1023) == 400


def test_the_power_of_bt709_starts_at_0_08125():
    """BT.709 OETF of 0.018 (M, C, printed to five decimals)."""
    assert code_of("BT.709 camera", 0.018) == pytest.approx(0.08125, abs=5e-6)


def test_grey_of_a_bt709_camera_is_narrow_code_422():
    """BT.709 OETF of 0.18 on 64-940 (M, C)."""
    grey = encoding("BT.709 camera").encode(np.full(3, 0.18))
    assert round(float(grey[0]) * 1023) == 422


@pytest.mark.parametrize("nits", published.PQ_LEVELS)
def test_pq_levels(nits):
    signal = curves.Pq().encode(np.array(nits / 100))
    assert float(signal) == pytest.approx(published.PQ_LEVELS[nits], abs=6e-7)


@pytest.mark.parametrize(
    ("nits", "full", "narrow"), [(100, 520, 509), (203, 594, 573), (1000, 769, 723)]
)
def test_pq_ten_bit_codes(nits, full, narrow):
    """Codes of 10-bit PQ in full and narrow range (C)."""
    pq = output("Rec.2100 PQ 1000")
    light = np.full(3, nits / 100)
    assert round(float(pq.encode(light)[0]) * 1023) == full
    legal = pq.delivered(range="legal", bits=10)
    assert round(float(legal.encode(light)[0]) * 1023) == narrow


def test_hlg_75_percent_is_203_nits_and_narrow_code_721():
    """ITU-R BT.2408 (V2): scene 0.264963, 203.15 cd/m2 on a 1000 cd/m2 display."""
    hlg = output("Rec.2100 HLG 1000")
    assert float(curves.Hlg().decode(np.array(0.75))) == pytest.approx(0.264963, abs=5e-7)
    light = hlg.decode(np.full(3, 0.75))
    assert 100 * light == pytest.approx(203.15, abs=5e-3)
    legal = hlg.delivered(range="legal", bits=10)
    assert round(float(legal.encode(light)[0]) * 1023) == 721


@pytest.mark.parametrize(("reflectance", "nits", "pq", "hlg"), published.BT2408_TABLE_1)
def test_bt2408_table_1_through_a_neutral_chain(reflectance, nits, pq, hlg):
    """A reflectance exposed by an HLG camera, on a 1000 cd/m2 display, in HLG and in PQ."""
    camera = encoding("HLG camera")
    signal = camera.encode(np.full(3, reflectance), range="full")
    display = output("Rec.2100 HLG 1000").decode(signal)
    assert round(100 * float(display[0])) == nits
    assert round(100 * float(output("Rec.2100 PQ 1000").encode(display)[0])) == pq
    assert round(100 * float(signal[0])) == hlg


def test_a_pq_camera_places_grey_and_white_as_bt2408_does():
    """ITU-R BT.2408, table 1 (V2): 18 % grey at 38 % and a perfect white at 58 % of PQ."""
    camera = encoding("PQ camera")
    for reflectance, percent in ((0.18, 38), (1.0, 58)):
        signal = camera.encode(np.full(3, reflectance), range="full")
        assert [round(100 * float(one)) for one in signal] == [percent] * 3


def test_dcdm_white_is_code_3960():
    """SMPTE ST 428-1: 48 of 52.37 cd/m2, gamma 2.6 (factor V, C); Y' of white 0.967043."""
    white = output("DCDM").encode(np.ones(3))
    assert white[1] == pytest.approx(0.967043, abs=5e-7)
    assert round(float(white[1]) * 4095) == 3960
    assert white.max() < 1


@pytest.mark.parametrize(
    ("bits", "low", "high"), [(8, 16, 235), (10, 64, 940), (12, 256, 3760), (16, 4096, 60160)]
)
def test_narrow_range_limits(bits, low, high):
    """ITU-R BT.709 and BT.2100 table 9 (10 and 12 bits V, 8 and 16 bits M)."""
    assert ranges.limits("legal", bits) == (low, high)


def test_adx_negative_characteristic():
    """Academy ADX: density above D-min and log10 exposure (V)."""
    table = {
        0.010: -2.721718645,
        0.028: -2.521718645,
        0.145: -1.921718645,
        0.300: -1.521718645,
        0.600: -0.926545676714876,
        0.700: np.log10(0.18),
        1.250: np.log10(0.18) + 1,
    }
    for density, log_exposure in table.items():
        code = np.full(3, (density * 500 + 95) / 1023)
        exposure = curves.Adx(1023, 95, 500).decode(code)
        assert np.log10(exposure) == pytest.approx(log_exposure, abs=1e-9)


def test_printing_density_conventions_differ_as_named():
    """300 codes a decade; 18 % at 467.8 with white at 685 and black at 95 (C), or at 445."""
    assert code_of("Printing density, white 685", 0.18) * 1023 == pytest.approx(467.8, abs=0.05)
    assert code_of("Printing density, white 685", 1.0) * 1023 == pytest.approx(685)
    assert code_of("Printing density, white 685", 0.0) * 1023 == pytest.approx(95)
    assert code_of("Printing density, grey 445", 1.8) * 1023 == pytest.approx(745)
