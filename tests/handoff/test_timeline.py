"""EDL and OTIO: each event gets the look of its shot, and OpenTimelineIO reads it back."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.deliver.cdl import Correction, read_cc
from lookkit.errors import InputError, RecipeError
from lookkit.handoff.build import build
from lookkit.handoff.timeline import mark_timeline
from lookkit.handoff.timeline.edl import annotated, events
from lookkit.look import load
from tests.handoff.edits import EVENTS, PLAIN, SOUND, VARIANTS

otio = pytest.importorskip("opentimelineio")
pytest.importorskip("otio_cmx3600_adapter")

RECIPE = """
schema = 1
name = "Warm print"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "BT.709 camera"
[[look]]
kind = "cdl"
slope = [1.1, 1.0, 0.9]
[[look]]
kind = "saturation"
saturation = 0.8
[scenes.kiln]
[[scenes.kiln.trims]]
kind = "exposure"
stops = 0.5
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.web]
output = "sRGB"
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
def recipe(tmp_path_factory):
    path = tmp_path_factory.mktemp("recipe") / "film.toml"
    path.write_text(RECIPE)
    return path


@pytest.fixture(scope="module")
def folder(recipe, tmp_path_factory):
    return build(load(recipe), tmp_path_factory.mktemp("handoff")).folder


@pytest.fixture
def edit(tmp_path):
    path = tmp_path / "cut.edl"
    path.write_text(PLAIN)
    return path


def read(path, rate=24.0):
    return otio.adapters.read_from_file(
        str(path), **({"rate": rate} if path.suffix == ".edl" else {})
    )


def clips(path):
    return list(read(path).find_clips())


def test_each_event_gets_the_cdl_of_its_scene_and_its_amf(folder, edit, tmp_path):
    out = tmp_path / "out.edl"
    done = mark_timeline(folder, edit, out)
    assert (done.marked, done.left, done.told) == (3, (), ())
    look = read_cc(folder / "cdl" / "Warm-print.cc")
    kiln = read_cc(folder / "cdl" / "Warm-print_kiln.cc")
    for clip, cdl, camera in zip(clips(out), (look, kiln, look), "ABA", strict=True):
        found = clip.metadata["cdl"]
        assert list(found["asc_sop"]["slope"]) == pytest.approx(cdl.slope, abs=1e-6)
        assert list(found["asc_sop"]["offset"]) == pytest.approx(cdl.offset, abs=1e-6)
        assert list(found["asc_sop"]["power"]) == pytest.approx(cdl.power, abs=1e-6)
        assert found["asc_sat"] == pytest.approx(cdl.saturation, abs=1e-6)
        name, uuid = list(clip.metadata["cmx_3600"]["comments"])[-2:]
        amf = folder / name.removeprefix("AMF_NAME ")
        assert amf.is_file()
        assert amf.name.startswith(f"{camera}_")
        assert uuid.removeprefix("AMF_UUID ") in amf.read_text()
    assert look.slope != kiln.slope


def test_nothing_else_of_the_list_changes(folder, edit, tmp_path):
    out = tmp_path / "out.edl"
    mark_timeline(folder, edit, out)
    kept = [line for line in out.read_text().splitlines(keepends=True)
            if not re.match(r"\*\s*(ASC_|AMF_)", line)]  # fmt: skip
    assert "".join(kept) == PLAIN


@pytest.mark.parametrize("name", VARIANTS)
def test_lists_of_other_systems_are_read_and_marked(folder, tmp_path, name):
    edit, out = tmp_path / "cut.edl", tmp_path / "out.edl"
    edit.write_bytes(VARIANTS[name].encode())
    done = mark_timeline(folder, edit, out, rate=30.0 if name == "drop" else 24.0)
    assert done.marked == EVENTS[name]
    assert not any("does not read it" in one for one in done.told)
    text = out.read_bytes().decode()
    assert text.count("AMF_UUID urn:uuid:") == EVENTS[name]
    assert ("\r\n" in text) == (name == "windows")
    assert not re.search(r"(?<!\r)\n", text) or name != "windows"


def test_the_look_that_a_list_had_is_replaced_and_other_notes_stay(folder, tmp_path):
    edit, out = tmp_path / "cut.edl", tmp_path / "out.edl"
    edit.write_text(VARIANTS["graded"])
    mark_timeline(folder, edit, out)
    text = out.read_text()
    assert "old.amf" not in text
    assert "(0.9 1.2 0.6)" not in text
    assert "* A NOTE THAT STAYS" in text
    assert text.count("ASC_SOP") == text.count("ASC_SAT") == 1


def test_marking_twice_is_marking_once(folder, edit, tmp_path):
    once, twice = tmp_path / "once.edl", tmp_path / "twice.edl"
    mark_timeline(folder, edit, once)
    mark_timeline(folder, once, twice)
    assert twice.read_bytes() == once.read_bytes()


def test_the_recipe_alone_gives_what_its_hand_off_gives(recipe, folder, edit, tmp_path):
    one, other = tmp_path / "folder.edl", tmp_path / "recipe.edl"
    mark_timeline(folder, edit, one)
    mark_timeline(recipe, edit, other)
    assert one.read_text() == other.read_text()


def test_sound_black_and_effects_are_left_alone(folder, tmp_path):
    edit, out = tmp_path / "cut.edl", tmp_path / "out.edl"
    edit.write_text(SOUND)
    mark_timeline(folder, edit, out)
    blocks = re.split(r"(?m)^(?=\d{3} )", out.read_text())[1:]
    assert ["ASC_SOP" in block for block in blocks] == [True, False, False, True]
    assert "M2   A001C007" in blocks[3]


def test_the_output_chooses_the_amf(folder, edit, tmp_path):
    out = tmp_path / "out.edl"
    mark_timeline(folder, edit, out, output="web")
    assert "_to_web_sRGB" in out.read_text()
    with pytest.raises(InputError, match="web"):
        mark_timeline(folder, edit, out, output="wbe")


def test_trims_alone_are_those_of_the_scene_and_nothing_without_one(folder, edit, tmp_path):
    out = tmp_path / "out.edl"
    mark_timeline(folder, edit, out, cdl="trims")
    plain, kiln, _ = clips(out)
    assert list(plain.metadata["cdl"]["asc_sop"]["slope"]) == [1, 1, 1]
    expected = read_cc(folder / "cdl" / "Warm-print_kiln_trims.cc")
    assert list(kiln.metadata["cdl"]["asc_sop"]["slope"]) == pytest.approx(expected.slope, abs=1e-6)
    mark_timeline(folder, edit, out, cdl="none")
    assert "ASC_SOP" not in out.read_text()
    assert "AMF_NAME" in out.read_text()


def test_from_edl_to_otio_and_back(folder, edit, tmp_path):
    middle, out = tmp_path / "cut.otio", tmp_path / "out.edl"
    mark_timeline(folder, edit, middle)
    for clip in clips(middle):
        assert clip.metadata["amf"]["uuid"].startswith("urn:uuid:")
        assert clip.metadata["amf"]["name"].endswith(".amf")
        assert clip.metadata["cdl"]["asc_sat"] > 0
    mark_timeline(folder, middle, out)
    assert len(clips(out)) == 3
    assert all(clip.metadata["cdl"]["asc_sop"] for clip in clips(out))
    assert out.read_text().count("AMF_UUID") == 3


def test_a_saturation_of_zero_is_written(recipe, edit, tmp_path, monkeypatch):
    """The adapter alone would write no ASC_SAT of 0."""
    monkeypatch.setattr(
        "lookkit.handoff.timeline.source.best_cdl",
        lambda change, light, id: Correction(id, saturation=0.0),
    )
    middle, out = tmp_path / "cut.otio", tmp_path / "out.edl"
    mark_timeline(recipe, edit, middle)
    assert [clip.metadata["cdl"]["asc_sat"] for clip in clips(middle)] == [0.0, 0.0, 0.0]
    for source in (edit, middle):
        mark_timeline(recipe, source, out)
        assert re.findall(r"ASC_SAT ([\d.]+)", out.read_text()) == ["0.000000"] * 3


def test_a_shot_list_in_csv_and_in_toml_say_the_same(folder, edit, tmp_path):
    table = tmp_path / "shots.csv"
    table.write_text("match,camera,scene\nA001C007*,A,kiln\nA*,A,\nB*,B,kiln\n")
    tables = tmp_path / "shots.toml"
    tables.write_text(
        '[[shots]]\nmatch = "A001C007*"\ncamera = "A"\nscene = "kiln"\n'
        '[[shots]]\nmatch = "A*"\ncamera = "A"\n[[shots]]\nmatch = "B*"\ncamera = "B"\n'
        'scene = "kiln"\n'
    )
    one, other = tmp_path / "1.edl", tmp_path / "2.edl"
    mark_timeline(folder, edit, one, shots=table)
    mark_timeline(folder, edit, other, shots=tables)
    assert one.read_text() == other.read_text()
    assert one.read_text().count("AMF_NAME A_kiln") == 1


def test_a_folder_of_the_file_chooses_too(folder, edit, tmp_path):
    """The clip name does not say it, its file does: /media/night/B004.mov."""
    table = tmp_path / "shots.csv"
    table.write_text("match,camera\nnight/*,B\n*,A\n")
    out = tmp_path / "out.edl"
    mark_timeline(folder, edit, out, shots=table)
    assert re.findall(r"AMF_NAME (\w)_", out.read_text()) == ["A", "B", "A"]


def test_every_problem_of_a_shot_list_is_told_at_its_line(recipe, edit, tmp_path):
    table = tmp_path / "shots.csv"
    table.write_text("match,camera,scene,colour\nA*,A,kiln,red\nB*,C,\n,A,\nD*,A,klin\n")
    with pytest.raises(RecipeError) as caught:
        mark_timeline(recipe, edit, tmp_path / "out.edl", shots=table)
    told = str(caught.value).splitlines()
    assert [line.split(":")[1] for line in told] == ["2", "3", "4", "5"]
    for word in ("colour", "unknown camera 'C'", "missing", "did you mean 'kiln'"):
        assert word in str(caught.value)


def test_clips_that_no_pattern_fits_are_told_all_at_once(folder, edit, tmp_path):
    table = tmp_path / "shots.csv"
    table.write_text("match,camera\nB*,B\n")
    out = tmp_path / "out.edl"
    with pytest.raises(InputError) as caught:
        mark_timeline(folder, edit, out, shots=table)
    assert "2 events fit no pattern" in str(caught.value)
    assert "line 4, event 001: A001C003.mov" in str(caught.value)
    assert "event 003: A001C007.mov" in str(caught.value)
    assert not out.exists()
    done = mark_timeline(folder, edit, out, shots=table, leave=True)
    assert done.marked == 1
    assert len(done.left) == 2


def test_a_scene_that_was_not_delivered_is_named(recipe, tmp_path, edit):
    less = tmp_path / "less.toml"
    less.write_text(RECIPE.replace('scenes = ["kiln"]', "scenes = []"))
    folder = build(load(less), tmp_path / "less").folder
    with pytest.raises(InputError, match="no AMF of camera B, output monitor, scene kiln"):
        mark_timeline(folder, edit, tmp_path / "out.edl")


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("cut.edl", "nothing at all\n", "no events"),
        ("cut.otio", "{}", "no timeline"),
        ("cut.otio", "not json", "no timeline"),
        ("cut.xml", "<x/>", "expected .edl or .otio"),
    ],
)
def test_what_is_no_timeline_is_bad_input(recipe, tmp_path, name, text, words):
    edit = tmp_path / name
    edit.write_text(text)
    with pytest.raises(InputError, match=words):
        mark_timeline(recipe, edit, tmp_path / "out.edl")
    assert not (tmp_path / "out.edl").exists()


def test_a_list_that_only_we_can_read_is_written_and_told(folder, tmp_path):
    """A key with its length (K B 012): the adapter refuses the ten columns."""
    edit, out = tmp_path / "cut.edl", tmp_path / "out.edl"
    edit.write_text(PLAIN.replace("B004     V     C     ", "B004     V     K B 012 "))
    done = mark_timeline(folder, edit, out)
    assert done.marked == 3
    assert any("OpenTimelineIO does not read it" in one for one in done.told)


lines = st.sampled_from([*PLAIN.splitlines(), *SOUND.splitlines(), "", "* X", "000", "9 9 9"])


@given(st.lists(lines, max_size=30), st.sampled_from(["\n", "\r\n"]))
def test_marking_any_text_adds_lines_and_loses_none(rows, newline):
    text = newline.join(rows)
    found = events(text)
    mark = ["* AMF_NAME x"]
    made = annotated(text, {place: mark for place, one in enumerate(found) if one.picture})
    kept = [row for row in made.splitlines() if row not in mark]
    assert kept == text.splitlines()
    assert made.splitlines().count("* AMF_NAME x") == sum(one.picture for one in found)


def span(start, frames):
    return otio.opentime.TimeRange(
        otio.opentime.RationalTime(start, 25), otio.opentime.RationalTime(frames, 25)
    )


def clip_of(name):
    media = otio.schema.ExternalReference(f"/card/{name}.mov", span(0, 500))
    return otio.schema.Clip(name, media_reference=media, source_range=span(10, 50))


def track_of(*items, kind="Video"):
    track = otio.schema.Track(kind=kind)
    track.extend(items)
    return track


def cut_of(path, *tracks):
    timeline = otio.schema.Timeline("cut")
    timeline.tracks.extend(tracks)
    otio.adapters.write_to_file(timeline, str(path))
    return path


def test_a_dissolve_of_otio_gives_each_event_of_a_list_one_look(folder, tmp_path):
    fade = otio.opentime.RationalTime(5, 25)
    dissolve = otio.schema.Transition("d", "SMPTE_Dissolve", fade, fade)
    edit = cut_of(
        tmp_path / "cut.otio",
        track_of(clip_of("A001"), dissolve, clip_of("B004")),
        track_of(clip_of("boom"), kind="Audio"),
    )
    out = tmp_path / "out.edl"
    done = mark_timeline(folder, edit, out)
    text = out.read_text()
    assert (done.marked, done.told) == (2, ())
    assert re.findall(r"^\d+|ASC_S..|AMF_NAME .", text, re.MULTILINE) == [
        "001", "ASC_SOP", "ASC_SAT", "AMF_NAME A",
        "002", "002", "ASC_SOP", "ASC_SAT", "AMF_NAME B",
    ]  # fmt: skip
    # Frames are those of the timeline's 25 in a second.
    assert "00:00:02:05 00:00:00:00 00:00:01:20" in text


def test_what_is_nested_is_marked_in_otio_and_told_where_a_list_loses_it(folder, tmp_path):
    nest = otio.schema.Stack("nest")
    nest.extend([track_of(clip_of("B004"), clip_of("A002")), track_of(clip_of("x"), kind="Audio")])
    edit = cut_of(tmp_path / "cut.otio", track_of(clip_of("A001"), nest))
    assert mark_timeline(folder, edit, tmp_path / "out.otio").marked == 3
    done = mark_timeline(folder, edit, tmp_path / "out.edl")
    assert done.marked == 1
    assert re.match("2 of 3 clips are not in the list", done.told[0])
    collection = otio.schema.SerializableCollection("c")
    collection.append(otio.adapters.read_from_file(str(edit)))
    otio.adapters.write_to_file(collection, str(edit))
    assert mark_timeline(folder, edit, tmp_path / "out.otio").marked == 3
    with pytest.raises(InputError, match=r"cannot be written as \.edl"):
        mark_timeline(folder, edit, tmp_path / "out.edl")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_a_list_keeps_its_encoding_and_its_line_ends(folder, tmp_path, encoding, newline):
    text = PLAIN.replace("CHECK GLAZE", "GLASUR PR\u00dcFEN \x85").replace("\n", newline)
    edit, out = tmp_path / "cut.edl", tmp_path / "out.edl"
    edit.write_bytes(text.encode(encoding))
    assert mark_timeline(folder, edit, out).marked == 3
    made = out.read_bytes()
    assert made.startswith(edit.read_bytes()[:40])
    rows = made.decode(encoding).split(newline)
    assert [row for row in rows if "ASC_" not in row and "AMF_" not in row] == text.split(newline)
    assert not any("\r" in row or "\n" in row for row in rows)


def test_lists_of_drop_frames_and_of_small_letters_are_marked(folder, tmp_path):
    times = re.sub(r"(\d\d):(\d\d):(\d\d):(\d\d)", r"\1:\2:\3;\4", PLAIN.replace(" NON-", " "))
    (tmp_path / "drop.edl").write_text(times.replace("00:02", "01:02"))
    done = mark_timeline(folder, tmp_path / "drop.edl", tmp_path / "out.edl")
    assert (done.marked, done.told) == (3, ())
    small = re.sub(r" V     C ", " v     c ", PLAIN)
    (tmp_path / "small.edl").write_text(small)
    assert mark_timeline(folder, tmp_path / "small.edl", tmp_path / "out.edl").marked == 3
