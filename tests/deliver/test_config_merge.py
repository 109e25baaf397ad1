"""The look over somebody's own config: theirs keeps names and pixels, ours are exact."""

import numpy as np
import pytest

from lookkit.deliver.config import CONFIG_NAME, merge_config, write_config
from lookkit.errors import InputError
from lookkit.look import Look
from lookkit.ocio import Processor, library
from lookkit.recipe.load import parse_recipe
from tests.test_look import RECIPE

CODES = np.random.default_rng(5).random((500, 3))
STUDIO = "ocio://studio-config-latest"
CUBE = "LUT_3D_SIZE 2\n" + "".join(
    f"{r} {g} {b}\n" for b in (0, 0.9) for g in (0, 0.8) for r in (0, 1)
)
"""A small table of our own."""

OWN = """ocio_profile_version: 2.1
search_path: tables
roles: {aces_interchange: aces, cie_xyz_d65_interchange: xyz, scene_linear: bt709,
        compositing_log: Camera A, color_timing: Camera A, default: bt709}
displays:
  screen:
    - !<View> {name: Warm print, view_transform: plain, display_colorspace: screen}
active_displays: [screen]
active_views: [Warm print]
looks:
  - !<Look> {name: Warm print, process_space: bt709,
             transform: !<CDLTransform> {slope: [1, 0.9, 0.8]}}
view_transforms:
  - !<ViewTransform>
    name: plain
    from_scene_reference: !<MatrixTransform> {matrix: [0.5,0,0,0, 0,0.5,0,0, 0,0,0.5,0, 0,0,0,1]}
display_colorspaces:
  - !<ColorSpace>
    name: screen
    from_display_reference: !<ExponentTransform> {value: 2.2, direction: inverse}
  - !<ColorSpace>
    name: xyz
    to_display_reference: !<MatrixTransform>
      matrix: [0.8, 0.1, 0, 0, 0, 0.7, 0.1, 0, 0.2, 0, 0.6, 0, 0, 0, 0, 1]
colorspaces:
  - !<ColorSpace> {name: bt709}
  - !<ColorSpace>
    name: aces
    from_scene_reference: !<MatrixTransform>
      matrix: [0.44, 0.38, 0.18, 0, 0.09, 0.81, 0.1, 0, 0.02, 0.11, 0.87, 0, 0, 0, 0, 1]
  - !<ColorSpace>
    name: Camera A
    to_scene_reference: !<FileTransform> {src: theirs.cube}
"""
"""A config of our own whose scene and display references are not ours, with names we use too."""


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE), RECIPE)


@pytest.fixture
def own(tmp_path):
    (tmp_path / "base" / "tables").mkdir(parents=True)
    (tmp_path / "base" / "tables" / "theirs.cube").write_text(CUBE)
    (tmp_path / "base" / "config.ocio").write_text(OWN)
    return tmp_path / "base" / "config.ocio"


def merged(look, base, folder):
    return library().Config.CreateFromFile(str(merge_config(look, str(base), folder)))


def pixels(config, space, display, view):
    way = library().TRANSFORM_DIR_FORWARD
    return Processor.of(config.getProcessor(space, display, view, way)).apply(CODES)


def every_name(config):
    ocio = library()
    return {
        "spaces": set(
            config.getColorSpaceNames(ocio.SEARCH_REFERENCE_SPACE_ALL, ocio.COLORSPACE_ALL)
        ),
        "roles": dict(config.getRoles()),
        "looks": set(config.getLookNames()),
        "views": {(display, view) for display in config.getDisplays()
                  for view in config.getViews(display)},
        "transforms": set(config.getViewTransformNames()),
    }  # fmt: skip


@pytest.fixture(scope="module")
def alone(look, tmp_path_factory):
    """The look's own config, which `test_config_lattice` and `test_config` hold to the graph."""
    return library().Config.CreateFromFile(
        str(write_config(look, tmp_path_factory.mktemp("alone")))
    )


@pytest.mark.parametrize("output", ["monitor", "cinema", "aces"])
def test_the_look_over_the_published_studio_config_is_that_of_its_own(
    look, alone, tmp_path, output
):
    config = merged(look, STUDIO, tmp_path)
    display = look.graph.output(output).name
    for camera in ("A", "B", "C", "linear"):
        aim = pixels(alone, f"Camera {camera}", display, "Warm print")
        found = pixels(config, f"Camera {camera}", display, "Warm print")
        assert np.abs(found - aim).max() <= 5e-5
        if output == "aces":
            exact = look.evaluate(CODES, camera=camera, output=output)
            assert np.abs(found - exact).max() <= 5e-5


@pytest.mark.parametrize("source", ["studio", "own"])
def test_nothing_of_the_base_is_renamed_or_changed(look, own, tmp_path, source):
    path = STUDIO if source == "studio" else str(own)
    base = library().Config.CreateFromFile(path)
    config = merged(look, path, tmp_path / "m")
    before, after = every_name(base), every_name(config)
    for kind in ("spaces", "looks", "views", "transforms"):
        assert before[kind] <= after[kind], kind
    assert after["roles"].items() >= before["roles"].items()
    for display, view in sorted(before["views"])[:40]:
        space = "aces_interchange"
        assert np.array_equal(
            pixels(base, space, display, view), pixels(config, space, display, view)
        )
    for space in sorted(before["spaces"])[:40]:
        if not base.getColorSpace(space).isData():
            one, two = (
                Processor.of(each.getProcessor(space, "aces_interchange")).apply(CODES)
                for each in (base, config)
            )
            assert np.array_equal(one, two), space


def test_references_that_are_not_ours_are_met(look, alone, own, tmp_path):
    """The same pixels over a base whose scene reference is linear BT.709 and display a matrix."""
    config = merged(look, own, tmp_path / "m")
    found = pixels(
        config, "Camera A (Pottery Warm print)", "P3-D65 2.6", "Warm print (Pottery Warm print)"
    )
    aim = pixels(alone, "Camera A", "P3-D65 2.6", "Warm print")
    assert np.abs(found - aim).max() <= 5e-5


def test_a_name_that_is_taken_gets_the_names_of_film_and_look_behind_it(look, own, tmp_path):
    config = merged(look, own, tmp_path / "m")
    assert set(config.getLookNames()) == {"Warm print", "Warm print (Pottery Warm print)"}
    assert "P3-D65 2.6" in list(config.getDisplays())
    assert config.getCanonicalName("A") == "Camera A (Pottery Warm print)"


def test_the_files_of_the_base_come_along(look, own, tmp_path):
    merged(look, own, tmp_path / "m")
    copy = tmp_path / "m" / "tables" / "theirs.cube"
    assert copy.read_bytes() == (own.parent / "tables" / "theirs.cube").read_bytes()


def test_an_archive_can_be_the_base(look, own, tmp_path):
    config = library().Config.CreateFromFile(str(own))
    (tmp_path / "base.ocioz").write_bytes(_archived(config))
    made = merged(look, tmp_path / "base.ocioz", tmp_path / "m")
    assert "Camera A" in list(made.getColorSpaceNames())
    assert (tmp_path / "m" / "tables" / "theirs.cube").exists()


def _archived(config):
    """OpenColorIO packs an archive to a stream that Python cannot give: a zip by hand."""
    import io
    import zipfile
    from pathlib import Path

    out = io.BytesIO()
    home = Path(config.getWorkingDir())
    with zipfile.ZipFile(out, "w") as archive:
        archive.write(home / "config.ocio", "config.ocio")
        archive.write(home / "tables" / "theirs.cube", "tables/theirs.cube")
    return out.getvalue()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("aces_interchange: aces, ", ""), "no role aces_interchange"),
        (("cie_xyz_d65_interchange: xyz, ", ""), "no role cie_xyz_d65_interchange"),
        (("theirs.cube", "gone.cube"), "not found: gone.cube"),
        (("theirs.cube", "../../outside.cube"), "outside its folder"),
        (("ocio_profile_version: 2.1", "ocio_profile_version: 9"), "cannot be read"),
    ],
)
def test_a_base_that_cannot_carry_the_look_is_refused(look, own, tmp_path, change, words):
    (tmp_path / "outside.cube").write_text(CUBE)
    own.write_text(OWN.replace(*change))
    with pytest.raises(InputError, match=words):
        merge_config(look, str(own), tmp_path / "m")


def test_a_base_that_is_no_file_is_refused(look, tmp_path):
    with pytest.raises(InputError, match="cannot be read as an OCIO config"):
        merge_config(look, str(tmp_path / "none.ocio"), tmp_path / "m")


def test_a_version_1_config_is_refused(look, tmp_path):
    text = "ocio_profile_version: 1\nroles: {default: raw}\n"
    text += "colorspaces:\n  - !<ColorSpace> {name: raw}\n"
    text += "displays:\n  x:\n    - !<View> {name: v, colorspace: raw}\n"
    (tmp_path / CONFIG_NAME).write_text(text)
    with pytest.raises(InputError, match="version 1, expected 2"):
        merge_config(look, str(tmp_path / CONFIG_NAME), tmp_path / "m")
