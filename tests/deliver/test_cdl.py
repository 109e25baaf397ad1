"""ASC CDL files, read back by OpenColorIO and checked against the published schema."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.deliver.cdl import Correction, write_cdl
from lookkit.errors import LookkitError
from lookkit.nodes.cdl import apply_cdl
from lookkit.ocio import Processor, library

# OpenColorIO's CDL tests (an independent implementation), no-clamp vectors, 1e-6:
A = Correction("a", (1.35, 1.1, 0.071), (0.05, -0.23, 0.11), (0.93, 0.81, 1.27), 1.23, "words & <")
VECTORS = [
    ((0.3278, 0.01, 1.0), (0.645424, -0.260548, 0.149154)),
    ((-0.2, 0.5, 1.4), (-0.327485, 0.431854, 0.111983)),
    ((1.25, 1.5, 1.75), (1.753162, 1.33113, -0.108181)),
    ((0.25, 0.5, 0.75), (0.422056, 0.401466, 0.03582)),
]
# The second published set; its inputs need no clamp.
B = Correction("b", (1.15, 1.1, 0.9), (0.05, 0.02, 0.07), (1.2, 0.95, 1.13), 0.87)
VECTORS_B = [
    ((0.65, 0.55, 0.2), (0.745644, 0.639197, 0.264149)),
    ((0.41, 0.81, 0.39), (0.499594, 0.897554, 0.428591)),
]


@pytest.mark.parametrize(
    ("correction", "code", "out"),
    [(A, *pair) for pair in VECTORS] + [(B, *pair) for pair in VECTORS_B],
)
def test_the_published_vectors_come_out(correction, code, out):
    np.testing.assert_allclose(correction.apply(np.array(code)), out, atol=1e-6)


def read(path, id):
    found = library().CDLTransform.CreateFromFile(str(path), id)
    return found.getSlope(), found.getOffset(), found.getPower(), found.getSat()


@pytest.mark.parametrize("suffix", [".ccc", ".cdl"])
def test_opencolorio_reads_every_correction_back(tmp_path, suffix):
    path = tmp_path / f"looks{suffix}"
    write_cdl([A, B], path)
    for one in (A, B):
        slope, offset, power, saturation = read(path, one.id)
        np.testing.assert_allclose(
            [*slope, *offset, *power, saturation],
            [*one.slope, *one.offset, *one.power, one.saturation],
            rtol=1e-6,
        )


@given(
    st.lists(st.floats(0.1, 4), min_size=6, max_size=6),
    st.lists(st.floats(-1, 1), min_size=3, max_size=3),
    st.floats(0, 4),
)
def test_any_numbers_survive_a_cc_file(tmp_path_factory, positive, offset, saturation):
    one = Correction("x", tuple(positive[:3]), tuple(offset), tuple(positive[3:]), saturation)
    path = tmp_path_factory.mktemp("cc") / "x.cc"
    write_cdl([one], path)
    slope, back, power, sat = read(path, "")
    np.testing.assert_allclose([*slope, *power, sat], [*positive, saturation], rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(back, offset, rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("suffix", [".cc", ".ccc", ".cdl"])
def test_the_published_schema_accepts_them(shared_data, tmp_path, suffix):
    """ASC-CDL_schema_v1.01.xsd, as the Academy publishes it beside AMF."""
    etree = pytest.importorskip("lxml.etree")
    schema = etree.XMLSchema(etree.parse(str(shared_data / "amf" / "ASC-CDL_schema_v1.01.xsd")))
    path = tmp_path / f"x{suffix}"
    write_cdl([A] if suffix == ".cc" else [A, B], path)
    schema.assertValid(etree.parse(str(path)))


@pytest.mark.parametrize(
    "name", ["cdl_test1.cc", "cdl_test1.ccc", "cdl_test1.cdl", "cdl_test_ASC_SAT.cc"]
)
def test_samples_by_others_survive_our_writer(shared_data, tmp_path, name):
    """OpenColorIO's own sample files, read by it, written by us, read by it again."""
    group = library().CDLTransform.CreateGroupFromFile(str(shared_data / "lut" / name))
    corrections = [
        Correction(
            found.getID() or f"n{i}",
            tuple(found.getSlope()),
            tuple(found.getOffset()),
            tuple(found.getPower()),
            found.getSat(),
        )
        for i, found in enumerate(group)
    ]
    path = tmp_path / name
    write_cdl(corrections, path)
    again = library().CDLTransform.CreateGroupFromFile(str(path))
    assert len(again) == len(group)
    for first, second in zip(group, again, strict=True):
        np.testing.assert_allclose(second.getSlope(), first.getSlope(), rtol=1e-6)
        np.testing.assert_allclose(second.getOffset(), first.getOffset(), rtol=1e-6)
        np.testing.assert_allclose(second.getPower(), first.getPower(), rtol=1e-6)
        assert second.getSat() == pytest.approx(first.getSat(), rel=1e-6)
        code = np.random.default_rng(1).uniform(-0.2, 1.4, (1000, 3))
        before, after = (Processor([cdl]).apply(code) for cdl in (first, second))
        np.testing.assert_allclose(after, before, rtol=1e-5, atol=1e-6)


def test_a_cc_holds_exactly_one_and_other_endings_are_refused(tmp_path):
    with pytest.raises(LookkitError, match="holds one"):
        write_cdl([A, B], tmp_path / "x.cc")
    with pytest.raises(LookkitError, match="expected"):
        write_cdl([A], tmp_path / "x.xml")
    assert list(tmp_path.iterdir()) == []


def test_negative_codes_skip_the_power():
    """ASC CDL v1.2: without clamps the power is not applied below zero."""
    out = apply_cdl(np.array([-0.5, 0.5, 0.5]), np.ones(3), np.zeros(3), np.full(3, 2.0), 1.0)
    np.testing.assert_allclose(out, [-0.5, 0.25, 0.25])
