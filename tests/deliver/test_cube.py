"""Fitted and certified .cube files, budgets, and sizes that are chosen."""

import json

import numpy as np
import pytest

from lookkit.accuracy.audit import audit
from lookkit.deliver.cube import jobs, write_look_cube
from lookkit.errors import LookkitError
from lookkit.handoff.build import build
from lookkit.look import Look
from lookkit.lutfile.cube import read_cube
from lookkit.recipe.load import parse_recipe
from lookkit.recipe.model import Budget

RECIPE = """
schema = 1
name = "Plain"
[cameras.A]
encoding = "LogC4"
[outputs.monitor]
output = "Rec.709 BT.1886"
"""


def look(deliver="", sizes="[17]"):
    text = f'{RECIPE}[deliver]\nformats = ["cube"]\nsizes = {sizes}\n{deliver}'
    return Look(parse_recipe(text), text)


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    return build(look(), tmp_path_factory.mktemp("build"))


def test_a_file_has_its_certificate_beside_it_and_in_the_manifest(built):
    (cube,) = built.folder.rglob("*.cube")
    for suffix in (".json", ".txt"):
        assert cube.with_name(cube.name + suffix).is_file()
    figures = json.loads(cube.with_name(cube.name + ".json").read_text())
    assert figures["size"] == 17
    readers = {reading["reader"] for reading in figures["readings"]}
    assert readers == {"tetrahedral", "trilinear", "gpu"}
    manifest = json.loads((built.folder / "manifest.json").read_text())["files"]
    assert any(name.endswith(".cube.json") for name in manifest)
    readme = (built.folder / "ACCURACY.txt").read_text()
    assert "read tetrahedral: pictures Delta E 2000 mean" in readme


def test_a_certificate_is_drawn_where_the_recipe_asks(tmp_path):
    pytest.importorskip("matplotlib")
    write_look_cube(look("fit = false\npictures = true\n"), "A", "monitor", 17, tmp_path)
    (picture,) = tmp_path.glob("*.cube.png")
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert picture.stat().st_size > 20_000


def test_what_exceeds_the_default_budget_is_told_and_the_build_goes_on(tmp_path, monkeypatch):
    monkeypatch.setattr("lookkit.recipe.model.Budget", lambda: Budget(saturated_emitters=0.01))
    made = build(look("fit = false\n"), tmp_path)
    assert any("saturated emitters, 99 %" in one for one in made.over_budget)
    assert (made.folder / "manifest.json").is_file()


def test_a_budget_that_is_exceeded_fails_the_build_and_leaves_nothing(tmp_path):
    tight = look("budget = { image_like = 0.01 }\n")
    with pytest.raises(LookkitError, match=r"_17\.cube: image-like, 99\.9 %: Delta E 2000"):
        build(tight, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_auto_takes_the_smallest_size_that_keeps_to_the_budget(tmp_path):
    generous = look("budget = { image_like = 50, neutral_ramp = 50, skin = 50, "
                    "saturated_emitters = 90 }\n")  # fmt: skip
    made = write_look_cube(generous, "A", "monitor", "auto", tmp_path)
    assert made.size == 17
    assert [path.suffix for path in sorted(tmp_path.iterdir())] == [".cube", ".json", ".txt"]


def test_auto_takes_no_size_away_that_is_asked_for(tmp_path, monkeypatch):
    monkeypatch.setattr("lookkit.deliver.cube.SIZES", (17, 33))
    monkeypatch.setattr("lookkit.recipe.model.Budget", lambda: Budget(saturated_emitters=0.01))
    (job,) = jobs(look("fit = false\n", '[17, "auto", 33]'))
    written = job.write(tmp_path)
    assert [one.path.stem.rpartition("_")[2] for one in written] == ["17", "33"]
    assert sorted(tmp_path.rglob("*.cube")) == [one.path for one in written]


def test_a_chain_is_audited_once_for_all_its_sizes_and_files_are_the_same(tmp_path, monkeypatch):
    audits = []

    def counted(*args):
        audits.append(args)
        return audit(*args)

    monkeypatch.setattr("lookkit.lattice.of_graph.audit", counted)
    one = look("fit = false\n", "[17, 33]")
    (job,) = jobs(one)
    written = job.write(tmp_path)
    assert len(audits) == 1
    alone = tmp_path / "alone"
    alone.mkdir()
    for size, together in zip((17, 33), written, strict=True):
        made = write_look_cube(one, "A", "monitor", size, alone)
        for suffix in ("", ".json", ".txt"):
            name = made.path.name + suffix
            assert (alone / name).read_bytes() == together.path.with_name(name).read_bytes()
    assert len(audits) == 3


def test_a_fitted_file_is_closer_than_a_sampled_one_and_keeps_greys(tmp_path):
    means = []
    for fit in ("true", "false"):
        place = tmp_path / fit
        place.mkdir()
        made = write_look_cube(look(f"fit = {fit}\n"), "A", "monitor", 17, place)
        reading = made.certificate.reading("trilinear")
        means.append(reading.sets["image-like"].delta_e_2000.mean)
        axis = read_cube(made.path).lattice.values[range(17), range(17), range(17)]
        assert np.ptp(axis, axis=1).max() <= 1e-7
        assert (np.diff(axis[:, 1]) >= 0).all()
    assert means[0] < 0.9 * means[1]
