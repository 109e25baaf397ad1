"""What OpenColorIO computes, lossless and in float32, against the exact curves.

Light within 1e-5, relative with a floor of 0.01, but where the docstring of a curve says
what bounds it.
"""

import numpy as np
import PyOpenColorIO as ocio
import pytest

from lookkit.spaces.curves import Bt1886, Hlg, HlgDisplay, Points
from lookkit.spaces.encodings import encoding, encodings
from lookkit.spaces.outputs import output, outputs
from tests.spaces.reference import CUBE, difference, ocio_apply
from tests.spaces.test_curves import MEASURED, grey

CURVES = {name: one.curve for name, one in encodings().items()} | {
    "measured": MEASURED,
    "BT.1886": Bt1886(),
    "BT.1886 with black": Bt1886(100, 0.5),
    "PQ": output("Rec.2100 PQ 1000").curve,
    "HLG": Hlg(),
    "HLG display": HlgDisplay(1000),
}

JOINS = {
    # Code and light between which the published pieces miss each other, so that a LUT or a
    # camera log cannot follow both: the docstrings of the curves say by how much.
    "N-Log": ((0.4411, 0.4420), (0.3275, 0.3285), 40),
    "BT.709 camera": ((0.0809, 0.0814), (0.0179, 0.0181), 320),
    "PQ camera": ((0.0890, 0.0894), (0.0098, 0.0099), 40),
    "F-Log": ((0.1004, 0.1007), (0.00087, 0.00090), 120),
    "L-Log": ((0.1369, 0.1382), (0.00585, 0.00605), 1200),
    "D-Log": ((0.1385, 0.1400), (0.0075, 0.0079), 4),
}
"""The last number: how many times the usual tolerance is reached there."""


def light_apart(found, expected):
    """Relative difference of light, floor 0.01, as a multiple of what is allowed."""
    return np.abs(found - expected) / np.maximum(np.abs(expected), 0.01) / 1e-5


def code_apart(found, expected):
    """Difference of codes: a 500th of a 10-bit code near 0, 1e-5 relative from there.

    Float32 holds a code that is computed through numbers about 10 no better near 0.
    """
    return np.abs(found - expected) / (2e-6 + 1e-5 * np.abs(expected))


@pytest.mark.parametrize("name", CURVES)
def test_decoding_lowers_to_the_same_light(name):
    curve = CURVES[name]
    code = np.linspace(0, 0.3 if name == "ADX16" else 1, 20011)
    expected = curve.decode(grey(code))
    apart = light_apart(ocio_apply(curve.lower_decode(), grey(code)), expected).max(axis=1)
    if name in JOINS:
        (low, high), _, at_most = JOINS[name]
        inside = (code > low) & (code < high)
        assert apart[inside].max() <= at_most
        apart = apart[~inside]
    assert apart.max() <= 1


@pytest.mark.parametrize("name", CURVES)
def test_encoding_lowers_to_the_same_codes(name):
    curve = CURVES[name]
    positive = np.geomspace(1e-5, 64, 20011)
    lowest = 0.03 if name.startswith("ADX") else 6
    light = np.concatenate([-np.geomspace(1e-5, lowest, 5003), [0.0], positive])
    expected = curve.encode(grey(light))
    apart = code_apart(ocio_apply(curve.lower_encode(), grey(light)), expected).max(axis=1)
    if name in JOINS:
        _, (low, high), at_most = JOINS[name]
        inside = (light > low) & (light < high)
        assert apart[inside].max() <= at_most
        apart = apart[~inside]
    assert apart.max() <= (3 if name.startswith("ADX") else 1)


@pytest.mark.parametrize("name", encodings())
def test_encodings_lower_to_the_same_scene(name):
    code = CUBE * (0.3 if name == "ADX16" else 1)
    one = encoding(name)
    assert difference(ocio_apply(one.lower(), code), one.decode(code)).max() <= 1e-5


@pytest.mark.parametrize("name", encodings())
def test_encodings_lower_backwards_to_the_same_codes(name):
    """Scenes over 18 stops, with saturated colours and, in some channels, negatives."""
    random = np.random.default_rng(4)
    levels = 64 * 2.0 ** -random.uniform(0, 18, (4000, 1))
    scene = levels * random.uniform(0.05, 1, (4000, 3))
    one = encoding(name)
    light = scene @ one.from_ap1.T
    usable = np.ones(len(scene), dtype=bool)
    if one.is_log:
        # Beside black, logarithms are steep enough to show float32 in the matrix.
        usable &= (np.abs(light) > 5e-3 * levels).all(axis=1)
    if name.startswith("ADX"):
        usable &= light.min(axis=1) > -0.03
    if name in JOINS:
        _, (low, high), _ = JOINS[name]
        usable &= ((light < low) | (light > high)).all(axis=1)
    assert usable.sum() > 1000
    scene = scene[usable]
    found = ocio_apply(one.lower_inverse(), scene)
    assert code_apart(found, one.encode(scene)).max() <= 3


@pytest.mark.parametrize("name", ["LogC4", "BT.709 camera", "sRGB"])
@pytest.mark.parametrize("signal_range", ["full", "legal"])
@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_ranges_lower_to_the_same_scene(name, signal_range, bits):
    one = encoding(name)
    code = CUBE * 0.9 + 0.07
    expected = one.decode(code, range=signal_range, bits=bits)
    found = ocio_apply(one.lower(range=signal_range, bits=bits), code)
    assert difference(found, expected).max() <= 1e-5
    code = grey(np.linspace(0.2, 1, 101))
    scene = one.decode(code, range=signal_range, bits=bits)
    back = ocio_apply(one.lower_inverse(range=signal_range, bits=bits), scene)
    assert code_apart(back, code).max() <= 1


@pytest.mark.parametrize("name", outputs())
@pytest.mark.parametrize("delivered", ["full", "legal", "legal with excursions"])
def test_outputs_lower_to_the_same_signal(name, delivered):
    one = output(name).delivered(
        range="full" if delivered == "full" else "legal", excursions="excursions" in delivered
    )
    random = np.random.default_rng(5)
    light = random.uniform(-0.05, 1.2, (5000, 3)) * one.peak / 100
    light[:2500] *= 2.0 ** -random.uniform(0, 14, (2500, 1))
    assert code_apart(ocio_apply(one.lower(), light), one.encode(light)).max() <= 1


@pytest.mark.parametrize("name", outputs())
def test_outputs_lower_backwards_to_the_same_light(name):
    one = output(name)
    found = ocio_apply(one.lower_inverse(), CUBE)
    assert difference(found, one.decode(CUBE)).max() <= 1e-5


def test_black_level_lowers_to_the_same_signal():
    one = output("Rec.709 BT.1886").with_black(0.2)
    light = np.random.default_rng(6).uniform(0, 1.1, (3000, 3)) ** 3
    assert code_apart(ocio_apply(one.lower(), light), one.encode(light)).max() <= 1


def test_a_measured_curve_lowers_beyond_its_points():
    curve = Points(((0.1, 0.0), (0.4, 0.18), (0.7, 2.0), (0.9, 9.0)))
    code = grey(np.linspace(-0.2, 1.0, 3001))
    assert light_apart(ocio_apply(curve.lower_decode(), code), curve.decode(code)).max() <= 1


@pytest.mark.parametrize(
    "one",
    [*encodings().values(), *outputs().values()],
    ids=lambda one: f"{type(one).__name__} {one.name}",
)
def test_a_clf_of_it_reads_back_the_same(one, tmp_path):
    """All but HLG displays, whose surround function CLF (SMPTE ST 2136-1) has not."""
    group = ocio.GroupTransform()
    for transform in one.lower():
        group.appendTransform(transform)
    config = ocio.Config.CreateRaw()
    if "HLG 1000" in one.name:
        with pytest.raises(ocio.Exception, match="FixedFunction"):
            group.write("Academy/ASC Common LUT Format", config)
        return
    path = tmp_path / "one.clf"
    path.write_text(group.write("Academy/ASC Common LUT Format", config))
    code = CUBE * (0.3 if one.name == "ADX16" else 1)
    found = ocio_apply([ocio.FileTransform(str(path))], code)
    assert difference(found, ocio_apply(one.lower(), code)).max() <= 1e-5
