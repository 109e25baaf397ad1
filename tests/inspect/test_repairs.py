"""A clean .cube is written when that loses nothing, and only then."""

import numpy as np
import pytest

from lookkit.accuracy.sampling import grid
from lookkit.errors import InputError, LutFileError
from lookkit.inspect.repairs import repair
from lookkit.lutfile.cube import read_cube
from lookkit.lutfile.read import scan_lut
from tests.inspect.luts import contrast, written
from tests.lutfile.test_formats import DL, SPI1D, STRAIGHT, csp, spi3d


def test_every_change_is_said_once(tmp_path):
    path = written(tmp_path / "a.cube", contrast(5), title="x")
    text = path.read_text().replace('"x"', "Töpferei").replace("LUT_3D", "GAMMA 2\nLUT_3D")
    text = text.replace("0.", "0,").replace("\n", "\r\n")
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    done = repair(scan_lut(path), tmp_path / "b.cube")
    # The row of ones alone has no "0," in it.
    assert sorted(done.changes) == [
        "line 1: byte order mark dropped",
        "line 1: letters made ASCII",
        "line 1: lines end in LF",
        "line 1: title put in quotes",
        "line 2: unknown keyword kept as a comment",
        "line 4 and 123 more: decimal commas made points",
    ]
    clean = read_cube(done.path)
    assert not clean.faults
    assert clean.title == "Topferei"
    assert clean.comments == ("GAMMA 2",)
    assert np.abs(clean.lattice.values - contrast(5)).max() < 1e-8


def test_words_that_belong_nowhere_are_kept_as_comments(tmp_path):
    path = tmp_path / "a.cube"
    path.write_text("; by hand\nLUT_3D_SIZE 2\n" + "0 0.5 1 # why\n" * 8 + "END of it\n")
    clean = read_cube(repair(scan_lut(path), tmp_path / "b.cube").path)
    assert clean.comments == ("; by hand", *["why"] * 8, "END of it")


def test_a_sound_file_becomes_a_clean_copy(tmp_path):
    path = written(tmp_path / "a.cube", contrast(5))
    done = repair(scan_lut(path), tmp_path / "b.cube")
    assert done.changes == ()
    assert done.path.read_bytes() == path.read_bytes()


def test_a_domain_is_kept_and_put_where_all_look_for_it(tmp_path):
    path = tmp_path / "a.cube"
    path.write_text("DOMAIN_MAX 2 4 8\nLUT_3D_SIZE 2\n" + "0 0.5 1\n" * 8)
    done = repair(scan_lut(path), tmp_path / "b.cube")
    lines = done.path.read_text().splitlines()
    assert lines.index("LUT_3D_SIZE 2") < lines.index("DOMAIN_MAX 2.0 4.0 8.0")
    assert read_cube(done.path).lattice.high.tolist() == [2, 4, 8]
    assert done.changes


def test_as_many_decimals_are_written_as_the_numbers_have(tmp_path):
    path = tmp_path / "a.cube"
    path.write_text("LUT_3D_SIZE 2\n" + "0.1234567890123 1e-9 1\n" * 8 + "\x1a")
    values = read_cube(repair(scan_lut(path), tmp_path / "b.cube").path).lattice.values
    assert values[0, 0, 0].tolist() == [0.1234567890123, 1e-9, 1]


def test_a_curve_that_changes_nothing_is_left_out(tmp_path):
    path = tmp_path / "a.cube"
    rows = "".join(f"{r} {g} {b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 0.5))
    path.write_text("LUT_1D_SIZE 3\nLUT_3D_SIZE 2\n0 0 0\n0.5 0.5 0.5\n1 1 1\n" + rows)
    done = repair(scan_lut(path), tmp_path / "b.cube")
    assert done.changes == ("a curve that changes nothing left out",)
    assert read_cube(done.path).lattice.size == 2


@pytest.mark.parametrize("row", ["0.1 0.1 0.1", "0.5 0.5 0.6"])
def test_a_curve_that_does_something_is_not(row, tmp_path):
    path = tmp_path / "a.cube"
    path.write_text(f"LUT_1D_SIZE 3\nLUT_3D_SIZE 2\n0 0 0\n{row}\n1 1 1\n" + "0 0 1\n" * 8)
    with pytest.raises(LutFileError, match="1D and a 3D"):
        repair(scan_lut(path), tmp_path / "b.cube")
    assert not (tmp_path / "b.cube").exists()


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a.spi1d", SPI1D),
        ("a.spi3d", spi3d(grid(2), [(r, g, b) for b in (1, 0) for g in (0, 1) for r in (0, 1)])),
        ("a.3dl", DL),
        ("a.csp", csp("1D", STRAIGHT, "2\n0 0 0\n1 1 1\n")),
    ],
)
def test_another_format_is_written_as_a_cube(name, text, tmp_path):
    (tmp_path / name).write_text(text)
    read = scan_lut(tmp_path / name)
    done = repair(read, tmp_path / "b.cube")
    assert any("written as a .cube" in change for change in done.changes)
    clean, stage = read_cube(done.path).stages[0], read.stages[-1]
    kind = "table" if hasattr(stage, "table") else "values"
    assert np.abs(getattr(clean, kind) - getattr(stage, kind)).max() < 1e-12


@pytest.mark.parametrize(
    "body",
    [
        "LUT_3D_SIZE 2\n" + "0 0 0\n" * 7,
        "LUT_3D_SIZE 2\n" + "0 0 0\n" * 9,
        "LUT_3D_SIZE 2\n" + "0 0 nan\n" * 8,
        "LUT_3D_SIZE 2\nDOMAIN_MX 2 2 2\n" + "0 0 0\n" * 8,
        "LUT_3D_SIZE 2\nDOMAIN_MIN 1 1 1\nDOMAIN_MAX 0 0 0\n" + "0 0 0\n" * 8,
        "LUT_3D_SIZE 2\nLUT_3D_SIZE 3\n" + "0 0 0\n" * 8,
        "",
    ],
)
def test_what_leaves_a_doubt_is_refused_with_its_faults(body, tmp_path):
    (tmp_path / "a.cube").write_text(body)
    with pytest.raises(LutFileError) as caught:
        repair(scan_lut(tmp_path / "a.cube"), tmp_path / "b.cube")
    assert caught.value.problems
    assert not (tmp_path / "b.cube").exists()


def test_a_chain_is_more_than_a_cube_can_hold(tmp_path):
    text = csp("1D", "2\n0 1\n0.1 0.9\n" * 3, "2\n0 0 0\n1 1 1\n")
    (tmp_path / "a.csp").write_text(text)
    with pytest.raises(InputError, match="a chain of curves"):
        repair(scan_lut(tmp_path / "a.csp"), tmp_path / "b.cube")


def test_nothing_is_overwritten(tmp_path):
    path = written(tmp_path / "a.cube", contrast(3))
    before = path.read_bytes()
    with pytest.raises(InputError, match="exists already"):
        repair(scan_lut(path), path)
    assert path.read_bytes() == before


def test_only_a_cube_is_written(tmp_path):
    path = written(tmp_path / "a.cube", contrast(3))
    with pytest.raises(InputError, match=r"a repaired LUT is a \.cube"):
        repair(scan_lut(path), tmp_path / "b.3dl")
