"""The same recipe gives the same bytes: elsewhere, in another process, with other hash seeds."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import get_args

import pytest

import lookkit
from lookkit.handoff.build import build
from lookkit.recipe.model import FormatName
from tests.handoff.verifying import SMALL, look_of, with_formats

AS_DELIVERED = True

ZONES = """
[[look]]
kind = "tone-bands"
bands = [{ centre = -3.0, width = 2.0, exposure = 0.3 }, { centre = 0.0, width = 2.0 }]
[outputs.monitor]"""
FORMATS = [name for name in get_args(FormatName) if name != "report"]
TEXT = (
    with_formats(*FORMATS, text=SMALL.replace("[outputs.monitor]", ZONES), certify=False)
    + "\n[[shots]]\nmatch = 'A*'\ncamera = 'A'\n"
)


SMALLER = {"lookkit.piece.SIZES": (17,), "lookkit.deliver.aces.SIZE": 17}
"""Points of the lattices whose size no recipe says: what repeats at 17 points does at 65."""


def contents(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def built_here(into):
    with pytest.MonkeyPatch.context() as patch:
        for name, size in SMALLER.items():
            patch.setattr(name, size)
        return build(look_of(TEXT), into).folder


def built_elsewhere(recipe, into, **environment):
    code = (
        "import sys; from pathlib import Path; from lookkit.look import load;"
        "from lookkit.handoff.build import build; import lookkit.piece, lookkit.deliver.aces;"
        + "".join(f"{name} = {size};" for name, size in SMALLER.items())
        + "print(build(load(sys.argv[1]), Path(sys.argv[2])).folder)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(recipe), str(into)],
        env={**os.environ, "PYTHONPATH": str(Path(lookkit.__file__).parents[1]), **environment},
        cwd=into.parent,
        capture_output=True,
        text=True,
        check=True,
    )
    return Path(done.stdout.splitlines()[-1])


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    return built_here(tmp_path_factory.mktemp("first"))


def test_its_own_recipe_gives_the_same_bytes_whatever_the_folder_hash_seed_threads_zone_and_locale(
    first, tmp_path
):
    assert (first / "recipe.toml").read_text() == TEXT
    again = built_elsewhere(
        first / "recipe.toml", tmp_path / "elsewhere",
        PYTHONHASHSEED="4242", TZ="Asia/Tokyo", LC_ALL="C.UTF-8", OMP_NUM_THREADS="1",
    )  # fmt: skip
    one, other = contents(first), contents(again)
    assert list(one) == list(other)
    assert [name for name in one if one[name] != other[name]] == []


def test_a_date_of_the_environment_changes_the_dated_files_alone(first, tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    dated = contents(built_here(tmp_path / "dated"))
    plain = contents(first)
    same = {name for name in plain if dated.get(name) == plain[name]}
    assert {name for name in plain if not name.endswith(".amf")} - same == {
        "ACCURACY.txt", "manifest.json"
    }  # fmt: skip
    amfs = {name for name in dated if name.endswith(".amf")}
    assert amfs
    assert all("2023-11-14_221320Z" in name for name in amfs)


def test_nothing_in_the_folder_tells_where_or_when_it_was_built(first):
    for name, data in contents(first).items():
        assert str(first.parent).encode() not in data, name
    manifest = json.loads((first / "manifest.json").read_text())
    assert not {key for key in manifest if "date" in key or "time" in key or "host" in key}
