"""A shaper and a lattice in a .clf: readers we did not write find the same values."""

import numpy as np
import pytest

from lookkit.accuracy.interpolate import READERS, interpolate
from lookkit.errors import InputError, LookkitError, LutFileError
from lookkit.lutfile.clf_lattice import clf_of_lattice, read_clf_lattice
from lookkit.lutfile.clf_write import ClfHead
from lookkit.ocio import library

RNG = np.random.default_rng(3)
LATTICE = RNG.random((5, 5, 5, 3)) * 1.4 - 0.2
SHAPER = np.concatenate([[0.0], np.sort(RNG.random(62)), [1.0]])


HEAD = ClfHead('A <"title"> & more', "LogC4", "Rec.709", ("one", "two"))


@pytest.fixture(params=[SHAPER, None], ids=["shaped", "plain"])
def shaper(request):
    return request.param


def test_what_was_written_is_read_back(tmp_path, shaper):
    path = tmp_path / "a.clf"
    clf_of_lattice(LATTICE, shaper, "trilinear").write(path, HEAD)
    found = read_clf_lattice(path)
    np.testing.assert_allclose(found.lattice, LATTICE, atol=1e-7)
    if shaper is None:
        assert found.shaper is None
    else:
        np.testing.assert_allclose(found.shaper, shaper, atol=1e-7)
    assert found.interpolation == "trilinear"


@pytest.mark.parametrize("reader", READERS)
def test_opencolorio_reads_it_as_we_do(tmp_path, shaper, reader):
    path = tmp_path / "a.clf"
    clf_of_lattice(LATTICE, shaper, reader).write(path, HEAD)
    ocio = library()
    config = ocio.Config.CreateRaw()
    # Default interpolation: the file's own.
    transform = ocio.FileTransform(str(path), interpolation=ocio.INTERP_DEFAULT)
    cpu = config.getProcessor(transform).getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
    code = RNG.random((4000, 3)).astype(np.float32)
    found = code.copy()
    cpu.applyRGB(found)
    place = code.astype(np.float64)
    if shaper is not None:
        place = np.interp(place, np.linspace(0.0, 1.0, len(shaper)), shaper)
    np.testing.assert_allclose(found, interpolate(LATTICE, place, reader), atol=3e-6)


def test_colour_clf_io_finds_the_same_nodes(tmp_path):
    # colour-clf-io reads Academy S-2014-006 version 3.
    clf_io = pytest.importorskip("colour_clf_io")
    path = tmp_path / "a.clf"
    clf_of_lattice(LATTICE, SHAPER).write(path, HEAD, "academy")
    found = clf_io.read_clf_from_file(str(path))
    assert found.name == 'A <"title"> & more'
    assert found.description == ["one", "two"]
    assert (found.input_descriptor, found.output_descriptor) == ("LogC4", "Rec.709")
    curve, lattice = found.process_nodes
    np.testing.assert_allclose(np.ravel(curve.array.as_array()), SHAPER, atol=1e-7)
    values = lattice.array.as_array().reshape(5, 5, 5, 3)
    np.testing.assert_allclose(values, LATTICE, atol=1e-7)


@pytest.mark.parametrize(
    "bad", [SHAPER[:1], SHAPER[:, None], np.full(65537, 0.5), np.array([0.0, np.nan, 1.0])]
)
def test_a_shaper_that_no_file_can_carry_is_refused(bad):
    with pytest.raises(ValueError, match="expected a finite shaper"):
        clf_of_lattice(LATTICE, bad)


def test_a_lattice_that_no_file_can_carry_is_refused():
    with pytest.raises(ValueError, match="n 2 to 129"):
        clf_of_lattice(LATTICE[:4])
    bad = LATTICE.copy()
    bad[1, 2, 3, 0] = np.inf
    with pytest.raises(LookkitError, match="red 1, green 2, blue 3: R is inf"):
        clf_of_lattice(bad)


def test_what_is_no_shaper_and_lattice_is_refused(tmp_path):
    path = tmp_path / "a.clf"
    clf_of_lattice(LATTICE, SHAPER).write(path, HEAD)
    text = path.read_text()
    start, end = text.index("<LUT3D"), text.index("</LUT3D>") + len("</LUT3D>")
    path.write_text(text[:start] + text[end:])
    with pytest.raises(InputError, match=r"holds LUT1D of 64 rows, expected a LUT3D, or"):
        read_clf_lattice(path)
    path.write_text(text.replace('inBitDepth="32f"', 'inBitDepth="10i"', 1))
    with pytest.raises(InputError, match="of float values"):
        read_clf_lattice(path)
    path.write_text(text.replace("</Array>", "0.5</Array>", 1))
    with pytest.raises(LutFileError, match="65 values"):
        read_clf_lattice(path)
