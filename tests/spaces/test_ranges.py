"""Full and legal range, to the integer."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.errors import InputError
from lookkit.spaces import ranges
from tests.spaces.reference import ocio_apply

# ITU-R BT.709-6 item 5.4 and BT.2100-2 table 9: 10-bit 64 is black, 940 is white; the signal
# of code n is n / 1023 in full range and (n - 64) / 876 in legal range.
TEN_BIT = {
    0: (Fraction(0), Fraction(-64, 876)),
    64: (Fraction(64, 1023), Fraction(0)),
    940: (Fraction(940, 1023), Fraction(1)),
    1023: (Fraction(1), Fraction(959, 876)),
}


@pytest.mark.parametrize("integer", TEN_BIT)
def test_ten_bit_codes_through_every_combination(integer):
    code = integer / 1023
    full, legal = TEN_BIT[integer]
    assert ranges.convert(code, "full", "full", 10) == code
    assert ranges.convert(code, "legal", "legal", 10) == code
    # A file in legal range, read as such: its signal, 0-1 between black and white.
    assert ranges.convert(code, "legal", "full", 10) == pytest.approx(float(legal), abs=5e-16)
    # A signal written in legal range: 0 lands on 64, 1 on 940.
    written = ranges.convert(float(full), "full", "legal", 10) * 1023
    assert written == pytest.approx(64 + 876 * integer / 1023, abs=2e-13)


@pytest.mark.parametrize("bits", ranges.DEPTHS)
def test_black_and_white_land_on_their_integers(bits):
    low, high = ranges.limits("legal", bits)
    top = 2**bits - 1
    written = ranges.convert(np.array([0.0, 1.0]), "full", "legal", bits) * top
    assert np.rint(written).tolist() == [low, high]
    assert written == pytest.approx([low, high], abs=1e-10)


def test_the_commonest_fault_has_its_published_size():
    """A full-range read of legal codes: 64 gives 0.062561, 940 gives 0.918866 (arithmetic)."""
    assert ranges.convert(64 / 1023, "full", "full", 10) == pytest.approx(0.062561, abs=5e-7)
    assert ranges.convert(940 / 1023, "full", "full", 10) == pytest.approx(0.918866, abs=5e-7)


@given(
    code=st.floats(-2, 3),
    source=st.sampled_from(ranges.RANGES),
    target=st.sampled_from(ranges.RANGES),
    bits=st.sampled_from(ranges.DEPTHS),
    target_bits=st.sampled_from(ranges.DEPTHS),
)
def test_conversions_come_back_and_carry_what_is_beyond(code, source, target, bits, target_bits):
    scale, offset = ranges.scale_offset(source, target, bits, target_bits)
    back_scale, back_offset = ranges.scale_offset(target, source, target_bits, bits)
    assert (code * scale + offset) * back_scale + back_offset == pytest.approx(code, abs=1e-14)


@pytest.mark.parametrize("bits", ranges.DEPTHS)
def test_conversions_lower_to_one_matrix(bits):
    code = np.linspace(-0.1, 1.1, 33 * 3).reshape(-1, 3)
    transforms = ranges.lower("legal", "full", bits)
    assert len(transforms) == 1
    assert ocio_apply(transforms, code) == pytest.approx(
        ranges.convert(code, "legal", "full", bits), abs=2e-7
    )
    assert ranges.lower("legal", "legal", bits) == []


@pytest.mark.parametrize("call", [ranges.convert, lambda c, a, b, n: ranges.lower(a, b, n)])
@pytest.mark.parametrize(
    ("source", "target", "bits", "word"),
    [("narrow", "full", 10, "narrow"), ("full", "video", 10, "video"), ("full", "full", 9, "9")],
)
def test_unknown_ranges_and_depths_are_refused(call, source, target, bits, word):
    with pytest.raises(InputError, match=word):
        call(np.zeros(3), source, target, bits)
