"""The main job on real photographs: camera logs from scene-linear EXR, a still, a film scan.

Carrots.exr and Desk.exr: OpenEXR's sample images (AP0 and BT.709 primaries, half float);
astronaut.png: public domain; checker.cin: OpenImageIO's sample. The photographs are
encoded into camera logs by OpenColorIO's own builtins, so lookkit is checked from outside.
"""

import numpy as np
import pytest

from lookkit.look import Look
from lookkit.media.stills import read_still, write_still
from lookkit.ocio import Processor, library
from lookkit.recipe.load import parse_recipe
from tests.media.grading import grade

RECIPE = """
schema = 1
name = "Plain print"
[cameras.LogC4]
encoding = "LogC4"
[cameras.S-Log3]
encoding = "S-Log3/S-Gamut3.Cine"
[cameras.V-Log]
encoding = "V-Log/V-Gamut"
[cameras.stills]
encoding = "sRGB"
[cameras.linear]
encoding = "ACES2065-1"
[cameras.scan]
encoding = "ADX10"
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.web]
output = "sRGB"
"""
BUILTINS = {
    "LogC4": "ARRI_LOGC4_to_ACES2065-1",
    "S-Log3": "SONY_SLOG3-SGAMUT3.CINE_to_ACES2065-1",
    "V-Log": "PANASONIC_VLOG-VGAMUT_to_ACES2065-1",
}


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE), RECIPE)


def encoded(aces, builtin):
    transform = library().BuiltinTransform(style=builtin, direction=library().TRANSFORM_DIR_INVERSE)
    return Processor([transform]).apply(aces)


@pytest.mark.parametrize("camera", BUILTINS)
@pytest.mark.parametrize("name", ["Carrots.exr", "Desk.exr"])
def test_a_photograph_in_a_camera_log_is_the_photograph(look, shared_data, name, camera):
    """Through the log and through scene-linear AP0 the same picture comes out.

    Both are read as AP0 (Desk.exr is not, but any linear numbers serve). The builtins agree
    with ours to 1e-5, the print is steepest near black: 5e-4 of the signal.
    """
    aces = read_still(shared_data / "exr" / name).pixels[::4, ::4]
    aces = np.clip(aces, 0.0, 40.0)
    through_log = look.apply(encoded(aces, BUILTINS[camera]), camera=camera, output="monitor")
    straight = look.apply(aces, camera="linear", output="monitor")
    assert np.abs(through_log - straight).max() <= 2e-3
    assert np.abs(through_log - straight).mean() <= 1e-5
    assert np.isfinite(straight).all()
    assert 0.05 < straight.mean() < 0.9


def test_the_window_of_the_desk_keeps_its_detail(look, shared_data):
    """Desk.exr peaks at 234 with negatives: the print must hold its window."""
    pixels = read_still(shared_data / "exr" / "Desk.exr").pixels
    bright = pixels.min(axis=-1) > 0.18 * 2**3
    graded = look.apply(pixels, camera="linear", output="monitor")[bright]
    assert bright.sum() > 1000
    levels = np.unique(np.rint(graded[:, 1] * 255))
    assert len(levels) >= 24


def test_stills_of_every_kind_are_graded_into_files(look, shared_data, tmp_path):
    jobs = [
        (shared_data / "still" / "astronaut.png", "stills", ".png"),
        (shared_data / "still" / "checker.cin", "scan", ".tif"),
        (shared_data / "exr" / "Carrots.exr", "linear", ".exr"),
    ]
    for source, camera, suffix in jobs:
        before = source.read_bytes()
        (done,) = grade(look, [source], camera=camera, output="web", into=tmp_path)
        assert done.problem == ""
        assert done.target.suffix == suffix
        exact = look.evaluate(read_still(source).pixels, camera=camera, output="web")
        written = read_still(done.target)
        step = 1 / 255 if written.bits == 8 else 1 / 1024
        assert np.abs(written.pixels - exact).max() <= 0.51 * step + 2e-4
        assert source.read_bytes() == before


def test_a_camera_log_survives_a_ten_bit_file(look, shared_data, tmp_path):
    aces = np.clip(read_still(shared_data / "exr" / "Carrots.exr").pixels, 0.0, 40.0)
    code = encoded(aces, BUILTINS["LogC4"])
    write_still(tmp_path / "shot.dpx", code, bits=10)
    back = read_still(tmp_path / "shot.dpx")
    assert back.bits == 10
    assert np.abs(back.pixels - code).max() <= 0.51 / 1023
    (done,) = grade(
        look, [tmp_path / "shot.dpx"], camera="LogC4", output="monitor", extension="tif"
    )
    graded = read_still(done.target).pixels
    straight = look.apply(code, camera="LogC4", output="monitor")
    assert np.abs(graded - straight).mean() < 0.002
