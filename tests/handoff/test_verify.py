"""A hand-off is re-read by readers that are not ours, and what is wrong with it is named."""

import json
import os
import shutil
import zipfile
from contextlib import suppress

import pytest

from lookkit.accuracy.certificate import Certificate
from lookkit.accuracy.text import certificate_text
from lookkit.errors import InputError
from lookkit.handoff.manifest import FORMAT, NAME
from lookkit.handoff.verify import verify
from tests.handoff.verifying import (
    ONE_OUTPUT,
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

CUBE = "cube/A/A_LogC4_full_to_monitor_Rec.709-BT.1886_full_17.cube"
OTHER = "cube/B/B_BT.709-camera_legal_to_monitor_Rec.709-BT.1886_full_17.cube"


def places(report):
    return [(file, reader) for file, reader, _ in bad(report)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return built(tmp_path_factory.mktemp("verified"), ONE_OUTPUT)


@pytest.fixture(scope="module")
def report(folder):
    return verify(folder)


@pytest.fixture
def copy(folder, tmp_path):
    return copied(folder, tmp_path)


def test_what_was_built_is_sound(report):
    assert bad(report) == []
    assert report.sound
    assert report.format == FORMAT


@pytest.mark.parametrize("library", ["OpenColorIO", "colour-science", "FFmpeg", "graph"])
def test_every_cube_agrees_with_every_reader(report, folder, library):
    cubes = {path.relative_to(folder).as_posix() for path in folder.rglob("*.cube")}
    agreeing = {
        row.file
        for row in report.rows
        if row.reader.startswith(library) and row.verdict == "agrees"
    }
    assert len(cubes) == 5
    assert cubes <= agreeing


def test_two_readers_agree_on_every_clf(report, folder):
    files = {path.relative_to(folder).as_posix() for path in folder.rglob("*.clf")}
    agreeing = {row.file for row in report.rows if row.reader.startswith("colour-clf-io")
                and row.verdict == "agrees"}  # fmt: skip
    assert files
    assert agreeing == files


def test_both_forms_of_the_config_give_the_graph(report):
    found = {
        row.file: row
        for row in report.rows
        if row.reader.startswith("OpenColorIO") and row.file.startswith("ocio/config")
    }
    assert {"ocio/config.ocio", "ocio/config.ocioz"} == set(found)
    assert all(row.verdict == "agrees" and row.difference <= row.within for row in found.values())


def test_the_report_is_plain_data(report):
    data = json.loads(json.dumps(report.as_dict()))
    assert data["sound"] is True
    assert len(data["rows"]) == len(report.rows)


def test_a_missing_file_is_named(copy):
    (copy / CUBE).unlink()
    ((file, _, text),) = bad(verify(copy, readers=()))
    assert file == CUBE
    assert "missing" in text


def test_an_unlisted_file_is_named(copy):
    (copy / "ocio" / "luts" / "stray.clf").write_text("x")
    ((file, _, text),) = bad(verify(copy, readers=()))
    assert file == "ocio/luts/stray.clf"
    assert "unlisted" in text


def test_a_changed_byte_is_named(copy):
    path = copy / CUBE
    data = bytearray(path.read_bytes())
    data[-4] = ord("1") if data[-4] != ord("1") else ord("2")
    path.write_bytes(data)
    ((file, _, text),) = bad(verify(copy, readers=()))
    assert file == CUBE
    assert "sha256" in text


def test_a_truncated_lut_is_named_with_what_a_strict_reader_finds(copy):
    path = copy / CUBE
    path.write_bytes(path.read_bytes()[:-2000])
    found = bad(verify(copy, readers=()))
    assert {file for file, _, _ in found} == {CUBE}
    assert any("changed" in text for _, _, text in found)
    assert any(reader == "lookkit" and "4913" in text for _, reader, text in found)


def test_a_truncated_lut_whose_manifest_was_made_to_agree_is_named(copy):
    path = copy / CUBE
    path.write_bytes(path.read_bytes()[:-2000])
    relist(copy, CUBE)
    ((file, reader, _),) = bad(verify(copy, readers=()))
    assert (file, reader) == (CUBE, "lookkit")


def test_a_swapped_file_is_found_by_its_pixels(copy):
    """Hash and size as listed: only the graph tells."""
    first, second = copy / CUBE, copy / OTHER
    swapped = first.read_bytes(), second.read_bytes()
    first.write_bytes(swapped[1])
    second.write_bytes(swapped[0])
    relist(copy, CUBE, OTHER)
    found = [(file, reader) for file, reader, _ in bad(verify(copy, readers=()))]
    assert [one for one in found if one[1] == "graph"] == [(CUBE, "graph"), (OTHER, "graph")]


def test_a_manifest_that_lies_about_accuracy_is_found(copy):
    manifest = manifest_of(copy)
    figures = manifest["files"][CUBE]["figures"]
    figures["trilinear"]["image-like 99.9 %"] *= 0.5
    rewrite(copy, manifest)
    ((file, reader, text),) = bad(verify(copy, readers=()))
    assert (file, reader) == (CUBE, "graph")
    assert "image-like 99.9 %" in text


def test_a_certificate_that_lies_with_its_manifest_is_found(copy):
    """Both say the same, and the colours say something else."""
    manifest = manifest_of(copy)
    manifest["files"][CUBE]["figures"]["trilinear"]["image-like 99.9 %"] = 0.02
    path = copy / f"{CUBE}.json"
    certificate = json.loads(path.read_text())
    for reading in certificate["readings"]:
        if reading["reader"] == "trilinear":
            reading["sets"]["image-like"]["delta_e_2000"]["p999"] = 0.02
    path.write_text(json.dumps(certificate))
    (copy / f"{CUBE}.txt").write_text(certificate_text(Certificate.from_json(path.read_text())))
    rewrite(copy, manifest)
    relist(copy, f"{CUBE}.json", f"{CUBE}.txt")
    ((file, reader, text),) = bad(verify(copy, readers=()))
    assert (file, reader) == (CUBE, "graph")
    assert "certified 0.02" in text


def lacks_a_set(data):
    del data["readings"][0]["sets"]["skin"]


def misnames_a_figure(data):
    figures = data["readings"][1]["sets"]["over-range"]["codes"]
    figures["p998"] = figures.pop("p999")


def lies_in_another_measure(data):
    data["readings"][0]["sets"]["skin"]["delta_e_itp"]["mean"] *= 1.01


def test_every_figure_of_a_certificate_is_measured_again(copy):
    harm = {lacks_a_set: "lacks skin", misnames_a_figure: "cannot be read",
            lies_in_another_measure: "skin mean is Delta E ITP"}  # fmt: skip
    cubes = sorted(path.relative_to(copy).as_posix() for path in copy.rglob("*_17.cube"))
    for (change, _), cube in zip(harm.items(), cubes, strict=False):
        path = copy / f"{cube}.json"
        data = json.loads(path.read_text())
        change(data)
        path.write_text(json.dumps(data))
        with suppress(ValueError):
            words = certificate_text(Certificate.from_json(path.read_text()))
            (copy / f"{cube}.txt").write_text(words)
        relist(copy, f"{cube}.json", f"{cube}.txt")
    found = {file: text for file, reader, text in bad(verify(copy, readers=()))}
    assert sorted(found) == cubes[:3]
    for said, cube in zip(harm.values(), cubes, strict=False):
        assert said in found[cube]


def test_words_of_a_certificate_that_its_figures_do_not_say_are_found(copy):
    path = copy / f"{CUBE}.txt"
    path.write_text(path.read_text().replace("Folds: none", "Folds: 12"))
    relist(copy, f"{CUBE}.txt")
    ((file, _, text),) = bad(verify(copy, readers=()))
    assert file == CUBE
    assert "says otherwise than" in text


def test_a_certificate_of_an_earlier_version_is_still_read(copy):
    # It also said whether a curve stands before the lattice.
    rewrite(copy, manifest_of(copy) | {"lookkit": "0.0.9"})
    path = copy / f"{CUBE}.json"
    path.write_text(json.dumps({"shaped": False, **json.loads(path.read_text())}))
    relist(copy, f"{CUBE}.json")
    report = verify(copy, readers=())
    assert not bad(report)
    (told,) = [row.text for row in report.rows if (row.file, row.reader) == (CUBE, "graph")]
    assert "as certified" in told


def test_a_manifest_that_names_another_camera_is_found(copy):
    manifest = manifest_of(copy)
    manifest["files"][CUBE]["camera"] = "B"
    rewrite(copy, manifest)
    assert places(verify(copy, readers=())) == [(CUBE, "graph"), (NAME, "recipe")]


def test_a_camera_that_the_recipe_does_not_have_is_named(copy):
    manifest = manifest_of(copy)
    manifest["files"][CUBE]["camera"] = "Z"
    rewrite(copy, manifest)
    texts = {file: text for file, _, text in bad(verify(copy, readers=()))}
    assert set(texts) == {CUBE, NAME}
    assert "'Z'" in texts[CUBE]
    assert "camera A, output monitor" in texts[NAME]


@pytest.mark.parametrize(
    "name",
    [
        "../outside.txt",
        "/etc/hostname",
        "cube/../../outside.txt",
        "C:\\x",
        "..",
        "a//b",
        "\\\\h\\x",
    ],
)
def test_a_path_of_the_manifest_that_leaves_the_folder_is_named_and_not_opened(copy, name):
    (copy.parent / "outside.txt").write_text("secret")
    manifest = manifest_of(copy)
    manifest["files"][name] = {"sha256": "0", "bytes": 6}
    rewrite(copy, manifest)
    ((file, reader, text),) = bad(verify(copy, readers=()))
    assert (file, reader) == (name, NAME)
    assert "leads out of the folder" in text


def test_a_link_to_elsewhere_is_named(copy):
    outside = copy.parent / "outside.cube"
    (copy / CUBE).rename(outside)
    (copy / CUBE).symlink_to(outside)
    found = bad(verify(copy, readers=()))
    assert [file for file, _, _ in found] == [CUBE]
    assert "a link to elsewhere" in found[0][2]


def test_a_recipe_that_was_changed_is_named(copy):
    path = copy / "recipe.toml"
    path.write_text(path.read_text().replace("stops = 0.3", "stops = 0.4"))
    relist(copy, "recipe.toml")
    found = bad(verify(copy, readers=()))
    assert ("recipe.toml", "graph") in [(file, reader) for file, reader, _ in found]
    assert CUBE in {file for file, _, _ in found}
    assert "ocio/config.ocio" in {file for file, _, _ in found}


def test_a_recipe_that_cannot_be_loaded_is_named_with_its_line(copy):
    path = copy / "recipe.toml"
    path.write_text(path.read_text().replace("stops = 0.3", "stop = 0.3"))
    relist(copy, "recipe.toml")
    ((file, _, text),) = bad(verify(copy, readers=()))
    assert file == "recipe.toml"
    assert "recipe.toml:12: look[1].stop" in text


def test_a_lut_that_the_config_misses_is_named(copy):
    """The manifest agrees, the config does not."""
    manifest = manifest_of(copy)
    gone = next(name for name in manifest["files"] if name.startswith("ocio/luts/film-print"))
    (copy / gone).unlink()
    del manifest["files"][gone]
    rewrite(copy, manifest)
    found = bad(verify(copy, readers=()))
    assert {file for file, _, _ in found} == {"ocio/config.ocio"}
    assert any(gone.rpartition("/")[2] in text for _, reader, text in found if reader == "links")


def test_a_config_that_reaches_out_of_the_folder_is_named(copy):
    path = copy / "ocio" / "config.ocio"
    text = path.read_text()
    src = (
        next(line for line in text.splitlines() if "src: " in line).split("src: ")[1].split(",")[0]
    )
    path.write_text(text.replace(src, "../../outside.clf", 1))
    relist(copy, "ocio/config.ocio")
    found = bad(verify(copy, readers=()))
    assert ("ocio/config.ocio", "links") in [(file, reader) for file, reader, _ in found]


def test_a_damaged_archive_is_named(copy):
    path = copy / "ocio" / "config.ocioz"
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0xFF
    path.write_bytes(data)
    relist(copy, "ocio/config.ocioz")
    assert {file for file, _, _ in bad(verify(copy, readers=()))} == {"ocio/config.ocioz"}


def test_an_archive_with_a_path_that_leads_out_is_named(copy):
    path = copy / "ocio" / "config.ocioz"
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("../outside.clf", "x")
    relist(copy, "ocio/config.ocioz")
    ((file, _, text),) = bad(verify(copy, readers=()))
    assert file == "ocio/config.ocioz"
    assert "leads out" in text


def test_xml_with_entities_is_refused(copy):
    name = next(n for n in manifest_of(copy)["files"] if n.startswith("ocio/luts/film-print"))
    path = copy / name
    body = path.read_text().partition("?>")[2]
    bomb = '<!DOCTYPE x [<!ENTITY a "1"><!ENTITY b "&a;&a;&a;">]>'
    path.write_text(f'<?xml version="1.0"?>{bomb}{body}')
    relist(copy, name)
    found = bad(verify(copy, readers=()))
    assert any(
        file == name and reader == "lookkit" and "document type" in text
        for file, reader, text in found
    )


def test_a_sampled_file_without_certificate_equals_the_graph_at_its_points(tmp_path):
    folder = built(tmp_path, with_formats("cube", text=ONE_OUTPUT, certify=False))
    report = verify(folder, readers=())
    assert bad(report) == []
    points = [row for row in report.rows if row.reader == "graph" and row.file.endswith(".cube")]
    assert sum("points equal the graph" in row.text for row in points) == 3
    assert sum("rows equal the graph" in row.text for row in points) == 2
    shutil.copyfile(folder / OTHER, folder / CUBE)
    relist(folder, CUBE)
    found = bad(verify(folder, readers=()))
    assert {file for file, _, _ in found} == {CUBE}
    assert [reader for _, reader, _ in found if reader == "graph"] == ["graph"]


def test_a_reader_that_is_not_installed_is_told_and_proves_nothing(folder, monkeypatch):
    from lookkit.handoff.verify import luts
    from lookkit.inspect.readers import Answer

    read = luts.read_with

    def without(reader, jobs):
        if reader == "colour":
            return [Answer("", None, "not installed")] * len(jobs)
        return read(reader, jobs)

    monkeypatch.setattr(luts, "read_with", without)
    report = verify(folder, readers=("colour",))
    rows = [row for row in report.rows if row.reader == "colour-science"]
    assert len(rows) == 5
    assert {row.verdict for row in rows} == {"absent"}
    assert "not tried: colour-science" in report.summary
    assert "lookkit[match]" in rows[0].text


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "no JSON"),
        ("[1]", "expected a table"),
        ('{"format": 99, "files": {}}', "format 99"),
        ('{"format": "x", "files": {}}', "format 'x'"),
        ('{"format": 2}', "no table 'files'"),
        ("[" * 100000, "nested too deeply"),
    ],
)
def test_a_manifest_that_cannot_be_read_is_bad_input(tmp_path, text, reason):
    (tmp_path / NAME).write_text(text)
    with pytest.raises(InputError, match=reason):
        verify(tmp_path)


def test_a_folder_that_is_no_hand_off_is_bad_input(tmp_path):
    with pytest.raises(InputError, match="does not exist"):
        verify(tmp_path / "none")
    with pytest.raises(InputError, match=f"no {NAME}"):
        verify(tmp_path)


def test_verifying_changes_nothing(folder, report):
    times = {path: os.stat(path).st_mtime_ns for path in folder.rglob("*")}
    verify(folder, readers=())
    assert {path: os.stat(path).st_mtime_ns for path in folder.rglob("*")} == times


@pytest.fixture(scope="module")
def others(tmp_path_factory):
    small = SMALL.replace('[outputs.web]\noutput = "sRGB"\n', "")
    text = with_formats("clf", "clf-chain", "cdl", "stills", text=small)
    with few_points():
        return built(tmp_path_factory.mktemp("others"), text)


def test_operations_and_lattice_pictures_agree(others):
    report = verify(others, readers=("ocio", "clf-io", "haldclut"))
    assert bad(report) == []
    agreeing = {
        row.file for row in report.rows if row.verdict == "agrees" and row.reader == "graph"
    }
    files = {path.relative_to(others).as_posix() for path in others.rglob("*")}
    kinds = (".clf", ".cube", ".png", ".cc")
    assert {name for name in files if name.endswith(kinds)} <= agreeing
    stills = [row for row in report.rows if row.file.endswith(".png") and "FFmpeg" in row.reader]
    assert [row.verdict for row in stills] == ["agrees"] * 2
    collections = [row for row in report.rows if row.file.endswith((".ccc", ".cdl"))]
    assert any(row.reader == "links" and row.verdict == "agrees" for row in collections)


def assert_other_words_are_found(folder, *changes):
    """Put other words into files, list them again, and see that just these are told."""
    names = []
    for pattern, was, now in changes:
        (path,) = folder.glob(pattern)
        text = path.read_text()
        assert was in text
        path.write_text(text.replace(was, now, 1))
        names.append(path.relative_to(folder).as_posix())
    relist(folder, *names)
    assert {file for file, _, _ in bad(verify(folder, readers=()))} == set(names)


def test_other_words_in_a_cdl_are_found(others, tmp_path):
    assert_other_words_are_found(
        copied(others, tmp_path),
        ("cdl/*.ccc", "mean 0.", "mean 9."), ("cdl/*print.cc", "CDL alone", "CDL done"),
        ("cdl/*.cdl", "<SatNode>", "<SatNode >"),
        ("cdl/*print_residual_ACEScct.clf", "not an exposure meter", "an exposure meter"),
        ("cdl/*print_residual_ACEScct_*.cube", "not an exposure meter", "an exposure meter"),
    )  # fmt: skip


def test_other_words_in_a_transform_for_aces_are_found(tmp_path):
    with few_points():
        folder = built(tmp_path, with_formats("aces", text=SMALL))
        assert bad(verify(folder, readers=())) == []
        assert_other_words_are_found(
            folder,
            ("aces/*print_lmt_ACEScct.clf", "followed by ACES 2", "followed by ACES 1"),
            ("aces/*dusk_lmt_ACES2065-1.clf", "<Description>", "<Description>New. "),
            ("aces/*dusk_lmt_ACEScct_*.cube", "before ACES 2", "before ACES 1"),
            ("aces/*print_lmt_ACEScct_*.cube", "not an exposure meter", "an exposure meter"),
        )


SWAPPED = (
    "clf/Warm-print*.clf",
    "clf/A/*monitor*.clf",
    "cdl/*ACEScct.clf",
    "stills/*.png",
)


def of_two_scenes(folder, pattern):
    found = sorted(path for path in folder.glob(pattern) if "trims" not in path.name)
    return [path.relative_to(folder).as_posix() for path in found]


@pytest.fixture(scope="module")
def found_by_pixels(others, tmp_path_factory):
    """What the graph finds where each file of a scene has taken the place of the look's own."""
    copy = copied(others, tmp_path_factory.mktemp("swapped"))
    for pattern in SWAPPED:
        first, second = of_two_scenes(copy, pattern)
        contents = (copy / first).read_bytes(), (copy / second).read_bytes()
        (copy / first).write_bytes(contents[1])
        (copy / second).write_bytes(contents[0])
        relist(copy, first, second)
    return {file for file, reader, _ in bad(verify(copy, readers=())) if reader == "graph"}


@pytest.mark.parametrize("pattern", SWAPPED)
def test_the_look_of_another_scene_is_found_by_its_pixels(others, found_by_pixels, pattern):
    assert set(of_two_scenes(others, pattern)) & found_by_pixels


def test_a_cdl_with_a_changed_number_is_found(others, tmp_path):
    copy = copied(others, tmp_path)
    path = copy / "cdl" / "Warm-print_dusk.cc"
    text = path.read_text()
    slope = text.partition("<Slope>")[2].partition("</Slope>")[0]
    path.write_text(text.replace(slope, "1.3 1.0 0.9"))
    relist(copy, "cdl/Warm-print_dusk.cc")
    found = bad(verify(copy, readers=()))
    assert ("cdl/Warm-print_dusk.cc", "graph") in [(file, by) for file, by, _ in found]
    # The collections hold the true one.
    assert {file for file, by, _ in found if by == "links"} == {
        "cdl/Warm-print.ccc", "cdl/Warm-print.cdl"
    }  # fmt: skip


def test_operations_that_were_changed_are_found_without_a_certificate(tmp_path):
    folder = built(tmp_path, with_formats("clf", text=SMALL, certify=False))
    assert bad(verify(folder, readers=())) == []
    plain, dusk = (folder / "clf" / f"Warm-print{end}_ACES2065-1_to_ACES2065-1.clf"
                   for end in ("", "_dusk"))  # fmt: skip
    plain.write_bytes(dusk.read_bytes())
    name = plain.relative_to(folder).as_posix()
    relist(folder, name)
    assert places(verify(folder, readers=())) == [(name, "graph")]


def test_a_lattice_picture_that_is_none_is_named(others, tmp_path):
    copy = copied(others, tmp_path)
    path = next(copy.glob("stills/*.png"))
    path.write_bytes(path.read_bytes()[:5000])
    name = path.relative_to(copy).as_posix()
    relist(copy, name)
    found = bad(verify(copy, readers=("haldclut",)))
    assert {file for file, _, _ in found} == {name}
