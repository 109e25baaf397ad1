"""Timecode counted against its definition."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.media.timecode import advanced, packed, unpacked

NTSC = Fraction(30000, 1001)


# SMPTE ST 12-1: drop-frame leaves out the numbers 00 and 01 of every minute except each tenth;
# 107 892 frames are one hour.
@pytest.mark.parametrize(
    ("start", "frames", "rate", "end"),
    [
        ("00:00:59;29", 1, NTSC, "00:01:00;02"), ("00:09:59;29", 1, NTSC, "00:10:00;00"),
        ("00:00:00;00", 107892, NTSC, "01:00:00;00"), ("00:00:00;00", 17982, NTSC, "00:10:00;00"),
        ("00:00:59;59", 1, Fraction(60000, 1001), "00:01:00;04"),
        ("01:00:00:00", 25, Fraction(25), "01:00:01:00"),
        ("23:59:59:23", 1, Fraction(24), "00:00:00:00"),
        ("00:00:59:29", 1, NTSC, "00:01:00:00"), ("no timecode", 5, NTSC, "no timecode"),
    ],
)  # fmt: skip
def test_advancing(start, frames, rate, end):
    assert advanced(start, frames, rate) == end


@given(st.integers(0, 200_000), st.integers(0, 200_000))
def test_advancing_twice_is_advancing_once(first, second):
    start = "00:00:00;00"
    both = advanced(advanced(start, first, NTSC), second, NTSC)
    assert both == advanced(start, first + second, NTSC)


@given(st.integers(0, 2_000_000), st.sampled_from([":", ";"]))
def test_pictures_carry_it(frames, mark):
    code = advanced(f"00:00:00{mark}00", frames, NTSC)
    assert unpacked(packed(code)) == code


def test_what_pictures_cannot_carry():
    assert packed("00:00:00:59") is None
    assert packed("not one") is None
    assert unpacked(None) == ""
