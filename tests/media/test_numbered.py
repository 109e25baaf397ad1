"""Numbered frames as the trade writes them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.errors import InputError
from lookkit.media.numbered import group, is_pattern, is_range, listed, numbered, parse_range


@pytest.mark.parametrize(
    ("text", "frames"),
    [("1001-1003", (1001, 1002, 1003)), ("1-9x4", (1, 5, 9)), ("7", (7,)),
     ("1-2,2-3,9", (1, 2, 3, 9)), ("-2-1", (-2, -1, 0, 1))],
)  # fmt: skip
def test_ranges(text, frames):
    assert is_range(text)
    assert parse_range(text) == frames


@pytest.mark.parametrize("text", ["9-1", "1-2x0", "a-b", "", "1--", "1-99999999999"])
def test_ranges_that_are_none(text):
    with pytest.raises(InputError, match="frame range"):
        parse_range(text)


@given(st.sets(st.integers(0, 5000), min_size=1))
def test_what_is_listed_reads_back(frames):
    assert set(parse_range(listed(sorted(frames)).replace(" ", ""))) == frames


@pytest.mark.parametrize(
    "pattern", ["shot.####.exr", "shot.%04d.exr", "shot.%d.exr", "####.dpx", "a_#.png"]
)
def test_patterns(pattern):
    assert is_pattern(pattern)


@pytest.mark.parametrize("name", ["shot.0001.exr", "A001.mov", "100%.png"])
def test_names_that_are_no_patterns(name):
    assert not is_pattern(name)


def test_a_pattern_finds_its_frames_and_their_gaps(tmp_path):
    for name in ("s.0998.exr", "s.0999.exr", "s.1001.exr", "s.1001.exr.bak", "s.12.exr", "t.1.exr"):
        (tmp_path / name).touch()
    found = numbered(str(tmp_path / "s.####.exr"))
    assert found.frames == (998, 999, 1001)
    assert found.missing == (1000,)
    assert found.path(998) == tmp_path / "s.0998.exr"
    assert numbered(str(tmp_path / "s.%04d.exr"), "999-1002").missing == (1000, 1002)
    with pytest.raises(InputError, match="none of the frames 1-5 is there"):
        numbered(str(tmp_path / "s.####.exr"), "1-5")
    with pytest.raises(InputError, match="cannot be read"):
        numbered(str(tmp_path / "no" / "s.####.exr"))


def test_a_folders_files_are_grouped(tmp_path):
    names = [
        "a.0001.exr",
        "a.0002.exr",
        "a.0003.exr",
        "b.7.exr",
        "still.exr",
        "c.1.dpx",
        "c.999.dpx",
    ]
    found = group(tmp_path / name for name in names)
    assert [getattr(one, "name", None) for one in found] == [
        "a.####.exr", "b.7.exr", "c.1.dpx", "c.999.dpx", "still.exr",
    ]  # fmt: skip
