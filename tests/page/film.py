"""A small film for the page: two cameras, two scenes, frames of a wide range of light."""

from pathlib import Path

import numpy as np

from lookkit.media.stills import FORMATS

RECIPE = """\
# The film of the tests; comments stay where they are.
schema = 1
name = "Tested"
show = "Kiln"

[cameras.A]
encoding = "LogC4"              # the main one
[cameras.B]
encoding = "V-Log"

[scenes.kiln]
light = 3200
[[scenes.kiln.trims]]
kind = "exposure"
stops = 0.5                     # a dark room

[scenes.flats]

# Leaves lean to olive.
[[look]]
kind = "hue-bands"
id = "hues"
bands = [
  { centre = 130, width = 70, soft = 40, turn = -12 },
]

# The last word on colour.
[[look]]
kind = "saturation"
id = "colour"
saturation = 1.2

[outputs.monitor]
output = "Rec.709 BT.1886"

[[shots]]
match = "kiln_A*"
camera = "A"
scene = "kiln"
[[shots]]
match = "kiln_B*"
camera = "B"
scene = "kiln"
[[shots]]
match = "flats_A*"
camera = "A"
scene = "flats"
[[shots]]
match = "flats_B*"
camera = "B"
scene = "flats"
"""


def frame(seed: int, width: int = 384, height: int = 216) -> np.ndarray:
    """Codes of a smooth picture with colours of many levels, and some noise."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width]
    level = 0.12 + 0.5 * x / width
    hue = 2 * np.pi * y / height
    amount = 0.02 + 0.02 * np.sin(9 * x / width)
    code = np.stack([level + amount * np.cos(hue - k * 2.1) for k in range(3)], axis=-1)
    return (code + rng.normal(0, 0.002, code.shape)).astype(np.float32)


def make_film(folder: Path) -> tuple[Path, list[Path]]:
    """Write the recipe and its four frames; return their paths."""
    import OpenImageIO as oiio

    assert ".tif" in FORMATS
    recipe = folder / "film.toml"
    recipe.write_text(RECIPE, encoding="utf-8")
    files = []
    for seed, name in enumerate(("kiln_A", "kiln_B", "flats_A", "flats_B")):
        path = folder / f"{name}.tif"
        picture = frame(seed)
        spec = oiio.ImageSpec(picture.shape[1], picture.shape[0], 3, "uint16")
        out = oiio.ImageOutput.create(str(path))
        assert out.open(str(path), spec)
        assert out.write_image(picture)
        out.close()
        files.append(path)
    return recipe, files
