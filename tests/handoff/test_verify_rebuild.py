"""Rewrites that agree with each other come out: in the plain run by words, digits and figures.

`verify --rebuild` believes the recipe alone.
"""

import hashlib
import json
import re
import zipfile

import numpy as np
import pytest

from lookkit.deliver.cube import baking
from lookkit.deliver.written import Written
from lookkit.handoff.pages import NOTES
from lookkit.handoff.readme import readme
from lookkit.handoff.verify import _truths, verify
from lookkit.handoff.verify.graph import Judged
from lookkit.handoff.verify.listing import read_listing
from lookkit.handoff.verify.luts import _fewer_digits, cube_rows
from lookkit.handoff.verify.pages import page_rows
from lookkit.handoff.verify.promised import promised_rows
from lookkit.handoff.verify.written import written_rows
from tests.handoff.verifying import (
    ONE_OUTPUT,
    SMALL,
    bad,
    built,
    copied,
    few_points,
    look_of,
    manifest_of,
    relist,
    rewrite,
    with_formats,
)

CAMERA_B = '[cameras.B]\nencoding = "BT.709 camera"\n'
TEXT = with_formats("cube", "config", "clf", text=SMALL)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    with few_points():
        return built(tmp_path_factory.mktemp("built"), TEXT)


def found(folder):
    with few_points():
        report = verify(folder, readers=(), rebuild=True)
    return [one for one in bad(report) if one[1] == "rebuilt"], report


def plainly(folder, *cubes):
    """The files that the plain run finds, of whose lattices only some are looked at."""
    listing = read_listing(folder)
    truths, _ = _truths(listing)
    entries = {name: listing.entries[name] for name in cubes}
    with few_points():
        rows = [
            *listing.rows,
            *promised_rows(listing, truths.look),
            *written_rows(listing, truths.look),
            *cube_rows(entries, folder, truths, ()),
        ]
    return {row.file for row in rows if row.bad}


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


CHANGES = pytest.mark.parametrize(
    ("pattern", "was", "now"),
    [
        ("*_17.cube", r"\n0\.(\d)", r"\n0.9\1"),
        ("*_17.cube", r"(\n\d\.\d{4})\d+ ", r"\g<1> "),
        ("*_17.cube", "camera A to", "camera Z to"),
        ("*_1d.cube", "gives: ACEScct", "gives: ACEScg"),
        ("*.clf", r"(\d\.\d{3})\d", r"\g<1>"),
        ("ocio/luts/*.clf", r" \.5(\d)", r" .6\1"),
        ("ocio/config.ocio", "LogC4", "another"),
        ("ocio/config.ocio", r"(\d\.\d{5})\d", r"\g<1>"),
    ],
)


def harmed_by(folder, into, pattern, was, now):
    """A copy in which one file has a change that the manifest agrees with; the file's name."""
    harmed = copied(folder, into)
    texts = {path: path.read_text() for path in sorted(harmed.rglob(pattern))}
    path = next(path for path, text in texts.items() if re.search(was, text))
    changed(path, was, now)
    name = path.relative_to(harmed).as_posix()
    relist(harmed, name)
    return harmed, name


@CHANGES
def test_the_plain_run_finds_a_change_that_the_manifest_agrees_with(
    folder, tmp_path, pattern, was, now
):
    harmed, name = harmed_by(folder, tmp_path, pattern, was, now)
    assert name in plainly(harmed, *[name] * name.endswith(".cube"))


def test_a_rebuild_names_the_files_that_were_changed_and_no_sheet(folder, tmp_path):
    harmed, name = harmed_by(folder, tmp_path, "*.clf", r"(\d\.\d{3})\d", r"\g<1>")
    with_sheet(harmed, TEXT)
    rows, _ = found(harmed)
    assert [row[0] for row in rows] == [name]


def other_recipe(folder, into):
    """A copy whose recipe has a node off by .1, which the manifest agrees with."""
    harmed = copied(folder, into)
    changed(harmed / "recipe.toml", r"stops = 0\.3", "stops = 0.4")
    relist(harmed, "recipe.toml")
    manifest = manifest_of(harmed)
    digest = hashlib.sha256((harmed / "recipe.toml").read_bytes()).hexdigest()
    rewrite(harmed, manifest | {"recipe_sha256": digest})
    return harmed


def with_sheet(folder, text):
    """Add a sheet of frames to a hand-off, as a build with frames does."""
    entries = manifest_of(folder)["files"]
    made = [
        Written(
            folder / name, one["format"], one["part"], one.get("camera"), one.get("output"),
            one.get("scene"), one["note"],
        )
        for name, one in entries.items() if "part" in one
    ]  # fmt: skip
    made.append(Written(folder / "sheet.png", "report", "page", note=NOTES["sheet.png"]))
    (folder / "sheet.png").write_bytes(b"a picture")
    if (folder / "report.html").is_file():
        (folder / "README.txt").write_text(readme(look_of(text), made))
    relist(folder, "sheet.png", "README.txt")
    manifest = manifest_of(folder)
    manifest["files"]["sheet.png"] |= made[-1].described()
    rewrite(folder, manifest)
    with (folder / "ACCURACY.txt").open("a") as file:
        file.write(f"  sheet.png\n    {made[-1].note}\n")
    relist(folder, "ACCURACY.txt")


def pages_of(folder):
    listing = read_listing(folder)
    return {row.file for row in page_rows(listing, _truths(listing)[0].look) if row.bad}


def test_lists_for_people_are_made_again(folder, tmp_path):
    assert pages_of(folder) == set()
    harmed = copied(folder, tmp_path)
    changed(harmed / "README.txt", "camera A", "camera Z")
    changed(harmed / "ACCURACY.txt", r"mean 0\.\d", "mean 9.9")
    relist(harmed, "README.txt", "ACCURACY.txt")
    assert pages_of(harmed) == {"README.txt", "ACCURACY.txt"}


def test_the_report_is_made_again_but_for_frames(tmp_path, monkeypatch):
    for part in ("_neutrals", "_colours", "_tone"):  # Their charts take a second.
        monkeypatch.setattr(f"lookkit.report.report.{part}", lambda _: "as it was")
    text = with_formats("report", text=ONE_OUTPUT.replace(CAMERA_B, ""), certify=False)
    made = built(tmp_path, text)
    with_sheet(made, text)
    frames = '<section aria-labelledby="frames-head">any</section>\n<section '
    changed(made / "report.html", "<section ", frames)
    relist(made, "report.html")
    assert pages_of(made) == set()
    changed(made / "report.html", "as it was", "better")
    relist(made, "report.html")
    assert pages_of(made) == {"report.html"}


def test_a_node_off_by_a_tenth_is_found_in_all_that_it_made(folder, tmp_path):
    harmed = other_recipe(folder, tmp_path)
    files = manifest_of(harmed)["files"]
    made = {name for name, entry in files.items() if entry.get("part") in ("chain", "look")}
    # By their words and numbers, whatever figures anybody wrote down.
    assert made <= plainly(harmed)
    assert made | {"ocio/config.ocio"} <= {row[0] for row in found(harmed)[0]}


def test_a_file_saved_again_with_four_digits_is_found(folder, tmp_path):
    harmed = copied(folder, tmp_path)
    path, name = one_of(harmed, "*_17.cube")
    path.write_text(re.sub(r"(\d\.\d{4})\d+", r"\1", path.read_text()))
    relist(harmed, name)
    assert plainly(harmed, name) == {name}


def test_a_lattice_whose_digits_were_padded_again_is_found():
    look = look_of(SMALL)
    chain = Judged(baking(look, "A", "monitor"))
    lattice = look.cube(camera="A", output="monitor", size=17)
    assert _fewer_digits(chain, lattice) == 0
    assert _fewer_digits(chain, np.round(lattice, 4)) == 4


def test_the_plain_run_misses_certificates(folder, tmp_path):
    harmed = copied(folder, tmp_path)
    manifest = manifest_of(harmed)
    for path in [*harmed.rglob("*.cube.json"), *harmed.rglob("*.cube.txt")]:
        path.unlink()
        del manifest["files"][path.relative_to(harmed).as_posix()]
    for entry in manifest["files"].values():
        entry.pop("figures", None)
    rewrite(harmed, manifest)
    assert {name for name in manifest["files"] if name.endswith("_17.cube")} <= plainly(harmed)


def test_an_archive_of_another_config_is_found(folder, tmp_path):
    harmed = copied(folder, tmp_path)
    path = harmed / "ocio/config.ocioz"
    with zipfile.ZipFile(path) as archive:
        held = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in held.items():
            archive.writestr(name, data.replace(b"version", b"Version", 1))
    relist(harmed, "ocio/config.ocioz")
    assert "ocio/config.ocioz" in plainly(harmed)


def test_around_a_fitted_lattice_words_and_numbers_are_the_recipes(tmp_path):
    text = with_formats("clf", text=SMALL.replace("fit = false", "fit = true"), certify=False)
    text = text.replace('[outputs.web]\noutput = "sRGB"\n', "")
    with few_points():
        fitted = built(tmp_path / "built", text)
    assert plainly(fitted) == set()
    harmed, name = harmed_by(fitted, tmp_path, "*to_monitor*.clf", r"(\d\.\d{6})\d", r"\g<1>")
    assert plainly(harmed) == {name}


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
