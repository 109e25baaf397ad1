"""A shot's own trims run after its scene's and before the look, wherever pictures are graded."""

import json
import re

import numpy as np
import pytest

from lookkit.deliver.cdl import read_cc
from lookkit.errors import InputError, RecipeError, UnknownNameError
from lookkit.handoff.build import build
from lookkit.handoff.diff import diff
from lookkit.handoff.verify import verify
from lookkit.look import load, loads
from lookkit.media.jobs import Options, plan
from lookkit.media.stills import read_still, write_still
from lookkit.recipe.model import json_schema
from lookkit.report.describe import describe
from lookkit.report.frames import graded_frames
from tests.handoff.edits import PLAIN

AS_DELIVERED = "lattices"

RECIPE = """
schema = 1
name = "Trimmed"
show = "Pottery"
[cameras.A]
encoding = "ACEScct"
[rendering]
kind = "film-print"
[outputs.web]
output = "sRGB"
[scenes.kiln]
[[scenes.kiln.trims]]
kind = "exposure"
stops = 1.0
[[shots]]
match = "a_two*"
camera = "A"
scene = "kiln"
note = "behind the cloud"
[[shots.trims]]
kind = "lift-gamma-gain"
lift = { strength = 0.02 }
[[shots]]
match = "a*"
camera = "A"
scene = "kiln"
[[shots]]
match = "b*"
camera = "A"
[[shots.trims]]
kind = "exposure"
stops = -1.0
[deliver]
formats = ["cdl", "amf"]
certify = false
fit = false
"""
SETTING = "kiln/a_two*"


def picture(folder, name, code=0.41):
    path = folder / name
    write_still(path, np.full((4, 4, 3), code, np.float32), None, bits=16)
    return path


def test_trims_of_a_shot_follow_those_of_its_scene():
    look = loads(RECIPE)
    labels = [step.label for step in look.graph.trims(SETTING)]
    assert labels == ["exposure", "lift-gamma-gain"]
    assert [step.label for step in look.graph.trims("kiln")] == ["exposure"]
    assert look.recipe.cameras_of(SETTING) == ("A",)


def test_a_stop_less_in_a_shot_is_a_stop_less_light():
    look = loads(RECIPE)
    code = np.array([0.41, 0.45, 0.5])
    # ACEScct's code has 17.52 stops (S-2016-001): a stop of light is 1/17.52 of it.
    darker = look.evaluate(code, camera="A", output="web", scene="/b*")
    known = look.evaluate(code - 1 / 17.52, camera="A", output="web")
    np.testing.assert_allclose(darker, known, atol=1e-9)


def test_the_first_line_that_fits_decides_which_trims_a_file_has(tmp_path):
    look = loads(RECIPE)
    files = [picture(tmp_path, name) for name in ("a_one.tif", "a_two.tif", "b_one.tif")]
    jobs = plan(look, files, Options()).jobs
    assert [job.scene for job in jobs] == ["kiln", SETTING, "/b*"]
    # One that is said to be of another scene is not the shot that the list means.
    assert plan(look, files[1:2], Options(scene="kiln")).jobs[0].scene == SETTING
    assert plan(look, files[2:], Options(scene="kiln")).jobs[0].scene == "kiln"


def test_apply_and_sheet_show_a_shot_with_its_trims(tmp_path):
    from lookkit.media.run import run

    look = loads(RECIPE)
    files = [picture(tmp_path, name) for name in ("a_one.tif", "a_two.tif")]
    made = plan(look, files, Options(into=tmp_path / "out"))
    done = list(run(look, made))
    assert not any(one.problem for one in done)
    for job, setting in zip(made.jobs, ("kiln", SETTING), strict=True):
        graded = read_still(job.target).pixels[0, 0]
        exact = look.evaluate(np.full(3, 0.41), camera="A", output="web", scene=setting)
        np.testing.assert_allclose(graded, exact, atol=1e-3)
    frames = graded_frames(look, files, before=False)
    assert [row.label for row in frames.rows] == ["kiln", "kiln"]
    shown = np.array([row.cells[0].picture[0, 0] for row in frames.rows])
    graded = [read_still(job.target).pixels[0, 0] for job in made.jobs]
    np.testing.assert_allclose(shown / 255, graded, atol=0.01)
    assert (shown[0] != shown[1]).any()


def test_beside_a_look_a_shot_keeps_its_trims(tmp_path):
    look = loads(RECIPE)
    plain = loads(RECIPE.replace("strength = 0.02", "strength = 0.0"))
    file = picture(tmp_path, "a_two.tif")
    trimmed, without, worn = (
        graded_frames(look, [file], variants=[plain, look.wearing(plain)], before=False)
        .frames[0]
        .cells
    )
    assert trimmed.picture[0, 0, 0] > without.picture[0, 0, 0]
    np.testing.assert_array_equal(trimmed.picture, worn.picture)


def test_the_page_shows_what_apply_gives(tmp_path):
    from lookkit.page.live import Shown
    from lookkit.page.pictures import Domain, read_pictures

    look = loads(RECIPE)
    pictures, _ = read_pictures(look, [picture(tmp_path, "a_two.tif")], Options())
    found = Shown(Domain.of([pictures[0].light])).exact(look, pictures[0], pictures[0].light, "web")
    exact = look.evaluate(np.full(3, 0.41), camera="A", output="web", scene=SETTING)
    np.testing.assert_allclose(found[0, 0], exact, atol=1e-3)


@pytest.fixture(scope="module")
def handoff(tmp_path_factory):
    return build(loads(RECIPE).delivering(shots=True), tmp_path_factory.mktemp("built")).folder


def test_a_build_on_request_has_files_of_each_shot(handoff):
    names = sorted(path.name for path in (handoff / "cdl").glob("*_trims.cc"))
    assert names == ["Trimmed_b_trims.cc", "Trimmed_kiln-a_two_trims.cc", "Trimmed_kiln_trims.cc"]
    assert verify(handoff, readers=()).sound
    listed = json.loads((handoff / "manifest.json").read_text())["files"].values()
    assert SETTING in {entry.get("scene") for entry in listed}
    by_default = loads(RECIPE)
    assert by_default.recipe.deliver.scenes == ("kiln",)
    assert "2 lines of the shot list have trims" in by_default.recipe.shots_left()[0]
    assert loads(RECIPE + "shots = true\n").recipe.deliver.scenes == ("kiln", SETTING, "/b*")


def test_a_config_names_shots_and_keeps_their_trims(tmp_path):
    ocio = pytest.importorskip("PyOpenColorIO")
    text = RECIPE.replace('["cdl", "amf"]', '["config"]')
    folder = build(loads(text).delivering(shots=True), tmp_path).folder
    config = ocio.Config.CreateFromFile(str(next(folder.rglob("config.ocio"))))
    config.validate()
    transform = ocio.DisplayViewTransform(
        src="Camera A", display="sRGB", view="Trimmed in kiln/a_two-"
    )
    got = config.getProcessor(transform).getDefaultCPUProcessor().applyRGB([0.41, 0.45, 0.5])
    exact = loads(text).evaluate(
        np.array([0.41, 0.45, 0.5]), camera="A", output="web", scene=SETTING
    )
    np.testing.assert_allclose(got, exact, atol=2e-3)


def test_each_event_of_a_timeline_has_the_cdl_and_the_amf_of_its_shot(tmp_path, handoff):
    pytest.importorskip("opentimelineio")
    pytest.importorskip("otio_cmx3600_adapter")
    from lookkit.handoff.timeline import mark_timeline

    text = RECIPE.replace("a_two*", "A001_C002*").replace('"a*"', '"A0*"').replace('"b*"', '"B*"')
    (tmp_path / "film.toml").write_text(text)
    (tmp_path / "cut.edl").write_text(PLAIN)
    done = mark_timeline(
        tmp_path / "film.toml", tmp_path / "cut.edl", tmp_path / "out.edl", cdl="trims", leave=True
    )
    said = (tmp_path / "out.edl").read_text()
    assert done.marked == said.count("AMF_NAME") > 1
    # A stop is a shift of 1/17.52 in ACEScct: the scene's alone, and the shot's less.
    offsets = [float(one) for one in re.findall(r"ASC_SOP \(.*?\)\((\S+) ", said)]
    np.testing.assert_allclose(offsets, [1 / 17.52, -1 / 17.52, 1 / 17.52], atol=2e-3)
    folder = build(load(tmp_path / "film.toml"), tmp_path / "plain").folder
    with pytest.raises(InputError, match=r"no AMF of camera A, .*\(--shots\)"):
        mark_timeline(folder, tmp_path / "cut.edl", tmp_path / "two.edl", leave=True)
    whole = build(load(tmp_path / "film.toml").delivering(shots=True), tmp_path / "whole").folder
    mark_timeline(whole, tmp_path / "cut.edl", whole / "marked.edl", leave=True)
    report = verify(whole, readers=())
    assert report.sound, [row for row in report.rows if row.bad]
    assert read_cc(next((whole / "cdl").glob("*B_trims.cc"))).offset[0] < 0


def test_diff_tells_the_shot_and_how_far_its_pictures_moved(tmp_path):
    (tmp_path / "one.toml").write_text(RECIPE)
    (tmp_path / "two.toml").write_text(RECIPE.replace("stops = -1.0", "stops = -0.5"))
    found = diff(tmp_path / "one.toml", tmp_path / "two.toml")
    assert [str(one) for one in found.parameters] == [
        "shots[b*].trims[exposure].stops: -1.0 -> -0.5"
    ]
    moved = {one.scene: one.pictures.mean for one in found.pictures}
    assert moved.pop("/b*") > 1
    assert set(moved.values()) == {0.0}


def test_check_and_schema_know_a_shots_trims():
    said = describe(loads(RECIPE))
    assert "shot kiln/a_two*: camera A\n  1. lift-gamma-gain" in said
    assert "trims" in json_schema()["$defs"]["Shot"]["properties"]


def test_what_is_wrong_in_a_shots_trims_is_told_with_its_line():
    text = RECIPE.lstrip().replace("stops = -1.0", "stop = -1.0")
    with pytest.raises(RecipeError, match=r"31: shots\[3\].trims\[1\].stop: unknown key, did you"):
        loads(text)
    looped = RECIPE.replace("stops = -1.0", 'stops = -1.0\ninput = "nowhere"')
    with pytest.raises(RecipeError, match=r"shots\[3\].trims\[1\].input"):
        loads(looped)


def test_a_setting_that_is_not_there_is_refused():
    with pytest.raises(UnknownNameError, match="unknown scene 'kiln/a\\*'"):
        loads(RECIPE).graph.chain("A", "web", "kiln/a*")
