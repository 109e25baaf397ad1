"""The consistency matrix against colour-science, and its refusals."""

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.match.consistency import consistency


def same(codes):
    return codes


LAB = np.random.default_rng(0).uniform([10, -50, -50], [95, 50, 50], size=(30, 3))


def test_pairs_are_the_delta_e_2000_of_where_colours_land():
    colour = pytest.importorskip("colour", reason="colour-science is an optional extra")
    moved = LAB + np.array([1.0, 2.0, -1.0])
    found = consistency({"A": LAB, "B": moved, "C": LAB}, {"A": same, "B": same, "C": same}, same)
    wanted = colour.delta_E(LAB, moved, method="CIE 2000")
    assert found.between("B", "A").mean == pytest.approx(wanted.mean(), rel=1e-6)
    assert found.between("A", "B").p95 == pytest.approx(np.percentile(wanted, 95), rel=1e-6)
    assert found.between("A", "B").max == pytest.approx(wanted.max(), rel=1e-6)
    # The root of what rounding leaves.
    assert found.between("A", "C").max < 1e-5
    assert found.worst in {("A", "B"), ("B", "C")}
    assert f"{wanted.mean():.2f}" in found.table()
    assert found.as_dict()["colours"] == 30


def test_each_camera_goes_through_its_own_chain():
    found = consistency(
        {"A": LAB, "B": LAB / 2.0}, {"A": same, "B": lambda codes: codes * 2.0}, same
    )
    assert found.between("A", "B").max < 1e-5


def test_what_cannot_be_compared_is_refused():
    with pytest.raises(InputError, match="at least two"):
        consistency({"A": LAB}, {"A": same}, same)
    with pytest.raises(InputError, match="no chain for camera B"):
        consistency({"A": LAB, "B": LAB}, {"A": same}, same)
    with pytest.raises(InputError, match="different numbers"):
        consistency({"A": LAB, "B": LAB[:3]}, {"A": same, "B": same}, same)
