"""A build makes what its shot list needs, says first how much that is, and names which is whose."""

import re
from pathlib import Path

import pytest

from lookkit.deliver.written import Written
from lookkit.handoff.build import build
from lookkit.handoff.readme import RECIPIENTS, readme
from lookkit.handoff.timeline import mark_timeline
from lookkit.handoff.verify import verify
from lookkit.look import Look, load
from lookkit.recipe.load import parse_recipe
from tests.handoff.edits import PLAIN
from tests.handoff.test_timeline import RECIPE

BY_DEFAULT = RECIPE.replace('scenes = ["kiln"]\n', "")


def test_the_scenes_of_the_shot_list_are_delivered_and_no_others():
    text = BY_DEFAULT.replace("[outputs.monitor]", "[scenes.unused]\n[outputs.monitor]")
    assert parse_recipe(text).deliver.scenes == ("kiln",)
    assert parse_recipe(text.replace("[deliver]", "[deliver]\nscenes = []")).deliver.scenes == ()


def test_timeline_works_on_what_build_makes_by_default(tmp_path):
    pytest.importorskip("opentimelineio")
    pytest.importorskip("otio_cmx3600_adapter")
    (tmp_path / "film.toml").write_text(BY_DEFAULT)
    (tmp_path / "cut.edl").write_text(PLAIN)
    folder = build(load(tmp_path / "film.toml"), tmp_path / "handoff").folder
    done = mark_timeline(folder, tmp_path / "cut.edl", tmp_path / "out.edl")
    assert (done.marked, done.left) == (3, ())
    assert "_kiln_" in (tmp_path / "out.edl").read_text()
    assert verify(folder, readers=()).sound


def test_a_build_of_fewer_scenes_than_the_shot_list_has_is_sound_too(tmp_path):
    look = Look(parse_recipe(BY_DEFAULT), BY_DEFAULT).delivering(())
    report = verify(build(look, tmp_path).folder, readers=())
    assert report.sound, [row for row in report.rows if row.bad]


@pytest.mark.parametrize(
    ("cameras", "scenes", "told"),
    [
        (0, 0, r"camera B, kiln +B_kiln_BT.709-camera_legal_to_\*"),
        (12, 3, r"scene kiln +CAMERA_kiln_..._to_\*\n  scene Night 2 +CAMERA_Night-2_..._to_\*"),
        (12, 20, r"any of 21 scenes +CAMERA_SCENE_..._to_\*"),
    ],
)
def test_the_readme_says_in_40_lines_which_files_are_for_which_shot(cameras, scenes, told):
    text = BY_DEFAULT
    for number in range(cameras):
        text = text.replace("[[look]]", f'[cameras.X{number}]\nencoding = "V-Log"\n[[look]]', 1)
    names = [f"Night {number}" for number in range(2, 2 + scenes)]
    text = text.replace("[deliver]", f"[deliver]\nscenes = {['kiln', *names]}")
    text += "".join(f'[scenes."{name}"]\n' for name in names)
    look = Look(parse_recipe(text), text)
    made = [Written(Path("x"), name, "chain") for name in RECIPIENTS]
    said = readme(look, made)
    assert said.count("\n") <= 40
    assert all(len(line) <= 100 for line in said.splitlines())
    assert re.search(told, said)
    assert "sheet.png" not in said
    assert "sheet.png" in readme(look, [*made, Written(Path("sheet.png"), "report", "page")])


def test_certificates_say_how_exact_each_file_is(tmp_path):
    text = BY_DEFAULT.replace('formats = ["cdl", "amf"]', 'formats = ["cdl"]')
    folder = build(Look(parse_recipe(text), text), tmp_path).folder
    assert "cdl/Warm-print_kiln.cc" in (folder / "ACCURACY.txt").read_text()


def test_a_build_says_first_how_many_files_how_much_space_and_time(tmp_path):
    look = Look(parse_recipe(BY_DEFAULT), BY_DEFAULT)
    said = []
    folder = build(look, tmp_path, begun=said.append).folder
    (plan,) = said
    files = [path for path in folder.rglob("*") if path.is_file()]
    assert 0.5 * len(files) <= plan.files <= 2 * len(files)
    assert re.fullmatch(r"about \d+ files, [\d.]+ [MG]B, .* on one core: .*", plan.text())
