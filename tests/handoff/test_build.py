"""The hand-off folder: whole or not there, and readers we did not write agree with it."""

import hashlib
import json
import os

import numpy as np
import pytest

from lookkit.accuracy.samples import image_like
from lookkit.deliver.config import CONFIG_NAME
from lookkit.deliver.config_parts import NO_LOOK, RAW
from lookkit.errors import InputError
from lookkit.files import build_beside
from lookkit.handoff.build import build
from lookkit.look import Look
from lookkit.ocio import Processor, library
from lookkit.recipe.load import parse_recipe
from tests.test_look import RECIPE

AS_DELIVERED = "lattices"


@pytest.fixture(scope="module")
def look():
    text = RECIPE + "[deliver]\nsizes = [17, 33]\nfit = false\ncertify = false\n"
    return Look(parse_recipe(text), text)


@pytest.fixture(scope="module")
def small():
    """What is quick to build."""
    text = RECIPE + (
        '[deliver]\nsizes = [17]\nfit = false\ncertify = false\nformats = ["cube", "config"]\n'
    )
    return Look(parse_recipe(text), text)


@pytest.fixture(scope="module")
def folder(look, tmp_path_factory):
    return build(look, tmp_path_factory.mktemp("build")).folder


def test_the_folder_is_named_after_show_look_and_version(folder):
    assert folder.name == "Pottery_Warm-print_v001"
    assert {path.name for path in folder.iterdir() if path.suffix != ".amf"} == {
        "ACCURACY.txt", "README.txt", "manifest.json", "recipe.toml", "cdl", "clf", "cube",
        "ocio", "stills", "report.html",
    }  # fmt: skip
    assert {path.name for path in (folder / "cube").iterdir()} == {"A", "B", "C"}


def test_the_manifest_has_the_hash_of_every_file(folder):
    manifest = json.loads((folder / "manifest.json").read_text())
    listed = manifest["files"]
    present = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    assert set(listed) == present - {"manifest.json"}
    for name, entry in listed.items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == entry["sha256"]


def test_a_cube_says_what_it_takes_and_gives(folder, look):
    (path,) = (folder / "cube" / "A").glob("*monitor*_33.cube")
    text = path.read_bytes()
    assert b"\r" not in text
    head = text[:2000].decode("ascii")
    for word in ("LogC4", "full range", "Rec.709 BT.1886", look.recipe_hash, "lookkit "):
        assert word in head
    assert "full" in path.name
    assert "LogC4" in path.name


@pytest.mark.parametrize("output", ["monitor", "cinema", "aces"])
@pytest.mark.parametrize("camera", ["A", "B", "C"])
def test_ocio_reads_every_cube_as_the_exact_graph(folder, look, camera, output):
    """OpenColorIO's own reader at the lattice points: the written decimals."""
    ocio = library()
    for path in sorted((folder / "cube" / camera).glob(f"*_{output}_*.cube")):
        size = int(path.stem.rpartition("_")[2])
        read = Processor([ocio.FileTransform(src=str(path), interpolation=ocio.INTERP_TETRAHEDRAL)])
        index = np.random.default_rng(size).integers(0, size, (200, 3))
        codes = index / (size - 1)
        exact = look.evaluate(codes, camera=camera, output=output)
        assert np.abs(read.apply(codes) - exact).max() <= 2e-5


@pytest.fixture(scope="module", params=["config.ocio", "config.ocioz"])
def config(request, folder):
    return library().Config.CreateFromFile(str(folder / "ocio" / request.param))


@pytest.mark.parametrize("output", ["monitor", "cinema", "aces"])
@pytest.mark.parametrize("camera", ["A", "B", "C", "linear"])
def test_the_pixels_of_the_config_equal_ours(config, look, camera, output):
    config.validate()
    display = look.graph.output(output).name
    read = Processor.of(
        config.getProcessor(
            f"Camera {camera}", display, look.recipe.name, library().TRANSFORM_DIR_FORWARD
        )
    )
    light = image_like(np.random.default_rng(3), 2000)
    codes = np.clip(look.graph.decoding(camera).inverse(light), 0.0, 1.0)
    off = np.abs(read.apply(codes) - look.evaluate(codes, camera=camera, output=output))
    # ACES 2 is OpenColorIO's own; the film print is a lattice.
    assert np.quantile(off, 0.99) <= (5e-5 if output == "aces" else 4 / 1023)


def test_the_config_has_the_parts_a_recipient_looks_for(config, look):
    assert list(config.getLookNames()) == ["Warm print"]
    assert config.getCanonicalName("A") == "Camera A"
    assert set(config.getDisplays()) == {"Rec.709 BT.1886", "P3-D65 2.6", "sRGB"}
    for display in config.getDisplays():
        assert list(config.getViews(display)) == ["Warm print", NO_LOOK, RAW]
    assert config.getLook("Warm print").getProcessSpace() == "ACEScg"
    for role in ("aces_interchange", "cie_xyz_d65_interchange", "scene_linear"):
        assert config.hasRole(role)


def test_the_config_is_of_the_lowest_version_that_holds_it(config):
    """ACES 2 outputs came with config version 2.4 (OpenColorIO's release notes)."""
    assert (config.getMajorVersion(), config.getMinorVersion()) == (2, 4)


def test_a_folder_that_exists_is_left_alone(look, folder):
    before = (folder / "manifest.json").read_bytes()
    with pytest.raises(InputError, match="exists already"):
        build(look, folder.parent)
    assert (folder / "manifest.json").read_bytes() == before


def test_an_interrupted_build_leaves_nothing(small, tmp_path):
    def interrupt(what, done, total):
        if done >= 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        build(small, tmp_path, interrupt)
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_fails_leaves_nothing(small, tmp_path, monkeypatch):
    def full(*args, **kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("lookkit.deliver.config.write_config", full)
    with pytest.raises(Exception, match="No space left"):
        build(small, tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_that_cannot_be_written_is_refused(look, tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(InputError, match="cannot be written"):
        build(look, tmp_path / "below")


def test_a_place_that_is_a_file_is_refused(look, tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="cannot be written"):
        build(look, tmp_path / "file")


def test_names_in_a_recipe_cannot_leave_the_folder(tmp_path):
    with pytest.raises(InputError, match="letters"):
        parse_recipe(RECIPE.replace("[cameras.A]", "[cameras.'../../A']"))
    with pytest.raises(InputError, match="letters"):
        parse_recipe(RECIPE.replace('show = "Pottery"', 'show = "../Pottery"'))
    with build_beside(tmp_path / "x") as folder:
        assert folder.parent == tmp_path


def test_a_recipe_without_cameras_builds_nothing(tmp_path):
    text = 'schema = 1\nname = "x"\n'
    with pytest.raises(InputError, match="no cameras"):
        build(Look(parse_recipe(text), text), tmp_path)


def test_a_build_makes_the_scenes_that_the_recipe_asks_for_and_no_others(tmp_path):
    text = (
        RECIPE.replace("[[look]]\n", '[[look]]\nid = "level"\n', 1)
        + """
[scenes.flats]
cameras = ["A"]
[[scenes.flats.trims]]
kind = "exposure"
stops = 1.0
[scenes.flats.overrides.level]
stops = -0.5
[scenes.kiln]
[outputs.second]
output = "Rec.709 BT.1886"
range = "legal"
[deliver]
scenes = ["flats"]
formats = ["cube", "config"]
fit = false
certify = false
"""
    )
    look = Look(parse_recipe(text), text)
    folder = build(look, tmp_path).folder
    names = [path.name for path in (folder / "cube").rglob("*.cube")]
    assert len([name for name in names if "flats" in name]) == len(look.outputs)
    assert not [name for name in names if "kiln" in name]
    config = library().Config.CreateFromFile(str(folder / "ocio" / CONFIG_NAME))
    assert list(config.getLookNames()) == ["Warm print", "Warm print in flats"]
    light = image_like(np.random.default_rng(3), 20000)
    for scene, view in ((None, "Warm print"), ("flats", "Warm print in flats")):
        for output, display in (("second", "Rec.709 BT.1886 for second"), ("cinema", "P3-D65 2.6")):
            read = Processor.of(
                config.getProcessor("Camera A", display, view, library().TRANSFORM_DIR_FORWARD)
            )
            codes = look.graph.decoding("A", scene).inverse(light)
            exact = look.evaluate(codes, camera="A", output=output, scene=scene)
            off = 1023.0 * np.abs(read.apply(codes) - exact).max(axis=1)
            assert np.quantile(off, 0.999) <= 1.5


def test_a_config_of_somebody_gets_the_look_in_a_folder_of_its_own(small, tmp_path):
    folder = build(small, tmp_path, base="ocio://cg-config-latest").folder
    config = library().Config.CreateFromFile(str(folder / "ocio_merged" / CONFIG_NAME))
    assert "Warm print" in list(config.getLookNames())
    assert "ocio_merged/config.ocio" in (folder / "ACCURACY.txt").read_text()
    assert list((folder / "ocio_merged").glob("luts_*/*.clf"))


def test_a_look_without_a_lattice_says_that_its_inverse_is_exact_and_it_is(folder, look):
    """OpenColorIO inverts it: there and back in scene light, relative to the largest channel."""
    ocio = library()
    config = ocio.Config.CreateFromFile(str(folder / "ocio" / CONFIG_NAME))
    assert "Its inverse is exact" in config.getLook("Warm print").getDescription()
    light = 0.18 * 2.0 ** np.random.default_rng(9).uniform(-6, 6, (1000, 1))
    light = light * np.random.default_rng(10).uniform(0.5, 1.5, (1000, 3))
    there = ocio.LookTransform(src="ACEScg", dst="ACEScg", looks="+Warm print")
    back = ocio.LookTransform(src="ACEScg", dst="ACEScg", looks="-Warm print")
    through = [Processor.of(config.getProcessor(one)) for one in (there, back)]
    returned = through[1].apply(through[0].apply(light))
    assert np.abs(through[0].apply(light) / light - 1).max() > 0.05
    assert np.abs(returned / light - 1).max() <= 2e-4
