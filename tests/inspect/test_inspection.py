"""An inspection as a whole, on real files and made ones."""

import json
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lookkit.accuracy.sampling import grid
from lookkit.errors import InputError, LutFileError, UnknownNameError
from lookkit.handoff.build import build
from lookkit.inspect.inspection import inspect
from lookkit.inspect.opening import function_in
from lookkit.inspect.text import describe
from lookkit.look import load
from lookkit.lutfile.cube import write_cube
from tests.inspect.luts import contrast, written
from tests.lutfile.bad_cubes import BAD_CUBES


def test_a_sound_file_has_everything_said_about_it(tmp_path):
    path = written(tmp_path / "a.cube", contrast())
    found = inspect(path, "LogC4", "Rec.709 BT.1886", readers=["ocio", "ffmpeg"])
    assert found.sound
    assert found.read_by == "lookkit"
    assert found.contents == "a 3D LUT of 17 points an edge over 0-1"
    assert {reading.verdict for reading in found.readings} <= {"same", "absent"}
    assert found.readings[0].verdict == "same"
    assert found.shape is not None
    assert found.guesses
    assert found.tone is not None
    text = describe(found)
    for part in ("faults\n  none", "who reads it", "likelihoods", "monotone", "+0 stops"):
        assert part in text


def test_the_report_is_json_whatever_the_numbers(tmp_path):
    path = written(tmp_path / "a.cube", grid(3))
    lines = path.read_text().splitlines()
    path.write_text("\n".join([*lines[:2], "nan inf 1e39", *lines[3:]]) + "\n")
    found = inspect(path, readers=["ocio"])
    report = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert [fault["code"] for fault in report["faults"]] == ["not-finite", "too-large"]
    assert report["shape"] is None
    assert not report["sound"]


def test_a_real_mixed_file_is_misread_by_some(shared_data):
    # colour-science's own test file; OpenColorIO 2.6 refuses it, FFmpeg's lut3d takes its
    # curve for rows of the lattice (found by running them).
    pytest.importorskip("colour")
    pytest.importorskip("av")
    found = inspect(shared_data / "lut" / "logc_to_video.cube", "LogC3 EI800", "Rec.709 BT.1886")
    assert [fault.code for fault in found.file.faults] == ["two-luts"]
    assert [reading.verdict for reading in found.readings] == ["refuses", "same", "differs"]
    assert "TITLE" in found.readings[0].reason
    # Its comment says log to video: the guess agrees, and so does mid-grey: about 10 cd/m2.
    first = {guess.about: next(iter(guess.likelihood)) for guess in found.guesses}
    assert first["input"] == "log"
    assert first["output"] == "display"
    grey = next(one for one in found.tone.greys if one.stops == 0)
    assert 8 < grey.light < 14


def test_real_clf_files_are_read_through_opencolorio(shared_data):
    legal = [
        path
        for path in sorted((shared_data / "lut").glob("*.clf"))
        if not path.name.startswith("illegal")
    ]
    assert len(legal) >= 9
    for path in legal[::3]:
        found = inspect(path, readers=[])
        assert found.sound, path.name
        assert found.read_by == "OpenColorIO", path.name
        assert found.shape is not None, path.name


def test_a_real_lattice_in_a_clf_has_its_facts(shared_data):
    # The file's own description: an identity (full to legal range and back around it).
    found = inspect(shared_data / "lut" / "broadcast_profile_lut33.clf", readers=[])
    assert found.contents == "Range, LUT3D of 33 points, Range"
    assert found.shape.ramp.reversals == ()
    assert found.shape.solid.folded == 0


def test_illegal_clf_files_are_faulty_and_not_described(shared_data):
    for path in sorted((shared_data / "lut").glob("illegal*.clf")):
        found = inspect(path, readers=[])
        assert found.file.faults, path.name
        assert found.sound == (path.name == "illegal_unknown_elements.clf")


def test_colour_decisions_are_read_through_opencolorio(shared_data):
    # ASC CDL v1.2 clamps in CLF, not in OpenColorIO's .cc: out = (in x slope + offset)^power.
    function = function_in(shared_data / "lut" / "cdl_test_ASC_SAT.cc")
    assert np.isfinite(function(np.full((1, 3), 0.5))).all()


def test_what_only_opencolorio_reads_is_refused_with_its_line(tmp_path):
    path = tmp_path / "a.vf"
    path.write_text("nonsense\n")
    found = inspect(path, readers=[])
    assert not found.sound
    (fault,) = found.file.faults
    assert (fault.code, fault.line) == ("refused", 1)
    assert "Expecting" in fault.found
    with pytest.raises(LutFileError):
        function_in(path)


def test_a_matrix_file_is_read_through_opencolorio(tmp_path):
    path = tmp_path / "a.spimtx"
    path.write_text("0.5 0 0 0\n0 0.5 0 0\n0 0 0.5 0\n")
    found = inspect(path, readers=[])
    assert found.read_by == "OpenColorIO"
    assert found.shape.ramp.last == pytest.approx((0.5, 0.5, 0.5))


def test_names_are_checked_before_anything_is_read(tmp_path):
    with pytest.raises(UnknownNameError, match="LogC4"):
        inspect(tmp_path / "none.cube", expects="LogC5")
    with pytest.raises(UnknownNameError, match="output"):
        inspect(tmp_path / "none.cube", expects="LogC4", gives="Rec.708")
    with pytest.raises(InputError, match="without what it expects"):
        inspect(tmp_path / "none.cube", gives="sRGB")


def test_scene_linear_input_is_seen_to_be_lost(tmp_path):
    found = inspect(written(tmp_path / "a.cube", grid(3)), "ACEScg", readers=[])
    # 0.18 x 2^3 is above 1: the domain of a plain .cube ends.
    assert found.tone.beyond == (3, 4, 5, 6, 7, 8)


def test_progress_is_told(tmp_path):
    told = []
    inspect(written(tmp_path / "a.cube", grid(2)), readers=[], progress=lambda *p: told.append(p))
    assert [step[1:] for step in told] == [(0, 3), (1, 3), (2, 3), (3, 3)]


def test_many_faults_are_counted_in_words(tmp_path):
    path = tmp_path / "a.cube"
    path.write_text("LUT_3D_SIZE 5\n" + "0,1 0,2 0,3\n" * 125)
    text = describe(inspect(path, readers=[]))
    assert "error, line 4: '0,1', expected a decimal point, not a comma" in text
    assert "122 more like the last of these (comma-decimal)" in text
    assert text.count("comma") == 4


@pytest.mark.parametrize("bad", BAD_CUBES, ids=lambda bad: bad.name)
def test_every_bad_cube_can_be_described(bad, tmp_path):
    path = tmp_path / "bad.cube"
    path.write_bytes(bad.data)
    found = inspect(path, "LogC4", "Rec.709 BT.1886", readers=[])
    text = describe(found)
    for code in {code for _, code in bad.wrong}:
        assert any(fault.code == code for fault in found.file.faults)
    assert "faults\n  none" not in text
    assert all(line.isprintable() for line in text.splitlines())
    json.dumps(found.as_dict(), allow_nan=False)


@given(
    arrays(
        np.float64,
        (3, 3, 3, 3),
        elements=st.floats(-1e30, 1e30) | st.floats(-0.1, 1.1),
    )
)
def test_any_lattice_can_be_described(tmp_path_factory, lattice):
    path = written(tmp_path_factory.mktemp("any") / "a.cube", lattice)
    found = inspect(path, "V-Log", "sRGB", readers=[])
    assert found.sound
    assert found.shape is not None
    describe(found)
    json.dumps(found.as_dict(), allow_nan=False)


def test_a_clf_is_judged_by_what_it_takes_and_gives(tmp_path):
    text = (
        'schema = 1\nname = "Warm"\nextends = "plain-print"\n'
        '[cameras.A]\nencoding = "LogC4"\n[outputs.monitor]\noutput = "Rec.709 BT.1886"\n'
        '[deliver]\nformats = ["clf", "clf-chain"]\nfit = false\ncertify = false\n'
    )
    recipe = tmp_path / "look.toml"
    recipe.write_text(text)
    folder = build(load(recipe), tmp_path / "out").folder
    found = {path.stem.rpartition("_")[2]: path for path in folder.rglob("*.clf")}
    seen = {name: inspect(path, readers=()) for name, path in found.items()}
    for name, light in (("input", True), ("full", False)):
        one = seen[name]
        assert one.told["input"] == "camera A: LogC4, full range"
        assert one.gives_light == light
        assert not one.takes_light
        words = describe(one)
        assert ("gamut: its colours fill" in words) != light
        assert ("which are counted in codes, do not apply" in words) == light
        assert not one.guesses
        assert (one.as_dict()["shape"]["solid"]["volume"] is None) == light
    whole = next(path for path in folder.rglob("*.clf") if "ACES2065-1_to" in path.name)
    both = inspect(whole, readers=())
    assert both.takes_light
    assert both.gives_light
    assert not both.guesses
    assert "up to 2.5 stops over mid-grey" in describe(both)


def test_light_is_known_by_its_values_where_the_file_does_not_say(tmp_path):
    path = tmp_path / "x.cube"
    rows = [f"{r * 30} {g * 30} {b * 30}" for b in (0, 1) for g in (0, 1) for r in (0, 1)]
    path.write_text("LUT_3D_SIZE 2\n" + "\n".join(rows) + "\n")
    assert "do not apply" in describe(inspect(path, readers=()))
    path.write_text("LUT_3D_SIZE 2\n" + "\n".join(rows).replace("30", "1") + "\n")
    assert "gamut: its colours fill 100.0%" in describe(inspect(path, readers=()))


def test_words_leave_out_figures_that_do_not_apply(tmp_path):
    light = 2.0 * grid(9)
    double = inspect(written(tmp_path / "double.cube", light), readers=())
    words = describe(double)
    assert "the share of that cube does not apply" in words
    assert "gamut: its colours fill" not in words
    assert (
        inspect(tmp_path / "double.cube", readers=()).as_dict()["shape"]["solid"]["volume"] is None
    )
    flat = describe(inspect(written(tmp_path / "flat.cube", 0 * light + 0.5), readers=()))
    assert "gives one colour, 0.5000 0.5000 0.5000, whatever comes in" in flat
    assert "monotone" not in flat
    assert "clipped" not in flat
    grey = np.repeat(grid(9).mean(axis=-1, keepdims=True), 3, axis=-1)
    words = describe(inspect(written(tmp_path / "grey.cube", grey), readers=()))
    assert "black and white" in words
    assert "clipped" not in words


def test_inputs_are_those_of_the_files_own_domain(tmp_path):
    # Over inputs -1 to 2 this gives the inputs themselves, held to 0-1: slope 1, clipped there.
    path = tmp_path / "wide.cube"
    lattice = np.clip(3.0 * grid(31) - 1.0, 0.0, 1.0)
    write_cube(path, lattice, title="wide", comments=[], domain=(np.full(3, -1.0), np.full(3, 2.0)))
    words = describe(inspect(path, readers=()))
    low, high = (
        float(re.search(f"greys {side} input (\\S+) all", words).group(1))
        for side in ("below", "above")
    )
    assert (low, high) == pytest.approx((0, 1), abs=3 / 1023)
    assert "one step of input makes 1.00 of output" in words
