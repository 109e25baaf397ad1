"""`verify --rebuild` believes the recipe alone: rewrites that agree with each other come out."""

import json
import re

import pytest

from lookkit.handoff.verify import verify
from tests.handoff.verifying import (
    SMALL,
    bad,
    built,
    copied,
    few_points,
    manifest_of,
    relist,
    rewrite,
    with_formats,
)

TEXT = with_formats("cube", "config", "clf", text=SMALL)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    with few_points():
        return built(tmp_path_factory.mktemp("built"), TEXT)


def found(folder):
    with few_points():
        report = verify(folder, readers=(), rebuild=True)
    return [one for one in bad(report) if one[1] == "rebuilt"], report


def one_of(folder, pattern):
    path = sorted(folder.rglob(pattern))[0]
    return path, path.relative_to(folder).as_posix()


def changed(path, was, now):
    text = path.read_text()
    made = re.sub(was, now, text, count=1)
    assert made != text
    path.write_text(made)


def test_a_folder_as_it_was_built_is_sound(folder):
    rows, report = found(folder)
    assert rows == []
    assert report.sound, bad(report)
    (said,) = [row for row in report.rows if row.reader == "rebuilt"]
    assert "byte for byte" in said.text


@pytest.mark.parametrize(
    ("pattern", "was", "now"),
    [
        ("*_17.cube", r"\n0\.(\d)", r"\n0.9\1"),
        ("*_17.cube", r"(\n\d\.\d{4})\d+ ", r"\g<1> "),
        ("*_17.cube", "camera A to", "camera Z to"),
        ("*.clf", r"(\d\.\d{3})\d", r"\g<1>"),
        ("ocio/luts/*.clf", r"0\.5", "0.6"),
        ("ocio/config.ocio", "A camera|LogC4", "another"),
    ],
)
def test_a_change_that_the_manifest_agrees_with_is_found(folder, tmp_path, pattern, was, now):
    harmed = copied(folder, tmp_path)
    candidates = [
        path for path in sorted(harmed.rglob(pattern)) if re.search(was, path.read_text())
    ]
    if not candidates:
        pytest.skip(f"no {pattern} holds {was}")
    changed(candidates[0], was, now)
    name = candidates[0].relative_to(harmed).as_posix()
    relist(harmed, name)
    rows, _ = found(harmed)
    assert [row[0] for row in rows] == [name]


def test_certificates_that_were_taken_away_are_missed(folder, tmp_path):
    harmed = copied(folder, tmp_path)
    path, name = one_of(harmed, "*.cube.json")
    path.unlink()
    manifest = manifest_of(harmed)
    del manifest["files"][name]
    rewrite(harmed, manifest)
    rows, _ = found(harmed)
    assert rows == [(name, "rebuilt", "the recipe makes this file, and it is not here")]


def test_of_another_machine_figures_may_differ_by_little_and_by_no_more(folder, tmp_path):
    other = copied(folder, tmp_path)
    path, name = one_of(other, "*_17.cube")
    changed(path, r"\n0\.(\d{4})\d", r"\n0.\g<1>0")
    relist(other, name)
    manifest = manifest_of(other)
    manifest["machine"] = "another"
    rewrite(other, manifest)
    rows, report = found(other)
    assert rows == []
    assert any("another version or architecture" in row.text for row in report.rows)
    changed(path, r"\n0\.(\d)", r"\n0.9\1")
    relist(other, name)
    (row,) = found(other)[0]
    assert row[0] == name
    assert "away from the one built again" in row[2]
    assert json.loads((other / "manifest.json").read_text())["machine"] == "another"
