"""Primaries, their matrices and chromatic adaptation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.errors import InputError
from lookkit.spaces.primaries import (
    ACES_WHITE,
    AP0,
    AP1,
    BT709,
    BT2020,
    D65,
    Primaries,
    adaptation,
    between,
    from_xyz_matrix,
    white_xyz,
)
from lookkit.spaces.working import AP1_LUMINANCE
from tests.spaces.reference import colour

inside = st.tuples(st.floats(0.25, 0.4), st.floats(0.25, 0.4))
methods = st.sampled_from(["bradford", "cat02"])


def test_luminance_of_ap1_is_that_of_the_standard():
    """The Y row of S-2014-004 (V)."""
    assert AP1.to_xyz()[1] == pytest.approx(AP1_LUMINANCE, abs=1e-9)


def test_luminance_of_bt709_and_bt2020_is_that_of_the_recommendations():
    """BT.709-6 item 3.2 and BT.2020-2 table 4, to four decimals (M)."""
    assert BT709.to_xyz()[1] == pytest.approx([0.2126, 0.7152, 0.0722], abs=5e-5)
    assert BT2020.to_xyz()[1] == pytest.approx([0.2627, 0.6780, 0.0593], abs=5e-5)


@given(source=inside, target=inside, method=methods)
def test_adaptation_agrees_with_colour_science(source, target, method):
    name = {"bradford": "Bradford", "cat02": "CAT02"}[method]
    expected = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        white_xyz(source), white_xyz(target), transform=name
    )
    # colour-science inverts the same published matrices.
    assert adaptation(source, target, method) == pytest.approx(np.asarray(expected), abs=1e-12)


@given(source=inside, target=inside, method=methods)
def test_adaptation_carries_white_to_white_and_comes_back(source, target, method):
    there = adaptation(source, target, method)
    assert there @ white_xyz(source) == pytest.approx(white_xyz(target), abs=1e-12)
    assert adaptation(target, source, method) @ there == pytest.approx(np.eye(3), abs=1e-12)


def test_neutral_stays_neutral_between_primaries():
    for method in ("bradford", "cat02"):
        assert between(BT709, AP1, method).sum(axis=1) == pytest.approx([1, 1, 1], abs=1e-14)
        assert between(AP1, BT709, method) @ between(BT709, AP1, method) == pytest.approx(
            np.eye(3), abs=1e-13
        )


def test_without_adaptation_xyz_stays():
    rgb = np.array([0.2, 0.5, 0.7])
    there = between(AP0, BT709, "none")
    assert BT709.to_xyz() @ there @ rgb == pytest.approx(AP0.to_xyz() @ rgb, abs=1e-14)


def test_the_same_primaries_need_no_matrix():
    again = Primaries("another name", AP1.red, AP1.green, AP1.blue, AP1.white)
    assert (between(AP1, again, "bradford") == np.eye(3)).all()


def test_primaries_come_back_from_their_matrix():
    found = from_xyz_matrix("again", AP0.to_xyz())
    for one in ("red", "green", "blue", "white"):
        assert getattr(found, one) == pytest.approx(getattr(AP0, one), abs=1e-12)


def test_the_matrix_that_is_given_out_may_be_changed():
    AP1.to_xyz()[:] = 0
    assert AP1.to_xyz()[1].sum() == pytest.approx(1)


@pytest.mark.parametrize(
    ("corners", "word"),
    [
        (((0.6, 0.3), (0.4, 0.3), (0.2, 0.3), D65), "one line"),
        (((0.64, 0.33), (0.64, 0.33), (0.15, 0.06), D65), "one line"),
        (((0.64, 0.33), (0.30, 0.60), (0.15, 0.06), (0.1, 0.8)), "outside"),
        (((0.64, 0.33), (0.30, 0.60), (0.15, 0.06), (0.3, 0.0)), "y = 0"),
        (((np.nan, 0.33), (0.30, 0.60), (0.15, 0.06), D65), "finite"),
        (((0.64, 0.33), (0.30, np.inf), (0.15, 0.06), D65), "finite"),
    ],
)
def test_impossible_primaries_are_refused(corners, word):
    with pytest.raises(InputError, match=word):
        Primaries("mine", *corners)


def test_unknown_adaptation_is_refused():
    with pytest.raises(InputError, match="cat16"):
        adaptation(D65, ACES_WHITE, "cat16")  # type: ignore[arg-type]


@pytest.mark.parametrize("matrix", [np.zeros((3, 3)), np.ones((3, 3))])
def test_a_matrix_without_inverse_has_no_primaries(matrix):
    with pytest.raises(InputError, match="cannot be inverted"):
        from_xyz_matrix("mine", matrix)
