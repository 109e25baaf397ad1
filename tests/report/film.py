"""A small invented film: a recipe of three cameras, two scenes, and frames of all kinds."""

import numpy as np

from lookkit.look import load
from lookkit.media.stills import write_still
from tests.media.movies import noise, write_movie

RECIPE = """
schema = 1
name = "Clay and slip"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "BT.709 camera"
bits = 8
[cameras.L]
encoding = "ACEScg"
[scenes.day]
[scenes.night]
[[scenes.night.trims]]
kind = "exposure"
stops = -1.0
[[look]]
kind = "contrast"
contrast = 1.1
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.web]
output = "sRGB"
[outputs.hdr]
output = "Rec.2100 PQ 1000"
[[shots]]
match = "day*_A*"
camera = "A"
scene = "day"
[[shots]]
match = "night/*_A*"
camera = "A"
scene = "night"
[[shots]]
match = "day_B*"
camera = "B"
scene = "day"
[[shots]]
match = "*_L*"
camera = "L"
scene = "day"
"""
SMALL = """
schema = 1
name = "Clay and slip"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[scenes.night]
[[scenes.night.trims]]
kind = "exposure"
stops = -1.0
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.web]
output = "sRGB"
[[shots]]
match = "frame*"
camera = "A"
scene = "night"
"""
"""One camera: for what does not depend on how many there are."""


def gradient(low, high, width=96, height=54):
    """A picture whose red goes across, green down and blue against red, low to high."""
    x = np.linspace(low, high, width)[None].repeat(height, 0)
    y = np.linspace(low, high, height)[:, None].repeat(width, 1)
    return np.stack([x, y, low + high - x], axis=-1).astype(np.float32)


def write_film(folder):
    """Write recipe and frames; return the look and the frames' paths."""
    (folder / "film.toml").write_text(RECIPE)
    (folder / "night").mkdir()
    frames = [folder / "day_A.dpx", folder / "night" / "01_A.tif", folder / "day_B.png",
              folder / "day_L.exr", folder / "day_A_clip.mov"]  # fmt: skip
    write_still(frames[0], gradient(0.1, 0.7))
    write_still(frames[1], gradient(0.1, 0.5))
    write_still(frames[2], gradient(0.1, 0.9), bits=8)
    write_still(frames[3], gradient(0.0, 2.0))
    write_movie(frames[4], noise(5, 96, 54), codec="prores_ks", options={"profile": "3"})
    return load(folder / "film.toml"), frames


__all__ = ["RECIPE", "gradient", "write_film"]
