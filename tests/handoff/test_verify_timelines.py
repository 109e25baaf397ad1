"""Timelines made from a hand-off are read by OpenTimelineIO and held against it."""

import re
import shutil

import pytest

from lookkit.errors import InputError
from lookkit.handoff.build import build
from lookkit.handoff.timeline import mark_timeline
from lookkit.handoff.verify import verify
from lookkit.handoff.verify.listing import read_listing
from lookkit.handoff.verify.timelines import timeline_rows
from lookkit.look import load
from tests.handoff.edits import DROP, PLAIN
from tests.handoff.verifying import bad, copied, relist

otio = pytest.importorskip("opentimelineio")
pytest.importorskip("otio_cmx3600_adapter")

RECIPE = """
schema = 1
name = "Warm print"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "S-Log3/S-Gamut3.Cine"
[[look]]
kind = "cdl"
slope = [1.1, 1.0, 0.9]
[scenes.kiln]
[[scenes.kiln.trims]]
kind = "exposure"
stops = 0.5
[outputs.monitor]
output = "Rec.709 BT.1886"
[[shots]]
match = "A0*"
camera = "A"
[[shots]]
match = "B0*"
camera = "B"
scene = "kiln"
[deliver]
scenes = ["kiln"]
formats = ["cdl", "amf"]
certify = false
fit = false
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("timelines")
    (place / "film.toml").write_text(RECIPE)
    return build(load(place / "film.toml"), place).folder


@pytest.fixture(scope="module", params=["cut.edl", "cut.otio"])
def marked(request, folder, tmp_path_factory):
    return marked_as(tmp_path_factory.mktemp("edit") / request.param, folder)


def marked_as(out, folder, text=PLAIN, **options):
    edit = out.with_name("input.edl")
    edit.write_text(text)
    mark_timeline(folder, edit, out, **options)
    return out


def rows_of(folder, path):
    """Return the rows of a timeline by reader, and whether it is sound."""
    shots = load(folder / "recipe.toml").recipe.shots
    found = list(timeline_rows({path.name: path}, read_listing(folder).entries, folder, shots))
    return {row.reader.split()[0]: row for row in found}, not any(row.bad for row in found)


def changed(path, into, old, new):
    text = path.read_text()
    made = re.sub(old, new, text, count=1)
    assert made != text
    (into / path.name).write_text(made)
    return into / path.name


def test_a_timeline_with_the_looks_of_the_hand_off_agrees(folder, marked):
    rows, sound = rows_of(folder, marked)
    assert sound
    assert rows["OpenTimelineIO"].verdict == "agrees"
    assert "3 AMFs are the hand-off's, 3 CDLs are within 1e-06" in rows["OpenTimelineIO"].text
    assert rows["shot"].verdict == "agrees"


@pytest.mark.parametrize("cdl", ["trims", "none"])
def test_trims_alone_and_no_cdl_agree(folder, tmp_path, cdl):
    """A scene without trims has a CDL that does nothing, and no file for it."""
    rows, sound = rows_of(folder, marked_as(tmp_path / "cut.edl", folder, cdl=cdl))
    assert sound
    assert f"{3 if cdl == 'trims' else 0} CDLs" in rows["OpenTimelineIO"].text


def test_a_list_is_read_whatever_its_frame_rate(folder, tmp_path):
    drop = re.sub(r"(\d\d:\d\d:\d\d):(\d\d)", r"\1;\2", DROP)
    for text, rate in ((drop, 29.97), (PLAIN.replace(":12 ", ":29 "), 30.0)):
        rows, _ = rows_of(folder, marked_as(tmp_path / "cut.edl", folder, text, rate=rate))
        assert rows["OpenTimelineIO"].verdict == "agrees"


def test_a_changed_number_of_a_cdl_is_named_with_its_clip(folder, marked, tmp_path):
    old = r"SAT \d\.\d+" if marked.suffix == ".edl" else r'"asc_sat": [\d.]+'
    new = "SAT 0.123400" if marked.suffix == ".edl" else '"asc_sat": 0.1234'
    rows, sound = rows_of(folder, changed(marked, tmp_path, old, new))
    assert not sound
    row = rows["OpenTimelineIO"]
    assert row.verdict == "misreads"
    assert row.text.startswith("clip 1 (A001C003.mov): its CDL has saturation 0.1234, not ")
    assert row.text.endswith("as Warm-print.cc")


def test_the_cdl_of_another_scene_is_found(folder, tmp_path):
    """Every number is one of the hand-off's, at another clip."""
    path = marked_as(tmp_path / "cut.edl", folder)
    plain, kiln, _ = re.findall(r"ASC_SOP (.*)", path.read_text())
    path.write_text(path.read_text().replace(kiln, plain))
    rows, _ = rows_of(folder, path)
    assert rows["OpenTimelineIO"].verdict == "misreads"
    assert "clip 2" in rows["OpenTimelineIO"].text


def test_a_cdl_that_a_reader_does_not_find_is_told(folder, tmp_path):
    """The adapter takes capitals alone; a person would not see the difference."""
    path = marked_as(tmp_path / "cut.edl", folder)
    path.write_text(path.read_text().replace("*ASC_SOP", "*asc_sop"))
    rows, _ = rows_of(folder, path)
    assert rows["OpenTimelineIO"].verdict == "misreads"
    assert rows["OpenTimelineIO"].text == ("line 4, event 001: does not find its CDL (and 2 more)")


def test_an_amf_that_is_not_there_is_named(folder, marked, tmp_path):
    rows, sound = rows_of(folder, changed(marked, tmp_path, r"A_\w[^ \n\"]*\.amf", "A_other.amf"))
    assert not sound
    assert rows["links"].verdict == "faulty"
    assert "its AMF A_other.amf is not in the hand-off" in rows["links"].text


def test_an_amf_of_another_build_is_told_by_its_uuid(folder, marked, tmp_path):
    other = "urn:uuid:00000000-0000-0000-0000-000000000000"
    rows, _ = rows_of(folder, changed(marked, tmp_path, r"urn:uuid:[0-9a-f-]+", other))
    assert rows["links"].verdict == "faulty"
    assert other in rows["links"].text


def test_an_amf_that_was_changed_in_the_folder_is_not_one_to_name(folder, marked, tmp_path):
    copy = copied(folder, tmp_path)
    path = next(copy.glob("A_LogC4*.amf"))
    path.write_text(path.read_text().replace("LogC4", "LogC3"))
    rows, _ = rows_of(copy, marked)
    assert path.name in rows["links"].text


CRASHING = '[{"OTIO_SCHEMA":"Clip.1","media_references":{"":{"OTIO_SCHEMA":"ce.1"}}}'
"""At this OpenTimelineIO 0.18 ends the process: found by fuzzing, and cut short."""


@pytest.mark.parametrize(
    ("name", "text", "reason"),
    [
        ("cut.edl", PLAIN.replace("* LOC", "*ASC_SOP (1 1)(0 0 0)(1 1 1)\n* LOC"), "ASC_SOP"),
        ("cut.otio", "{", "line 1, column 2 it is not JSON"),
        ("cut.otio", CRASHING, "line 1, column 73 it is not JSON"),
        ("cut.otio", "[" * 100_000, "nested too deeply"),
        ("cut.otio", '{"OTIO_SCHEMA": "Gap.1"}', "no timeline"),
    ],
)
def test_what_does_not_parse_is_refused(folder, tmp_path, name, text, reason):
    path = tmp_path / name
    path.write_text(text)
    rows, sound = rows_of(folder, path)
    assert not sound
    assert rows["OpenTimelineIO"].verdict == "refuses"
    assert reason in rows["OpenTimelineIO"].text


@pytest.mark.parametrize("cdl", [5, {"asc_sop": 3}, {"asc_sop": {"slope": [1, 1]}}, "x"])
def test_metadata_of_another_form_are_refused(folder, tmp_path, cdl):
    path = marked_as(tmp_path / "cut.otio", folder)
    timeline = otio.adapters.read_from_file(str(path))
    next(iter(timeline.find_clips())).metadata["cdl"] = cdl
    otio.adapters.write_to_file(timeline, str(path))
    rows, _ = rows_of(folder, path)
    assert rows["OpenTimelineIO"].verdict == "refuses"
    assert "metadata that are no look" in rows["OpenTimelineIO"].text


def test_a_timeline_without_looks_proves_nothing(folder, tmp_path):
    path = tmp_path / "cut.edl"
    path.write_text(PLAIN)
    rows, sound = rows_of(folder, path)
    assert sound
    assert rows["OpenTimelineIO"].verdict == "reads"
    assert "3 clips have no look" in rows["OpenTimelineIO"].text


def test_a_list_of_which_nothing_is_left_is_a_fault(folder, tmp_path):
    (tmp_path / "cut.edl").write_text("TITLE: POTTERY R1\n001  A001 V C 01:00:00:00\n")
    rows, sound = rows_of(folder, tmp_path / "cut.edl")
    assert not sound
    assert "no clips" in rows["OpenTimelineIO"].text


def test_looks_and_trims_in_one_timeline_are_a_fault(folder, tmp_path):
    """Each CDL is the hand-off's, and of its clip's scene."""
    looks = marked_as(tmp_path / "cut.edl", folder)
    trims = marked_as(tmp_path / "trims.edl", folder, cdl="trims")
    (_, look, _), (_, trim, _) = (
        re.findall(r"ASC_SOP .*\n\*ASC_SAT .*", one.read_text()) for one in (looks, trims)
    )
    looks.write_text(looks.read_text().replace(look, trim))
    rows, _ = rows_of(folder, looks)
    assert rows["OpenTimelineIO"].verdict == "misreads"
    assert "clip 2" in rows["OpenTimelineIO"].text


def test_another_shot_list_is_told_and_is_no_fault(folder, tmp_path):
    table = tmp_path / "shots.csv"
    table.write_text("match,camera\n*,A\n")
    rows, sound = rows_of(folder, marked_as(tmp_path / "cut.edl", folder, shots=table))
    assert sound
    assert rows["shot"].verdict == "reads"
    assert "clip 2 (B004 kiln close) has the look of camera A" in rows["shot"].text


def test_a_timeline_that_was_added_to_the_folder_is_read_and_is_no_fault(folder, marked, tmp_path):
    copy = copied(folder, tmp_path)
    shutil.copyfile(marked, copy / marked.name)
    broken = changed(marked, tmp_path, r"urn:uuid:[0-9a-f]+", "urn:uuid:ffff")
    report = verify(copy, readers=(), timelines=[broken])
    found = {row.reader.split()[0]: row for row in report.rows if row.file == marked.name}
    assert "added" in found["manifest.json"].text
    assert found["OpenTimelineIO"].verdict == "agrees"
    assert [file for file, _, _ in bad(report)] == [str(broken)]


def test_a_timeline_that_the_manifest_lists_is_bound_by_it(folder, tmp_path):
    copy = copied(folder, tmp_path)
    marked_as(tmp_path / "cut.edl", folder).rename(copy / "cut.edl")
    relist(copy, "cut.edl")
    report = verify(copy, readers=())
    assert bad(report) == []
    assert any(row.file == "cut.edl" and row.verdict == "agrees"
               and row.reader.startswith("OpenTimelineIO") for row in report.rows)  # fmt: skip
    (copy / "cut.edl").write_text(PLAIN)
    (row,) = [one for one in read_listing(copy).rows if one.file == "cut.edl"]
    assert "changed" in row.text


def test_a_link_with_a_timelines_name_is_a_fault(folder, tmp_path):
    copy = copied(folder, tmp_path)
    outside = marked_as(tmp_path / "outside.edl", folder)
    (copy / "cut.edl").symlink_to(outside)
    (row,) = [one for one in read_listing(copy).rows if one.bad]
    assert row.file == "cut.edl"
    assert "unlisted" in row.text


@pytest.mark.parametrize("name", ["none.edl", "there.txt"])
def test_a_timeline_that_is_none_is_bad_input(folder, tmp_path, name):
    (tmp_path / "there.txt").write_text("")
    with pytest.raises(InputError, match=r"expected an \.edl or \.otio"):
        verify(folder, timelines=[tmp_path / name])


def test_without_the_library_a_timeline_is_told_as_not_tried(folder, marked, monkeypatch):
    monkeypatch.setattr("lookkit.handoff.verify.timelines.find_spec", lambda name: None)
    rows, sound = rows_of(folder, marked)
    assert sound
    assert rows["OpenTimelineIO"].verdict == "absent"
