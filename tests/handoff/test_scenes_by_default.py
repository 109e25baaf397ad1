"""A build makes what its shot list needs, says first how much that is, and names which is whose."""

import re

import pytest

from lookkit.handoff.build import build
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


@pytest.mark.parametrize("more", [0, 12])
def test_the_readme_says_in_40_lines_which_files_are_for_which_shot(tmp_path, more):
    text = BY_DEFAULT.replace('formats = ["cdl", "amf"]', 'formats = ["cdl"]')
    for number in range(more):
        text = text.replace("[[look]]", f'[cameras.X{number}]\nencoding = "V-Log"\n[[look]]', 1)
    folder = build(Look(parse_recipe(text), text), tmp_path).folder
    readme = (folder / "README.txt").read_text()
    assert readme.count("\n") <= 40
    assert all(len(line) <= 100 for line in readme.splitlines())
    if not more:
        assert re.search(r"camera B, kiln +B_kiln_BT.709-camera_legal_to_\*", readme)
    else:
        assert "14 cameras, 1 scenes" in readme
    assert "cdl/Warm-print_kiln.cc" in (folder / "CERTIFICATES.txt").read_text()


def test_a_build_says_first_how_many_files_how_much_space_and_time(tmp_path):
    look = Look(parse_recipe(BY_DEFAULT), BY_DEFAULT)
    said = []
    folder = build(look, tmp_path, begun=said.append).folder
    (plan,) = said
    files = [path for path in folder.rglob("*") if path.is_file()]
    assert 0.5 * len(files) <= plan.files <= 2 * len(files)
    assert re.fullmatch(r"about \d+ files, [\d.]+ [MG]B, .* on one core: .*", plan.text())
