"""How two LUTs differ."""

import numpy as np
import pytest

from lookkit.accuracy.sampling import grid
from lookkit.errors import InputError, LutFileError, UnknownNameError
from lookkit.inspect.comparison import compare, compare_files
from lookkit.inspect.function import Function
from lookkit.inspect.text import describe_comparison
from lookkit.lutfile.model import Lattice
from lookkit.spaces.outputs import output
from tests.inspect.luts import contrast, function, written


def test_the_same_lut_does_the_same(tmp_path):
    one = written(tmp_path / "a.cube", contrast(9))
    other = written(tmp_path / "b.cube", contrast(9), title="another title")
    found = compare_files(one, other, "sRGB")
    assert found.codes.largest == 0
    assert found.delta_e_2000.largest < 1e-5
    assert found.worst == ()
    assert "they do the same" in describe_comparison(found, "a", "b")


def test_a_known_shift_is_measured_exactly():
    shifted = grid(5)
    shifted[..., 0] += 10 / 1023
    found = compare(function(grid(5)), function(shifted))
    for figures in (found.codes, found.neutral):
        assert (figures.mean, figures.p99, figures.largest) == pytest.approx((10, 10, 10))
    assert found.delta_e_2000 is None


def test_the_worst_colour_is_found_and_others_are_not_its_neighbours():
    bumped = grid(9)
    bumped[6, 1, 3, 1] += 0.2
    bumped[1, 7, 7, 2] -= 0.1
    found = compare(function(grid(9)), function(bumped))
    assert found.worst[0].code == pytest.approx((6 / 8, 1 / 8, 3 / 8))
    assert found.worst[0].difference == pytest.approx(0.2)
    codes = np.array([one.code for one in found.worst])
    apart = np.abs(codes[:, None] - codes[None]).max(axis=-1) + np.eye(len(codes))
    assert apart.min() >= 0.06
    assert any(np.allclose(code, (1 / 8, 7 / 8, 7 / 8)) for code in codes)


def test_delta_e_agrees_with_colour_science():
    # The judge is colour-science: sRGB to CIE Lab to CIE 2000.
    colour = pytest.importorskip("colour")
    gain = grid(5) * 0.9
    found = compare(function(grid(5)), function(gain), output("sRGB"))
    worst = found.worst[0]
    light = [
        colour.XYZ_to_Lab(colour.sRGB_to_XYZ(np.array(one)), [0.3127, 0.3290])
        for one in (worst.first, worst.second)
    ]
    assert worst.delta_e == pytest.approx(
        float(colour.delta_E(*light, method="CIE 2000")), abs=0.02
    )


def test_different_sizes_are_compared_where_both_are_defined():
    low, high = np.zeros(3), np.full(3, 2.0)
    wide = Function((Lattice(grid(5) * 2, low, high),), None, low, high)
    found = compare(function(grid(9)), wide)
    assert found.high == (1, 1, 1)
    assert found.codes.largest == pytest.approx(0, abs=1e-9)


def test_domains_apart_are_refused():
    low, high = np.full(3, 2.0), np.full(3, 3.0)
    far = Function((Lattice(grid(5), low, high),), None, low, high)
    with pytest.raises(InputError, match="do not overlap"):
        compare(function(grid(5)), far)


def test_a_faulty_file_is_refused_with_its_faults(tmp_path):
    good = written(tmp_path / "a.cube", grid(3))
    (tmp_path / "b.cube").write_text("LUT_3D_SIZE 3\n0 0 0\n")
    with pytest.raises(LutFileError, match=r"b\.cube:2"):
        compare_files(good, tmp_path / "b.cube")


def test_an_unknown_output_is_refused(tmp_path):
    with pytest.raises(UnknownNameError):
        compare_files(tmp_path / "a.cube", tmp_path / "b.cube", "Rec.7090")
