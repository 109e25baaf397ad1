"""Configs in a hand-off that no certificate binds are held to the graph's pictures."""

import shutil

import pytest

from lookkit.handoff.build import build
from lookkit.handoff.verify import verify
from tests.handoff.verifying import (
    ONE_OUTPUT,
    SMALL,
    bad,
    built,
    copied,
    look_of,
    manifest_of,
    relist,
    rewrite,
    with_formats,
)  # fmt: skip

AS_DELIVERED = "lattices"

CUBE = "cube/A/A_LogC4_full_to_monitor_Rec.709-BT.1886_full_17.cube"
OTHER = "cube/B/B_BT.709-camera_legal_to_monitor_Rec.709-BT.1886_full_17.cube"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return built(tmp_path_factory.mktemp("verified"), ONE_OUTPUT)


@pytest.fixture
def copy(folder, tmp_path):
    return copied(folder, tmp_path)


def as_the_first_format(folder):
    """Make a folder what lookkit wrote first: hash and size of each file, and no 1D files."""
    shutil.rmtree(folder / "cube" / "look")
    manifest = manifest_of(folder)
    manifest["format"] = 1
    del manifest["deliver"]
    manifest["files"] = {
        name: {key: entry[key] for key in ("sha256", "bytes")}
        for name, entry in manifest["files"].items()
        if not name.startswith("cube/look/")
    }
    rewrite(folder, manifest)


def test_a_folder_of_the_first_format_verifies(copy):
    """The files' own names say what they are."""
    as_the_first_format(copy)
    report = verify(copy, readers=())
    assert report.format == 1
    assert bad(report) == []
    against = [row for row in report.rows if row.file == CUBE and row.reader == "graph"]
    assert [row.verdict for row in against] == ["agrees"]
    # The certificate beside the file still binds it.
    assert "as certified" in against[0].text


def test_a_swapped_file_in_a_folder_of_the_first_format_is_found(copy):
    as_the_first_format(copy)
    shutil.copyfile(copy / OTHER, copy / CUBE)
    relist(copy, CUBE)
    found = bad(verify(copy, readers=()))
    assert [(file, reader) for file, reader, _ in found] == [(CUBE, "graph")]


def test_a_look_merged_over_a_config_with_the_same_names_is_found_in_it(tmp_path):
    look = look_of(with_formats("cube", text=SMALL, certify=False))
    first = build(look, tmp_path / "first", base="ocio://cg-config-latest").folder
    base = first / "ocio_merged" / "config.ocio"
    folder = build(look, tmp_path / "second", base=str(base)).folder
    report = verify(folder, readers=())
    (row,) = [
        one for one in report.rows
        if one.file == "ocio_merged/config.ocio" and one.reader.startswith("OpenColorIO")
    ]  # fmt: skip
    assert row.verdict == "agrees", row.text
    assert report.sound
