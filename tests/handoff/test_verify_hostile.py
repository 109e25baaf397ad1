"""Manifests that lie, and files that were made to do harm, are named in plain words."""

import re
import struct
import zlib

import pytest

from lookkit.cli import main
from lookkit.deliver.stills import read_picture
from lookkit.errors import InputError, LookkitError
from lookkit.handoff.manifest import NAME
from lookkit.handoff.verify import verify
from lookkit.handoff.verify.listing import figure
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
)  # fmt: skip

PLAIN = SMALL.replace('[outputs.web]\noutput = "sRGB"\n', "").replace('scenes = ["dusk"]\n', "")
CUBE = "cube/A/A_LogC4_full_to_monitor_Rec.709-BT.1886_full_17.cube"
CC = "cdl/Warm-print.cc"
CLF = "clf/Warm-print_ACES2065-1_to_ACES2065-1.clf"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    text = with_formats("cube", "cdl", "amf", text=PLAIN)
    with few_points():
        return built(tmp_path_factory.mktemp("hostile"), text)


@pytest.fixture
def copy(folder, tmp_path):
    return copied(folder, tmp_path)


def verified(folder):
    return bad(verify(folder, readers=()))


def status(folder):
    with pytest.raises(SystemExit) as ended:
        main(["verify", "--quick", str(folder)])
    return ended.value.code


def put(folder, name, text):
    (folder / name).write_text(text)
    relist(folder, name)


def test_the_folder_is_sound_before_it_is_harmed(folder):
    assert verified(folder) == []


@pytest.mark.parametrize("said", ["é" * 44, "AAAA", "not base64!", ""])
def test_a_hash_in_an_amf_that_is_none_is_a_fault(copy, said):
    path = next(copy.glob("A_*.amf"))
    pattern = r"(<[a-z:]*hash [^>]*>)[^<]*"
    text, count = re.subn(pattern, rf"\g<1>{said}", path.read_text(), count=1)
    assert count == 1
    put(copy, path.name, text)
    assert (path.name, "its hash in the AMF is not that of the file") in {
        (name, text.rpartition(": ")[2]) for name, _, text in verified(copy)
    }


def without(folder, gone):
    manifest = manifest_of(folder)
    for name in [one for one in manifest["files"] if gone(one)]:
        (folder / name).unlink()
        del manifest["files"][name]
    rewrite(folder, manifest)


@pytest.mark.parametrize(
    ("start", "told"),
    [
        (CUBE, "a file of format cube, part chain, camera A, output monitor"),
        (CC, "a file of format cdl, part cdl-look"),
        ("A_LogC4", "a file of format amf, part chain, camera A, output monitor"),
    ],
)
def test_a_file_that_the_recipe_delivers_and_neither_folder_nor_manifest_has(copy, start, told):
    without(copy, lambda name: name.startswith(start))
    assert any(file == NAME and by == "recipe" and told in text
               for file, by, text in verified(copy))  # fmt: skip


@pytest.mark.parametrize("change", [{"part": "source"}, {"part": None}, {"part": ["chain"]}])
def test_a_file_that_is_declared_to_be_something_else_is_missed(copy, change):
    """A part that nobody holds against the graph would let any pixels pass."""
    manifest = manifest_of(copy)
    manifest["files"][CUBE] |= change
    rewrite(copy, manifest)
    assert (NAME, "recipe") in [(file, by) for file, by, _ in verified(copy)]


def test_a_manifest_of_another_look_is_named(copy, capsys):
    rewrite(copy, manifest_of(copy) | {"look": "Other", "version": 7})
    assert status(copy) == 1
    told = capsys.readouterr().out
    assert "look 'Other', the recipe says 'Warm print'" in told
    assert "version 7, the recipe says 1" in told


def test_names_that_no_disk_takes_are_named(copy):
    hostile = ["\ud800x", "x" * 5000, "recipe.toml/x"]
    manifest = manifest_of(copy)
    manifest["files"] |= {name: {"sha256": "0", "bytes": 1} for name in hostile}
    rewrite(copy, manifest)
    assert {(file, by) for file, by, _ in verified(copy)} == {(name, NAME) for name in hostile}


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 10**400, "0.1", None, True, [1]])
def test_a_figure_is_a_finite_number(value):
    with pytest.raises(ValueError, match=r"no number|no figure|beyond any measure"):
        figure(value)


def test_figures_that_are_none_are_faults_of_their_files(copy):
    manifest = manifest_of(copy)
    files = manifest["files"]
    files[CUBE]["figures"]["tetrahedral"]["image-like mean"] = float("nan")
    files[CC]["figures"]["CDL alone mean"] = 10**400
    files[CLF]["figures"]["image-like 99.9 %"] = float("inf")
    rewrite(copy, manifest)
    found = verified(copy)
    assert [(file, by) for file, by, _ in found] == [(CC, "graph"), (CLF, "graph"), (CUBE, "graph")]
    assert all("cannot be read" in text for _, _, text in found)


@pytest.mark.parametrize("number", ["nan", "1e999"])
def test_a_cdl_with_a_number_that_is_none_is_a_fault(copy, number):
    text = (copy / CC).read_text()
    slope = text.partition("<Slope>")[2].split()[0]
    put(copy, CC, text.replace(f"<Slope>{slope}", f"<Slope>{number}"))
    found = verified(copy)
    assert (CC, "lookkit") in [(file, by) for file, by, _ in found]
    assert any("not finite" in told for _, _, told in found)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ('{"format": true, "files": {}}', "format True"),
        ('{"format": NaN, "files": {}}', "format nan"),
        (f'{{"format": 2, "files": {{}}, "x": {"9" * 5000}}}', "a number that cannot be read"),
    ],
)
def test_a_manifest_with_numbers_that_are_none_is_bad_input(copy, text, reason):
    (copy / NAME).write_text(text)
    with pytest.raises(InputError, match=reason):
        verify(copy)
    assert status(copy) == 2


def test_a_picture_that_would_fill_the_memory_is_not_read(tmp_path):
    """60000 x 60000 pixels in some kilobytes."""

    def chunk(kind, data):
        return (struct.pack(">I", len(data)) + kind + data
                + struct.pack(">I", zlib.crc32(kind + data)))  # fmt: skip

    head = struct.pack(">IIBBBBB", 60000, 60000, 16, 2, 0, 0, 0)
    body = zlib.compress(b"\0" * 1000000)
    (tmp_path / "x.png").write_bytes(
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    )
    with pytest.raises(LookkitError, match="no picture of the 3D LUT"):
        read_picture(tmp_path / "x.png")


def test_a_recipe_that_reads_files_elsewhere_is_named(copy, folder):
    text = (copy / "recipe.toml").read_text()
    lut = f'[[look]]\nkind = "lut"\nfile = "{folder / CUBE}"\nexpects = "ACEScct"\n'
    lut += 'returns = "ACEScct"\n[outputs.monitor]'
    put(copy, "recipe.toml", text.replace("[outputs.monitor]", lut))
    assert any(file == "recipe.toml" and "leads out" in told for file, _, told in verified(copy))
