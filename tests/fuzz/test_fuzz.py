"""A slice of the fuzzing: a few hundred changed files through each harness."""

import json
import struct
import zlib

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.handoff.timeline.reading import marks_in, names_of, read_timeline
from lookkit.handoff.timeline.shots import read_shots
from lookkit.look import Look
from lookkit.media.stills import read_still, write_still
from lookkit.recipe.load import parse_recipe
from lookkit.recipe.match_file import match_text, parse_match
from tests.fuzz import run
from tests.recipe.matched import match_of


@pytest.mark.parametrize(
    ("name", "cases"),
    [
        ("luts", 600), ("pictures", 300), ("clips", 60), ("recipes", 400), ("matchfiles", 100),
        ("handoffs", 80), ("timelines", 150),
    ],
)  # fmt: skip
def test_changed_files_are_refused_in_words_or_read(name, cases):
    harness = pytest.importorskip(f"tests.fuzz.{name}")
    found = [(number, told) for number in range(cases) if (told := run.one(harness, number))]
    assert not found, found[0]


@pytest.mark.parametrize("size", [(60_000, 60_000), (20_000, 20_000)])
def test_a_picture_that_claims_a_size_it_cannot_hold_is_refused_before_memory_is_taken(
    tmp_path, size
):
    path = tmp_path / "a.png"
    write_still(path, np.zeros((4, 4, 3), np.float32), bits=8)
    data = bytearray(path.read_bytes())
    data[16:24] = struct.pack(">II", *size)
    data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    path.write_bytes(data)
    import tracemalloc

    tracemalloc.start()
    try:
        with pytest.raises(InputError, match="claims"):
            read_still(path)
        assert tracemalloc.get_traced_memory()[1] < 50 << 20
    finally:
        tracemalloc.stop()


def test_a_photograph_that_claims_a_size_it_cannot_hold_is_refused(tmp_path):
    """The frame header of ITU-T T.81: FF C0, length, bits, lines, samples a line."""
    path = tmp_path / "a.jpg"
    write_still(path, np.zeros((16, 16, 3), np.float32), bits=8)
    data = bytearray(path.read_bytes())
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", 36453, 4103)
    path.write_bytes(data)
    with pytest.raises(InputError, match="claims 4103x36453"):
        read_still(path)


HEAD = """schema = 1
name = "Plain"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[outputs.monitor]
output = "Rec.709 BT.1886"
[[look]]
"""


@pytest.mark.parametrize(
    ("node", "told"),
    [
        ('kind = "cdl"\npower = [1000.0, 1, 1]', "light beyond any number"),
        ('kind = "cdl"\nslope = [1, 1, 1e9]', "light beyond any number"),
        ('kind = "tone-bands"\nbands = [{ centre = 0, shift = 1e9 }]', "-10 to 10"),
        (
            'kind = "tone-bands"\nbands = [{ centre = 0, shift = { hue = 1, strength = 1e9 } }]',
            "-10 to 10",
        ),
    ],
)
def test_numbers_that_make_no_picture_are_refused(node, told):
    with pytest.raises(InputError, match=told):
        parse_recipe(HEAD + node)


def test_a_cdl_as_strong_as_anybody_grades_is_not_refused():
    recipe = parse_recipe(HEAD + 'kind = "cdl"\nslope = [2.5, 4, 2]\npower = [2, 1, 0.3]')
    look = Look(recipe, "")
    shown = look.evaluate(np.ones((1, 3)), camera="A", output="monitor")
    assert np.isfinite(shown).all()


@pytest.mark.parametrize(
    ("timeline", "told"),
    [
        ({"OTIO_SCHEMA": "Timeline.1", "name": "a", "tracks": None}, "without tracks"),
        ({"OTIO_SCHEMA": "Clip.1e"}, "a schema 'Clip.1e'"),
        ({"OTIO_SCHEMA": "Clip.1", "media_references": {}}, "a clip of two forms"),
    ],
)
def test_timelines_at_which_their_reader_crashes_are_refused(timeline, told):
    pytest.importorskip("opentimelineio")
    with pytest.raises(InputError, match=told):
        read_timeline(".otio", json.dumps(timeline), 24.0)


def test_clips_whose_metadata_are_no_tables_are_read():
    otio = pytest.importorskip("opentimelineio")
    clip = otio.schema.Clip("a", metadata={"cmx_3600": "x"})
    assert names_of(clip) == ["a"]
    assert marks_in(clip) == ((), "", "")
    clip.metadata["cmx_3600"] = {"comments": 3}
    assert marks_in(clip) == ((), "", "")


def test_a_shot_list_whose_first_line_is_broken_is_refused(tmp_path):
    (tmp_path / "a.csv").write_bytes(b"match,cam\rera\nA*,A\n")
    with pytest.raises(InputError, match=r"a\.csv"):
        read_shots(tmp_path / "a.csv", Look(parse_recipe(HEAD + 'kind = "exposure"'), ""))


def test_a_match_file_made_to_land_on_a_strange_name_is_written_so_that_it_reads():
    match = match_of(reference="chart \x00\nx = 1")
    assert parse_match(match_text(match)) == match
