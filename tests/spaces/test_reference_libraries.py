"""Every encoding against colour-science, and against OpenColorIO's builtins where it has one.

Where they disagree, the test says by how much and why, so that the difference stays known.
"""

import numpy as np
import PyOpenColorIO as ocio
import pytest

from lookkit.spaces import ranges
from lookkit.spaces.encodings import encoding, encodings
from lookkit.spaces.outputs import output
from lookkit.spaces.primaries import P3_D65
from lookkit.spaces.working import AP1_TO_AP0
from tests.spaces.reference import (
    COLOUR,
    CUBE,
    GREYS,
    OCIO_STYLES,
    colour,
    colour_ap0,
    difference,
    ocio_apply,
)

DIFFERENCES = {
    # colour-science, as the specification, decodes the codes from 451.78 to 452 of 1023 with
    # the root, which falls back by 2.7e-4 at 452; here they follow the encoding.
    "N-Log": (451.6, 452.0),
    # colour-science divides all codes below 0.08125 by 4.5, and falls back there; no encoder
    # gives the codes from 0.081 to 0.081248.
    "BT.709 camera": (0.081 * 1023, 0.08125 * 1023),
    # The published pieces overlap: colour-science takes codes from 140.3 to 141.2 with the line.
    "L-Log": (140.2, 141.2),
}
"""10-bit codes between which the published inverse is not one, for greys."""


HELD = {"ACESproxy10": (64 / 1023, 940 / 1023), "ACESproxy12": (256 / 4095, 3760 / 4095)}
"""Codes within which the standard's formula holds; others it does not have."""


def within(name, code):
    return np.clip(code, *HELD[name]) if name in HELD else code


def ap0(name, code):
    """AP0 by lookkit, the code taken as the maker's formula scales it."""
    return encoding(name).decode(code, range="full") @ AP1_TO_AP0.T


def test_every_encoding_is_compared_with_an_independent_implementation():
    alone = set(encodings()) - set(COLOUR) - set(OCIO_STYLES)
    # The first three are compared below; the other density log is published in codes.
    assert alone == {"BT.2020 camera", "ADX16", "Filmic Pro 6", "Printing density, grey 445"}


@pytest.mark.parametrize("name", COLOUR)
def test_encodings_agree_with_colour_science(name):
    # colour-science has LogC3 to the six decimals of the maker's table, ours are the unrounded.
    tolerance = 2e-5 if name.startswith("LogC3") else 1e-5
    for every in (CUBE, GREYS):
        code = within(name, every)
        apart = difference(ap0(name, code), colour_ap0(name, code))
        if name in DIFFERENCES and every is GREYS:
            low, high = DIFFERENCES[name]
            apart = apart[(code[:, 0] * 1023 < low) | (code[:, 0] * 1023 > high)]
        assert apart.max() <= tolerance


@pytest.mark.parametrize("name", COLOUR)
def test_encoding_light_agrees_with_colour_science(name):
    """Codes of colour-science's light come back as the same codes."""
    code = CUBE[(CUBE > 0).all(axis=1)]
    scene = np.linalg.solve(AP1_TO_AP0, colour_ap0(name, code).T).T
    found = encoding(name).encode(scene, range="full")
    assert np.abs(found - code).max() <= 1e-5


@pytest.mark.parametrize("name", OCIO_STYLES)
def test_encodings_agree_with_opencolorio(name):
    code = within(name, CUBE)
    expected = ocio_apply([ocio.BuiltinTransform(OCIO_STYLES[name])], code)
    found = ap0(name, code)
    if name == "ACEScc":
        found = np.maximum(found, 0)  # OpenColorIO's clamps negative AP0.
    # OpenColorIO's ADX is a half-float table, which cuts the corners of the published one.
    assert difference(found, expected).max() <= (2.5e-5 if name == "ADX10" else 1e-5)


def test_the_wrong_adaptation_would_be_seen():
    """Bradford instead of CAT02 costs more than any tolerance here."""
    code = CUBE[(CUBE > 0).all(axis=1)]
    right = colour_ap0("LogC4", code)
    source = colour.RGB_COLOURSPACES["ARRI Wide Gamut 4"]
    light = colour.log_decoding(code, "ARRI LogC4")
    wrong = colour.RGB_to_RGB(
        light, source, "ACES2065-1", chromatic_adaptation_transform="Bradford"
    )
    assert difference(np.asarray(wrong), right).max() > 1e-3


def test_a_root_and_a_logarithm_added_are_those_of_colour_science():
    """Their encoding is the formula; their decoding a table of it with 10,000 entries."""
    curve = encoding("Filmic Pro 6").curve
    light = np.geomspace(0.003, 4.0, 2001)
    assert curve.encode(light) == pytest.approx(colour.log_encoding(light, "Filmic Pro 6"))
    code = np.linspace(0.2, 1.0, 801)
    with np.errstate(divide="ignore"):  # Their table begins with the logarithm of 0.
        theirs = colour.log_decoding(code, "Filmic Pro 6")
    assert curve.decode(code) == pytest.approx(theirs, abs=2e-5)


def test_adx16_is_adx10_in_finer_steps():
    density = np.array([[0.7, 0.5, 1.4], [0.05, 2.0, 0.1], [0.0, 0.0, 0.0]])
    ten = encoding("ADX10").decode((density * 500 + 95) / 1023)
    sixteen = encoding("ADX16").decode((density * 8000 + 1520) / 65535)
    assert sixteen == pytest.approx(ten, rel=1e-12)
    builtin = [ocio.BuiltinTransform("ADX16_to_ACES2065-1")]
    expected = ocio_apply(builtin, (density * 8000 + 1520) / 65535)
    assert difference(sixteen @ AP1_TO_AP0.T, expected).max() <= 1e-5


def test_bt2020_camera_solves_the_equations_of_the_recommendation():
    """ITU-R BT.2020-2: alpha and beta join the pieces with one value and one slope."""
    curve = encoding("BT.2020 camera").curve
    alpha, beta = 1 + curve.offset, curve.lin_break
    assert 4.5 * beta == pytest.approx(alpha * beta**0.45 - (alpha - 1), abs=1e-14)
    assert pytest.approx(alpha * 0.45 * beta**-0.55, abs=1e-11) == 4.5
    # colour-science carries the constants rounded for 12 bits.
    light = np.linspace(0, 1, 101)
    rounded = colour.models.oetf_BT2020(light, is_12_bits_system=True)
    assert np.abs(curve.encode(light) - rounded).max() < 1e-4


def test_opencolorio_places_hlg_three_times_higher_than_bt2100():
    """OpenColorIO's HLG curve puts 18 % at 0.42; BT.2408, as here, at 0.38."""
    code = np.repeat(np.linspace(0, 1, 101)[:, None], 3, axis=1)
    theirs = ocio_apply([ocio.BuiltinTransform("CURVE - HLG-OETF-INVERSE")], code)
    ours = colour.models.oetf_inverse_BT2100_HLG(code)
    assert theirs == pytest.approx(3 * ours, abs=2e-5)


def test_opencolorio_clamps_what_is_carried_here():
    """ACEScc below black and Canon Log beyond code 1."""
    negative = np.full((1, 3), -0.01)
    builtin = ocio.BuiltinTransform("ACEScc_to_ACES2065-1")
    builtin.setDirection(ocio.TRANSFORM_DIR_INVERSE)
    held = ocio_apply([builtin], negative)
    assert held == pytest.approx(-0.358447, abs=1e-6)
    back = encoding("ACEScc").decode(encoding("ACEScc").encode(negative))
    assert back == pytest.approx(negative, abs=1e-12)

    above = np.array([[1.0] * 3, [1.05] * 3])
    style = OCIO_STYLES["Canon Log 2"]
    theirs = ocio_apply([ocio.BuiltinTransform(style)], above)
    assert theirs[0] == pytest.approx(theirs[1])
    ours = ap0("Canon Log 2", above)
    assert ours[1, 0] > 1.3 * ours[0, 0]


DISPLAYS = {
    "Rec.709 BT.1886": "DISPLAY - CIE-XYZ-D65_to_REC.1886-REC.709",
    "P3-D65 2.6": "DISPLAY - CIE-XYZ-D65_to_G2.6-P3-D65",
    "P3-DCI 2.6": "DISPLAY - CIE-XYZ-D65_to_G2.6-P3-DCI-BFD",
    "DCDM": "DISPLAY - CIE-XYZ-D65_to_DCDM-D65",
    "sRGB": "DISPLAY - CIE-XYZ-D65_to_sRGB",
    "Display P3": "DISPLAY - CIE-XYZ-D65_to_DisplayP3",
    "Rec.2100 PQ 1000": "DISPLAY - CIE-XYZ-D65_to_REC.2100-PQ",
    "Rec.2100 PQ 1000 P3": "DISPLAY - CIE-XYZ-D65_to_REC.2100-PQ",
    "Rec.2100 HLG 1000": "DISPLAY - CIE-XYZ-D65_to_REC.2100-HLG-1000nit",
    "Rec.2100 HLG 1000 P3": "DISPLAY - CIE-XYZ-D65_to_REC.2100-HLG-1000nit",
}


@pytest.mark.parametrize("name", DISPLAYS)
def test_outputs_agree_with_opencolorio(name):
    one = output(name)
    light = CUBE**2 * one.peak / 100
    xyz = light @ one.limiting.to_xyz().T
    expected = np.clip(ocio_apply([ocio.BuiltinTransform(DISPLAYS[name])], xyz), 0, 1)
    apart = np.abs(one.encode(light) - expected)
    # In their black, OpenColorIO's HLG tables start from 0.0000 and ours from the square root;
    # their sRGB has its straight toe at 12.9232 instead of the published 12.92, and float32
    # light near black is steepest in the roots: 1e-5 of signal.
    dark = light.min(axis=1) < 1e-4
    assert apart[~dark].max() <= (2e-5 if "HLG" in name else 2e-6)


def test_opencolorio_rounds_the_toe_of_srgb_otherwise():
    """IEC 61966-2-1 prints 12.92; the slope that follows from gamma and offset is 12.9232."""
    light = np.repeat(np.linspace(0, 0.004, 401)[:, None], 3, axis=1)
    exponent = ocio.ExponentWithLinearTransform(
        gamma=[2.4, 2.4, 2.4, 1], offset=[0.055, 0.055, 0.055, 0]
    )
    exponent.setDirection(ocio.TRANSFORM_DIR_INVERSE)
    theirs = ocio_apply([exponent], light)
    apart = np.abs(output("sRGB").encode(light) - theirs).max()
    assert 8e-6 < apart < 1.2e-5


def test_p3_matrix_is_that_of_opencolorio():
    """OpenColorIO's config publishes linear P3-D65 to AP0, Bradford."""
    config = ocio.Config.CreateFromBuiltinConfig("studio-config-latest")
    processor = config.getProcessor("Linear P3-D65", "ACES2065-1")
    cpu = processor.getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
    expected = np.array([cpu.applyRGB(one) for one in np.eye(3).tolist()])
    assert encoding("Linear P3-D65").primaries == P3_D65
    assert ap0("Linear P3-D65", np.eye(3)) == pytest.approx(expected, abs=1e-6)


INTEROP_CONFIG = "studio-config-latest"


@pytest.mark.parametrize("name", [name for name in encodings() if encodings()[name].interop_id])
def test_interop_ids_are_published_and_mean_the_same(name):
    """Each id exists in OpenColorIO's builtin config and gives the same AP0."""
    config = ocio.Config.CreateFromBuiltinConfig(INTEROP_CONFIG)
    one = encoding(name)
    space = config.getColorSpace(one.interop_id)
    assert space is not None
    assert space.getInteropID() == one.interop_id
    code = CUBE * 0.9 + 0.05
    if name.startswith("ADX16"):
        code = code * 0.3
    transform = ocio.ColorSpaceTransform(src=space.getName(), dst="ACES2065-1")
    cpu = config.getProcessor(transform).getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
    pixels = np.ascontiguousarray(code, dtype=np.float32)
    cpu.apply(ocio.PackedImageDesc(pixels, len(pixels), 1, 3))
    found = ap0(name, code)
    if name == "ACEScc":
        found = np.maximum(found, 0)
    apart = difference(found, pixels.astype(np.float64))
    toes = {
        # Its toe there has the slope that follows from gamma and offset: 4.5138, not 4.5.
        "BT.709 camera": (0.0813, 4e-3),
        # Its line there is the tangent of the logarithm: slope 6.026, not 6.025.
        "D-Log": (0.14, 2e-4),
    }
    if name in toes:
        end, at_most = toes[name]
        assert apart.max() < at_most
        apart = apart[code.min(axis=1) > end]
    assert apart.max() <= (2.5e-5 if name == "ADX10" else 1e-5)


@pytest.mark.parametrize("name", ["Rec.709 BT.1886", "sRGB", "Display P3", "P3-D65 2.6"])
def test_display_interop_ids_are_published(name):
    config = ocio.Config.CreateFromBuiltinConfig(INTEROP_CONFIG)
    space = config.getColorSpace(output(name).interop_id)
    assert space.getInteropID() == output(name).interop_id


def test_ranges_agree_with_colour_science():
    code = np.linspace(0, 1, 33)
    for bits in (8, 10, 12):
        ours = ranges.convert(code, "full", "legal", bits)
        assert ours == pytest.approx(colour.models.full_to_legal(code, bits), abs=1e-14)
