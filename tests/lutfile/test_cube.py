"""The .cube writer and strict reader, against the format and three other readers."""

import io
import os
import stat
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lookkit.errors import InputError, LookkitError, LutFileError
from lookkit.inspect.function import Function, function_of
from lookkit.inspect.readers import READERS, Job, ReaderName, read_with
from lookkit.lutfile.cube import read_cube, write_cube, write_cube_1d
from lookkit.lutfile.cube_scan import scan_cube_bytes

VALUES = st.floats(-4.0, 60.0, allow_nan=False, width=32)
LATTICES = st.integers(2, 5).flatmap(
    lambda n: arrays(np.float64, (n, n, n, 3), elements=VALUES, fill=st.nothing())
)
CURVES = st.integers(2, 20).flatmap(lambda n: arrays(np.float64, (n, 3), elements=VALUES))
TEXT = st.text(max_size=400)


def ramp(size: int) -> np.ndarray:
    """A lattice whose three channels and axes all differ."""
    axis = np.linspace(0.0, 1.0, size)
    r, g, b = np.meshgrid(axis, axis, axis, indexing="ij")
    return np.stack([0.1 + 0.6 * r + 0.1 * g, 0.9 * g**1.3, 0.05 + 0.7 * b**0.8], axis=-1)


def text_of(lattice: np.ndarray, **more) -> str:
    file = io.BytesIO()
    write_cube(file, lattice, **({"title": "t", "comments": []} | more))
    return file.getvalue().decode("ascii")


def test_red_runs_fastest():
    # .cube 1.0: the first input, red, changes fastest.
    lattice = np.zeros((2, 2, 2, 3))
    lattice[1, :, :, 0], lattice[:, 1, :, 1], lattice[:, :, 1, 2] = 1, 1, 1
    rows = text_of(lattice).splitlines()[-8:]
    assert [row[0] + row[11] + row[22] for row in rows] == [
        "000", "100", "010", "110", "001", "101", "011", "111",
    ]  # fmt: skip


@given(LATTICES, TEXT, st.lists(TEXT, max_size=3))
def test_a_written_file_is_plain(lattice, title, comments):
    file = io.BytesIO()
    write_cube(file, lattice, title=title, comments=comments)
    data = file.getvalue()
    lines = data.split(b"\n")
    assert data.isascii()
    assert data.endswith(b"\n")
    assert b"\r" not in data
    assert max(map(len, lines)) <= 250
    assert lines[0].startswith(b'TITLE "')
    assert lines[0].count(b'"') == 2
    words = {line.split()[0] for line in lines[1:] if line and line[:1].isalpha()}
    assert words == {b"LUT_3D_SIZE"}
    assert b"-0.00000000" not in data


@given(LATTICES, st.integers(7, 15))
def test_a_lattice_comes_back_within_the_written_decimals(lattice, decimals):
    file = io.BytesIO()
    write_cube(file, lattice, title="t", comments=["c"], decimals=decimals)
    read = scan_cube_bytes(file.getvalue(), Path("x.cube"))
    assert not read.faults
    assert np.abs(read.lattice.values - lattice).max() <= 0.5 * 10.0**-decimals + 1e-14


@given(CURVES)
def test_a_curve_comes_back_within_the_written_decimals(curve):
    file = io.BytesIO()
    write_cube_1d(file, curve, title="t", comments=[])
    read = scan_cube_bytes(file.getvalue(), Path("x.cube"))
    assert not read.faults
    assert np.abs(read.curve.table - curve).max() <= 0.5e-8 + 1e-14


@given(LATTICES, st.tuples(VALUES, VALUES, VALUES), st.floats(0.0625, 8, width=32))
def test_a_domain_comes_back_exactly(lattice, low, width):
    domain = (low, tuple(value + width for value in low))
    file = io.BytesIO()
    write_cube(file, lattice, title="t", comments=[], domain=domain)
    read = scan_cube_bytes(file.getvalue(), Path("x.cube"))
    assert not read.faults
    assert (read.lattice.low == domain[0]).all()
    assert (read.lattice.high == domain[1]).all()


def test_title_and_comments_come_back_in_ascii():
    text = text_of(ramp(2), title='Töpferei "warm"\nfilm', comments=["Größe\nzwei", ""])
    read = scan_cube_bytes(text.encode(), Path("x.cube"))
    assert read.title == "Topferei 'warm' film"
    # The sharp s has no accent to drop.
    assert read.comments == ("Gro?e", "zwei", "")


def test_equal_channels_may_be_one_column(tmp_path):
    write_cube_1d(tmp_path / "a.cube", np.array([0.0, 0.3, 1.0]), title="", comments=[])
    assert (read_cube(tmp_path / "a.cube").curve.table == [[0] * 3, [0.3] * 3, [1] * 3]).all()


@pytest.mark.parametrize("shape", [(2, 2, 2), (2, 2, 3, 3), (1, 1, 1, 3), (130, 130, 130, 3)])
def test_other_shapes_are_refused(shape):
    with pytest.raises(ValueError, match="expected"):
        write_cube(io.BytesIO(), np.zeros(shape), title="", comments=[])


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1e31])
def test_values_that_no_file_carries_are_refused_by_name(value, tmp_path):
    lattice = ramp(3)
    lattice[2, 0, 1, 2] = value
    with pytest.raises(LookkitError, match="red 2, green 0, blue 1: B"):
        write_cube(tmp_path / "a.cube", lattice, title="", comments=[])
    assert not list(tmp_path.iterdir())


def test_written_twice_is_the_same_bytes():
    assert text_of(ramp(5)) == text_of(ramp(5))


LIBRARY = {"ocio": "PyOpenColorIO", "colour": "colour", "ffmpeg": "av"}


@pytest.mark.parametrize("reader", READERS)
def test_other_readers_agree_with_ours(reader: ReaderName, tmp_path):
    # The judges are OpenColorIO, colour-science and FFmpeg's lut3d and lut1d, each reading
    # the written file itself.
    pytest.importorskip(LIBRARY[reader])
    rng = np.random.default_rng(1)
    jobs, ours = [], []

    def add(name: str, curves: bool) -> None:
        function = function_of(read_cube(tmp_path / name))
        assert isinstance(function, Function)
        places = np.concatenate([rng.random((500, 3)), np.eye(3), np.zeros((1, 3))])
        pixels = function.over(places).astype(np.float32).astype(np.float64)
        jobs.append(Job(tmp_path / name, pixels, curves))
        ours.append(function(pixels))

    for size in (2, 17, 33):
        write_cube(tmp_path / f"{size}.cube", ramp(size), title="a look", comments=["a", "b"])
        add(f"{size}.cube", curves=False)
    write_cube(tmp_path / "random.cube", rng.random((9, 9, 9, 3)), title="", comments=[])
    add("random.cube", curves=False)
    beyond = rng.uniform(-0.5, 3.0, (5, 5, 5, 3))
    write_cube(tmp_path / "beyond.cube", beyond, title="", comments=[])
    add("beyond.cube", curves=False)
    write_cube_1d(tmp_path / "curve.cube", rng.random((257, 3)), title="", comments=[])
    add("curve.cube", curves=True)
    domain = ((0.0, 0.0, 0.0), (2.0, 2.0, 2.0))
    write_cube(tmp_path / "domain.cube", ramp(9), title="", comments=[], domain=domain)
    add("domain.cube", curves=False)
    for job, mine, answer in zip(jobs, ours, read_with(reader, jobs), strict=True):
        assert answer.result is not None, (job.path.name, answer.reason)
        # 32-bit floats of values up to 3 and up to 257 steps of input.
        assert np.abs(answer.result - mine).max() < 2e-5, job.path.name


def test_a_real_file_is_read_as_its_author_wrote_it(shared_data):
    # A 3D test file of OpenColorIO: domain 0 1 0 to 2 2 1, corners at 0 and 2.
    read = read_cube(shared_data / "lut" / "cube_3d.cube")
    assert read.title == "A test 3D-LUT."
    assert (read.lattice.low == [0, 1, 0]).all()
    assert (read.lattice.high == [2, 2, 1]).all()
    assert (read.lattice.values[1, 0, 1] == [2, 0, 2]).all()


def test_a_real_mixed_file_is_refused(shared_data):
    with pytest.raises(LutFileError, match=r"logc_to_video\.cube:5: .*1D and a 3D"):
        read_cube(shared_data / "lut" / "logc_to_video.cube")


def test_all_faults_come_at_once(tmp_path):
    path = tmp_path / "bad.cube"
    path.write_text("TITEL x\nLUT_3D_SIZE 2\n" + "0 0 0\n" * 6 + "0 nan 0\n0,5 1 1\n1 1 1\n")
    with pytest.raises(LutFileError) as caught:
        read_cube(path)
    assert [problem.line for problem in caught.value.problems] == [1, 9, 10, 11]
    assert f"{path}:9: 'nan', expected a finite number" in str(caught.value)


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"folder|cannot be read"):
        read_cube(tmp_path)


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_cube(tmp_path / "none.cube")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")
def test_a_pipe_is_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "pipe.cube")
    with pytest.raises(InputError, match="not a regular file"):
        read_cube(tmp_path / "pipe.cube")


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no devices on this system")
def test_a_device_is_refused():
    assert stat.S_ISCHR(Path("/dev/zero").stat().st_mode)
    with pytest.raises(InputError, match="not a regular file"):
        read_cube("/dev/zero")


def test_a_name_with_a_zero_byte_is_refused():
    with pytest.raises(InputError, match="cannot be read"):
        read_cube("a\0b.cube")


def test_a_file_beyond_any_lut_is_refused_unread(tmp_path):
    path = tmp_path / "huge.cube"
    with path.open("wb") as file:
        file.truncate((256 << 20) + 1)
    with pytest.raises(InputError, match="larger than 256 MiB"):
        read_cube(path)
