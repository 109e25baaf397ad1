"""What holds for every curve: it comes back, rises, stays finite and carries negatives."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from lookkit.errors import InputError
from lookkit.spaces.curves import (
    AcesCc,
    Bt1886,
    CubeRootLog,
    HlgDisplay,
    Log,
    MirroredLog,
    Points,
    Power,
    Pq,
    SquareLog,
    ToePower,
)
from lookkit.spaces.encodings import encodings
from lookkit.spaces.outputs import outputs

MEASURED = Points(
    ((0.05, -0.01), (0.09, 0.0), (0.2, 0.02), (0.4, 0.18), (0.6, 1.0), (0.8, 8.0), (0.95, 40.0))
)
CURVES = (
    {name: one.curve for name, one in encodings().items()}
    | {f"to {name}": one.curve for name, one in outputs().items()}
    | {"measured": MEASURED, "BT.1886 with black": Bt1886(100, 0.5)}
)
TOP = {"ADX16": 0.4}
"""The code up to which a round trip means anything: density 3 of ADX16."""

GAPS = {
    # The published pieces miss each other, and no encoder gives the codes between them.
    "N-Log": (451.64 / 1023, 451.80 / 1023, 1.5e-4),
    "BT.709 camera": (0.081, 0.08125, 2.5e-4),
    "PQ camera": (0.0890, 0.0893, 2.5e-4),
}
"""Codes that come back only to within the last number."""

SHARED = {"F-Log": 1.2e-5, "L-Log": 1.2e-4}
"""Published pieces that overlap, so that light within so much shares a code."""

every_curve = pytest.mark.parametrize("name", CURVES)


def grey(values):
    """Equal channels: some curves mix them."""
    return np.repeat(np.asarray(values, dtype=np.float64)[..., None], 3, axis=-1)


@every_curve
def test_codes_come_back_over_the_legal_domain(name):
    curve = CURVES[name]
    code = np.linspace(0, TOP.get(name, 1.0), 65536)
    apart = np.abs(curve.encode(curve.decode(grey(code)))[:, 0] - code)
    if name in GAPS:
        low, high, miss = GAPS[name]
        inside = (code > low) & (code < high)
        assert apart[inside].max() <= miss
        apart = apart[~inside]
    assert apart.max() <= 1e-6


@every_curve
def test_light_comes_back_negatives_included(name):
    curve = CURVES[name]
    positive = np.geomspace(1e-6, 100, 4000)
    light = np.concatenate([-positive[::-1], [0.0], positive])
    if "HLG" in name or "PQ" in name or name.startswith("to "):
        light = light[np.abs(light) <= 10]
    back = curve.decode(curve.encode(grey(light)))[:, 0]
    assert np.abs(back - light).max() <= 1e-6 * np.abs(light).max()
    small = np.abs(light) < 0.1
    assert np.abs(back - light)[small].max() <= SHARED.get(name, 1e-6)


@every_curve
def test_curves_rise(name):
    curve = CURVES[name]
    code = np.linspace(-0.25, 1.25, 20001)
    assert (np.diff(curve.decode(grey(code)), axis=0) >= 0).all()
    light = np.concatenate([np.linspace(-8, 0.05, 20001), np.geomspace(0.0501, 1e4, 20001)])
    assert (np.diff(curve.encode(grey(light)), axis=0) >= 0).all()


@every_curve
def test_negative_light_has_codes_of_its_own(name):
    curve = CURVES[name]
    light = grey(np.array([-0.1, -0.01, -0.001, 0.0]))
    assert (np.diff(curve.encode(light)[:, 0]) > 0).all()


@every_curve
@given(value=st.floats(-1e30, 1e30))
@example(value=1e30)
@example(value=-1e30)
@example(value=0.0)
def test_finite_stays_finite(name, value):
    curve = CURVES[name]
    assert np.isfinite(curve.decode(grey([value]))).all()
    assert np.isfinite(curve.encode(grey([value]))).all()


@every_curve
def test_any_shape_gives_the_same_numbers(name):
    curve = CURVES[name]
    code = np.linspace(0, 0.9, 24).reshape(2, 4, 3)
    flat = curve.decode(code.reshape(-1, 3)).reshape(code.shape)
    assert (curve.decode(code) == flat).all()
    assert curve.decode(code[0, 0]).shape == (3,)
    assert curve.decode(code[:0]).shape == (0, 4, 3)


@every_curve
def test_the_input_is_not_changed(name):
    curve = CURVES[name]
    code = grey(np.linspace(-0.2, 1.2, 50))
    kept = code.copy()
    curve.decode(code)[:] = 0
    curve.encode(code)[:] = 0
    assert (code == kept).all()


@given(
    steps=st.lists(st.tuples(st.floats(0.01, 0.2), st.floats(0.01, 3.0)), min_size=3, max_size=12),
    start=st.floats(-0.02, 0.02),
)
def test_any_rising_points_make_a_rising_curve_through_them(steps, start):
    codes = 0.05 + np.cumsum([code for code, _ in steps])
    light = start + 0.01 * (np.cumprod([1 + 2**-light for _, light in steps]) - 1)
    curve = Points(tuple(zip(codes.tolist(), light.tolist(), strict=True)))
    assert curve.decode(codes) == pytest.approx(light, abs=1e-12)
    # A monotone cubic may start flat, which costs half the digits of its inverse.
    assert curve.encode(light) == pytest.approx(codes, abs=1e-7)
    inside = np.linspace(codes[0] - 0.3, codes[-1] + 0.3, 400)
    decoded = curve.decode(inside)
    assert (np.diff(decoded) >= 0).all()
    assert np.abs(curve.decode(curve.encode(decoded)) - decoded).max() < 1e-9


def test_points_a_stop_apart_follow_a_camera_log():
    """Thirteen points of a camera log give the curve between them to a thirtieth of a stop."""
    real = encodings()["S-Log3/S-Gamut3"].curve
    light = np.concatenate([[0.0], 0.18 * 2.0 ** np.arange(-6, 7)])
    measured = Points(tuple(zip(real.encode(light).tolist(), light.tolist(), strict=True)))
    between = 0.18 * 2.0 ** np.linspace(-5, 6, 500)
    stops = np.log2(measured.decode(real.encode(between)) / between)
    assert np.abs(stops).max() < 0.03
    assert measured.is_log


def test_a_measured_gamma_is_no_log():
    code = np.linspace(0, 1, 9)
    curve = Points(tuple(zip(code.tolist(), (code**2.4).tolist(), strict=True)))
    assert not curve.is_log


def test_a_log_without_a_line_goes_on_along_its_tangent():
    """Code 0 and its slope are the logarithm's own."""
    pure = Log(log_slope=0.3, log_offset=0.7, lin_slope=1, lin_offset=0)
    step = 1e-7
    below, at, above = pure.decode(np.array([-step, 0.0, step]))
    assert (at - below) == pytest.approx(above - at, rel=1e-5)
    assert pure.decode(np.array(-1.0)) < 0


BAD = [
    (lambda: Log(log_slope=-1, log_offset=0, lin_slope=1, lin_offset=0.1), "log_slope"),
    (lambda: Log(log_slope=1, log_offset=0, lin_slope=1, lin_offset=0, base=1), "base"),
    (lambda: Log(1, 0, 1, 0, lin_break=-0.1), "lin_break"),
    (lambda: Log(1, 0, 1, 0, lin_break=0.1, linear_slope=-1), "linear_slope"),
    (lambda: Log(1, 0, 1, 0, lin_break=0.1, linear_slope=4, linear_offset=0), "misses"),
    (lambda: MirroredLog(0, 0.1, 10), "log_slope"),
    (lambda: MirroredLog(0.3, 0.1, 10, lin_break=0.1), "miss each other"),
    (lambda: CubeRootLog(0.6, 0.01, 0.1, 0.9, 0.3), "miss each other"),
    (lambda: SquareLog(0.1, 0.01, 40, 0.01, 0.1, 0.7), "black"),
    (lambda: Power(0), "gamma"),
    (lambda: Power(2.2, scale=0), "scale"),
    (lambda: ToePower(2.4, 0.055, 12.92, 0.1), "misses"),
    (lambda: ToePower(0.9, 0.055, 12.92, 0.1), "gamma"),
    (lambda: Bt1886(100, 100), "black"),
    (lambda: HlgDisplay(100), "peak"),
    (lambda: Points(((0.0, 0.0), (1.0, 1.0))), "three pairs"),
    (lambda: Points(((0.0, 0.0), (0.5, 0.6), (1.0, 0.5))), "does not rise"),
]


@pytest.mark.parametrize(("make", "word"), BAD)
def test_impossible_constants_are_refused_by_name(make, word):
    with pytest.raises(InputError, match=word):
        make()


def test_acescc_has_the_published_black():
    """S-2014-003: code of 0 is -0.358447, of 2^-15 the join of its pieces."""
    curve = AcesCc()
    assert curve.encode(np.array(0.0)) == pytest.approx(-0.3584474886, abs=1e-10)
    assert curve.encode(np.array(2.0**-15)) == pytest.approx((-15 + 9.72) / 17.52, abs=1e-12)


def test_pq_black_is_what_the_formula_gives():
    """SMPTE ST 2084: N(0) = c1^m2 = 7.3e-7."""
    assert Pq().encode(np.array(0.0)) == pytest.approx((3424 / 4096) ** (2523 / 32), rel=1e-12)
