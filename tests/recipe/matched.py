"""Match files and a recipe that names them, for tests that need no frames."""

import numpy as np

from lookkit.matchfile.model import MatchFile
from lookkit.recipe.match_file import match_text

RECIPE = """schema = 1
name = "Day film"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "BT.709 camera"
match = "B.match.toml"
[cameras.C]
encoding = "LogC3 EI800"
match = "matches/C.match.toml"
[[cameras.B.trims]]
kind = "exposure"
stops = 0.25
[[look]]
kind = "saturation"
saturation = 0.8
[scenes.yard]
light = "window"
[scenes.kitchen]
light = 3200
[scenes.cellar]
light = "tungsten"
[scenes.attic]
cameras = ["B"]
[outputs.monitor]
output = "Rec.709 BT.1886"
"""

MATRICES = {
    "window": [[1.1, -0.2, 0.1], [0.05, 0.9, 0.05], [0.0, -0.1, 1.15]],
    "3200": [[0.8, 0.3, 0.0], [0.1, 1.0, -0.1], [0.02, 0.1, 0.7]],
    "shade": [[1.0, 0.0, 0.1], [0.0, 1.0, 0.0], [0.0, 0.1, 1.3]],
}
SLOPES = np.linspace(0.8, 2.6, 12) ** 1.3
ROOTS = [[0.1, 0.05, -0.03], [-0.05, 0.08, 0.02], [0.04, -0.06, 0.1]]


def match_of(camera="B", lights=("window", "3200"), encoding="unknown", roots=None, **more):
    known = encoding != "unknown"
    return MatchFile.model_validate(
        {
            "schema": 1,
            "camera": camera,
            "reference": "A",
            "encoding": encoding,
            "range": "full" if known else "legal",
            "bits": 8,
            "lights": tuple(
                {
                    "light": light,
                    "method": "chart",
                    "curve": None if known else {"top": 1.09, "slopes": tuple(SLOPES.tolist())},
                    "matrix": tuple(tuple(row) for row in MATRICES[light]),
                    "roots": None if roots is None else tuple(tuple(row) for row in roots),
                    "statistics": {"patches": 24, "covers": (-4.0, 3.0)},
                    "provenance": {"made-by": "a test"},
                }
                for light in lights
            ),
            **more,
        }
    )


def write_film(folder, recipe=RECIPE, b=None, c=None):
    """The recipe and its two match files in a folder; the recipe's path."""
    (folder / "matches").mkdir(parents=True, exist_ok=True)
    (folder / "B.match.toml").write_text(match_text(b or match_of()))
    one = c or match_of("C", ("shade",), "LogC3 EI800")
    (folder / "matches" / "C.match.toml").write_text(match_text(one))
    path = folder / "film.toml"
    path.write_text(recipe)
    return path
