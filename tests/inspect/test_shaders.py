"""A config's shaders: written within limits, and run where there is GL without a window."""

from pathlib import Path

import numpy as np
import pytest

from lookkit.deliver.config import write_config
from lookkit.deliver.config_measured import ways
from lookkit.inspect.shaders import SECONDS, TEXTURES, View, draw, views_of, write_shaders
from lookkit.look import Look
from lookkit.ocio import library
from lookkit.recipe.load import parse_recipe
from tests.deliver.test_config_lattice import RECIPE

AS_DELIVERED = "lattices"

GPU = 0.3
"""Ten-bit codes between a GPU's picture and the processor's."""


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    look = Look(parse_recipe(RECIPE + "fit = false\n"), RECIPE)
    path = write_config(look, tmp_path_factory.mktemp("gpu"))
    return look, path, library().Config.CreateFromFile(str(path))


def test_every_view_has_its_shader_in_time_and_in_little_memory(film):
    _, path, config = film
    spaces = list(config.getColorSpaceNames())
    views = views_of(config, spaces)
    assert len(views) >= 4 * len(spaces)
    found = write_shaders(path, views)
    assert found.fault == ""
    assert found.views == len(views)
    assert found.seconds < SECONDS
    assert found.textures < TEXTURES


def test_a_table_that_never_folds_is_told_and_ends_by_itself(tmp_path):
    """OpenColorIO 2.2 to 2.6 do not end at tables of 65535 entries."""
    rows = "\n".join(f"{x:.6f}" for x in np.linspace(0.0, 1.0, 65535))
    (tmp_path / "t.spi1d").write_text(
        f"Version 1\nFrom 0.0 1.0\nLength 65535\nComponents 1\n{{\n{rows}\n}}\n"
    )
    ocio = library()
    config = ocio.Config.CreateRaw()
    space = ocio.ColorSpace(name="T")
    space.setTransform(ocio.FileTransform("t.spi1d"), ocio.COLORSPACE_DIR_TO_REFERENCE)
    config.addColorSpace(space)
    config.addDisplayView("D", "V", "raw", "")
    path = tmp_path / "c.ocio"
    path.write_text(config.serialize())
    found = write_shaders(path, [View("T", "D", "V")])
    assert (found.views, found.fault != "") in ((0, True), (1, False))
    if found.views == 0:
        assert "cannot be had" in found.fault


def test_what_gl_draws_is_the_processors_picture(film):
    look, path, config = film
    there = [way for way in ways(look, config) if way.camera == "A"]
    colours = there[0].colours()
    pixels = np.concatenate([colours[name][::16] for name in ("image-like", "skin")])
    drawn = draw(path, [View(way.space, way.display, way.view) for way in there], pixels)
    if not drawn.renderer:
        pytest.skip(drawn.reason)
    assert drawn.reason == ""
    for way, picture in zip(there, drawn.pictures, strict=True):
        off = 1023.0 * np.abs(picture - way.read(config)(pixels)).max()
        assert off <= GPU, way
        wrong = 1023.0 * np.abs(picture - way.exact(pixels)).max(axis=-1)
        assert np.quantile(wrong, 0.99) <= 2.0


def test_views_are_all_displays_and_views_from_each_space(film):
    _, _, config = film
    found = views_of(config, ["Camera A"])
    assert {one.view for one in found} >= {"Hues", "Hues in night", "Raw"}
    assert isinstance(film[1], Path)
