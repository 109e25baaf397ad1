"""A look that OpenColorIO cannot say step by step: its config carries a lattice."""

import numpy as np
import pytest

from lookkit.accuracy.samples import image_like
from lookkit.deliver.config import write_config
from lookkit.look import Look
from lookkit.ocio import Processor, library
from lookkit.recipe.load import parse_recipe

AS_DELIVERED = True

RECIPE = """
schema = 1
name = "Hues"
[cameras.A]
encoding = "LogC4"
[cameras.L]
encoding = "ACEScg"
[[cameras.L.trims]]
kind = "exposure"
stops = 0.5
[[look]]
kind = "tone-bands"
bands = [{ centre = -4, exposure = 0.3 }, { centre = 3, exposure = -0.2 }]
[[look]]
kind = "hue-bands"
bands = [{ centre = 40, turn = 5, saturation = 0.9 }]
[outputs.monitor]
output = "Rec.709 BT.1886"
[scenes.night]
[[scenes.night.trims]]
kind = "saturation"
density = 0.4
only = { stops = { from = 1 } }
[deliver]
scenes = ["night"]
"""


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE), RECIPE)


@pytest.fixture(scope="module")
def config(look, tmp_path_factory):
    folder = tmp_path_factory.mktemp("ocio")
    return library().Config.CreateFromFile(str(write_config(look, folder)))


@pytest.mark.parametrize("camera", ["A", "L"])
@pytest.mark.parametrize(("scene", "view"), [(None, "Hues"), ("night", "Hues in night")])
def test_the_config_gives_the_picture_of_the_graph(config, look, camera, scene, view):
    """Pictures of a draw that no fit saw: 99.9 % within a ten-bit code and a half.

    The scene's trims have hard limits, which no lattice follows as closely as the goal of one.
    """
    read = Processor.of(
        config.getProcessor(
            f"Camera {camera}", "Rec.709 BT.1886", view, library().TRANSFORM_DIR_FORWARD
        )
    )
    light = image_like(np.random.default_rng(7), 20000)
    codes = look.graph.decoding(camera, scene).inverse(light)
    exact = look.evaluate(codes, camera=camera, output="monitor", scene=scene)
    off = 1023.0 * np.abs(read.apply_exact(codes) - exact).max(axis=-1)
    assert np.quantile(off, 0.999) <= 1.5


def test_its_greys_stay_neutral(config):
    read = Processor.of(
        config.getProcessor("ACEScg", "Rec.709 BT.1886", "Hues", library().TRANSFORM_DIR_FORWARD)
    )
    grey = 0.18 * 2.0 ** np.linspace(-10, 8, 500)[:, None].repeat(3, axis=1)
    out = read.apply(grey)
    assert np.ptp(out, axis=1).max() <= 0.1 / 1023
