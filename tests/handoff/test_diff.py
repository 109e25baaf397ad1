"""Two recipes or hand-offs: which parameters and files differ, and what a viewer sees of it."""

import shutil

import numpy as np
import pytest
from click.testing import CliRunner

from lookkit.cli.diff import command
from lookkit.errors import InputError
from lookkit.handoff.diff import diff, parameters
from tests.handoff.verifying import SMALL, built, look_of, with_formats

PLAIN = SMALL.replace("stops = 0.3", "stops = 0.0")


def compared(tmp_path, first, second):
    paths = tmp_path / "first.toml", tmp_path / "second.toml"
    for path, text in zip(paths, (first, second), strict=True):
        path.write_text(text)
    return diff(*paths)


def test_a_recipe_differs_in_nothing_from_itself(tmp_path):
    found = compared(tmp_path, SMALL, f"# said otherwise\n{SMALL}")
    assert found.parameters == ()
    assert found.files is None
    assert len(found.pictures) == 4
    for one in found.pictures:
        assert (one.pictures.mean, one.pictures.largest, one.lights.largest) == (0.0, 0.0, 0.0)
        assert one.worst == ()


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("stops = 0.3", "stops = 0.4", "look.level.stops: 0.3 -> 0.4"),
        ("[1.02,", "[1.03,", "look[cdl].slope: [1.02, 1.0, 0.98] -> [1.03, 1.0, 0.98]"),
        ("stops = 0.5", "stops = 0.6", "scenes.dusk.trims[exposure].stops: 0.5 -> 0.6"),
        ('"LogC4"', '"V-Log"', 'cameras.A.encoding: "LogC4" -> "V-Log"'),
        ("[outputs.web]", "[outputs.net]", 'outputs.web: "sRGB" -> none'),
        ('kind = "cdl"\nslope', 'kind = "contrast"\namount = 1.1\n#', 'look[cdl]: "cdl" -> none'),
        ("sizes = [17]", "sizes = [17, 33]", "deliver.sizes: [17] -> [17, 33]"),
    ],
)
def test_a_changed_parameter_is_told_by_its_key(old, new, told):
    changed = SMALL.replace(old, new).replace("amount = 1.1", "contrast = 1.1")
    assert changed != SMALL
    assert told in [str(one) for one in parameters(look_of(SMALL), look_of(changed))]


def test_one_change_is_one_line(tmp_path):
    (one,) = compared(tmp_path, SMALL, SMALL.replace("stops = 0.3", "stops = 0.4")).parameters
    assert (one.key, one.old, one.new) == ("look.level.stops", 0.3, 0.4)


def test_the_figures_are_delta_e_of_colour_science(tmp_path):
    """colour-science's CIEDE2000 of the same two pictures."""
    colour = pytest.importorskip("colour")
    found = compared(tmp_path, PLAIN, SMALL)
    one = found.pictures[0]
    assert (one.camera, one.output, one.scene) == ("A", "monitor", None)
    for worst in one.worst:
        lab = [
            colour.XYZ_to_Lab(
                colour.RGB_to_XYZ(np.power(signal, 2.4), "ITU-R BT.709"),
                colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"],
            )
            for signal in (worst.first, worst.second)
        ]
        assert colour.delta_E(*lab, method="CIE 2000") == pytest.approx(worst.delta_e, abs=0.01)
    assert one.worst[0].delta_e >= one.pictures.largest or one.lights.largest > 0
    assert 0.0 < one.pictures.mean < one.pictures.p99 <= one.pictures.largest


def test_more_change_is_more_difference(tmp_path):
    little = compared(tmp_path, PLAIN, SMALL.replace("stops = 0.3", "stops = 0.1"))
    much = compared(tmp_path, PLAIN, SMALL.replace("stops = 0.3", "stops = 0.5"))
    for one, other in zip(little.pictures, much.pictures, strict=True):
        assert one.pictures.mean < other.pictures.mean


def test_the_worst_colours_are_apart(tmp_path):
    worst = compared(tmp_path, PLAIN, SMALL).pictures[0].worst
    assert len(worst) == 5
    codes = np.array([one.code for one in worst])
    apart = np.abs(codes[:, None] - codes[None]).max(axis=2)[np.triu_indices(5, 1)]
    assert apart.min() > 0.08
    assert [one.delta_e for one in worst] == sorted((one.delta_e for one in worst), reverse=True)


def test_scenes_and_cameras_of_one_side_alone_are_not_compared(tmp_path):
    other = SMALL.replace("[scenes.dusk]", "[scenes.dawn]").replace(
        "[[scenes.dusk.trims]]", "[[scenes.dawn.trims]]"
    ).replace('scenes = ["dusk"]', "scenes = []")  # fmt: skip
    found = compared(tmp_path, SMALL, other)
    assert {one.scene for one in found.pictures} == {None}


def test_two_hand_offs_differ_in_files(tmp_path):
    cubes = with_formats("cube", text=SMALL, certify=False)
    first = built(tmp_path / "first", cubes)
    second = built(tmp_path / "second", cubes.replace("stops = 0.3", "stops = 0.4"))
    (second / "more.txt").write_text("x")
    shutil.rmtree(second / "cube" / "A")
    found = diff(first, second)
    told = {one.name: one.what for one in found.files}
    assert told["more.txt"] == "added"
    assert told["recipe.toml"] == "changed"
    assert {what for name, what in told.items() if name.startswith("cube/A/")} == {"removed"}
    assert "manifest.json" not in told
    mixed = diff(first, second / "recipe.toml")
    assert mixed.files is None
    assert mixed.parameters == found.parameters


def test_what_is_no_recipe_is_bad_input(tmp_path):
    with pytest.raises(InputError, match=r"no recipe\.toml"):
        diff(tmp_path, tmp_path)
    with pytest.raises(InputError, match="does not exist"):
        diff(tmp_path / "a.toml", tmp_path / "b.toml")


def test_the_command_prints_all_of_it(tmp_path):
    paths = tmp_path / "first.toml", tmp_path / "second.toml"
    for path, text in zip(paths, (PLAIN, SMALL), strict=True):
        path.write_text(text)
    done = CliRunner().invoke(command, [str(path) for path in paths])
    assert done.exit_code == 0
    for words in ("look.level.stops: 0.0 -> 0.3", "A to web, dusk:", "colours that change most"):
        assert words in done.output
    assert '"delta_e"' in CliRunner().invoke(command, [*map(str, paths), "--json"]).output
