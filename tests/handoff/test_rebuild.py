"""The same recipe gives the same bytes: elsewhere, in another process, with other hash seeds."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from lookkit.handoff.build import build
from tests.handoff.verifying import RECIPE, look_of

TEXT = (
    RECIPE.replace("[outputs.monitor]", """
[[look]]
kind = "zones"
zones = [{ centre = -3.0, width = 2.0, exposure = 0.3 }, { centre = 0.0, width = 2.0 }]
[outputs.monitor]""")
    + "\n[[shots]]\nmatch = 'A*'\ncamera = 'A'\n"
)  # fmt: skip


def contents(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def built_elsewhere(recipe, into, **environment):
    code = (
        "import sys; from pathlib import Path; from lookkit.look import load;"
        "from lookkit.handoff.build import build;"
        "print(build(load(sys.argv[1]), Path(sys.argv[2])).folder)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(recipe), str(into)],
        env={**os.environ, **environment},
        cwd=into.parent,
        capture_output=True,
        text=True,
        check=True,
    )
    return Path(done.stdout.splitlines()[-1])


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    return build(look_of(TEXT), tmp_path_factory.mktemp("first")).folder


def test_another_folder_process_and_hash_seed_give_the_same_bytes(first, tmp_path):
    recipe = tmp_path / "a recipe.toml"
    recipe.write_text(TEXT)
    (tmp_path / "elsewhere").mkdir()
    for seed, zone, mask in (("1", "UTC", "C"), ("4242", "Asia/Tokyo", "C.UTF-8")):
        into = tmp_path / "elsewhere" / seed
        again = built_elsewhere(
            recipe, into, PYTHONHASHSEED=seed, TZ=zone, LC_ALL=mask, OMP_NUM_THREADS="2"
        )
        one, other = contents(first), contents(again)
        assert list(one) == list(other)
        assert [name for name in one if one[name] != other[name]] == []


def test_the_folders_own_recipe_builds_the_folder_again(first, tmp_path):
    again = built_elsewhere(first / "recipe.toml", tmp_path / "again")
    assert contents(again) == contents(first)


def test_a_date_of_the_environment_changes_the_dated_files_alone(first, tmp_path):
    recipe = tmp_path / "recipe.toml"
    recipe.write_text(TEXT)
    dated = contents(built_elsewhere(recipe, tmp_path / "dated", SOURCE_DATE_EPOCH="1700000000"))
    plain = contents(first)
    same = {name for name in plain if dated.get(name) == plain[name]}
    assert {name for name in plain if not name.endswith(".amf")} - same == {
        "README.txt", "manifest.json"
    }  # fmt: skip
    amfs = {name for name in dated if name.endswith(".amf")}
    assert amfs
    assert all("2023-11-14_221320Z" in name for name in amfs)


def test_nothing_in_the_folder_tells_where_or_when_it_was_built(first):
    for name, data in contents(first).items():
        assert str(first.parent).encode() not in data, name
    manifest = json.loads((first / "manifest.json").read_text())
    assert not {key for key in manifest if "date" in key or "time" in key or "host" in key}
