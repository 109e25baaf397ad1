"""Recipes: refused in words with every problem located, or described and evaluated."""

import random
import textwrap
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from lookkit.errors import LookkitError
from lookkit.look import Look
from lookkit.lutfile.cube import write_cube
from lookkit.nodes import KINDS
from lookkit.recipe.extend import shipped_recipes
from lookkit.recipe.load import read_recipe
from lookkit.recipe.match_file import match_text
from lookkit.recipe.write import toml_text
from lookkit.report.describe import describe
from tests.fuzz.mutate import mutated, mutated_tables
from tests.fuzz.place import or_told, place
from tests.recipe.matched import RECIPE, match_of

NAME = "recipes"
HEAD = """schema = 1
name = "Plain"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[outputs.monitor]
output = "Rec.709 BT.1886"
"""
MORE = """schema = 1
name = "All of it"
show = "Pottery"
version = 3
note = "for the fuzzer"
[encodings.mine]
like = "LogC4"
[cameras.A]
encoding = "LogC4"
range = "legal"
bits = 10
note = "main"
[[cameras.A.trims]]
kind = "white-balance"
kelvin = 2800.0
camera = 3200.0
[scenes.dusk]
light = 3000
cameras = ["A"]
[scenes.dusk.overrides.level]
stops = 0.5
[[scenes.dusk.trims]]
kind = "exposure"
stops = -0.5
[[look]]
kind = "exposure"
id = "level"
stops = 0.1
mix = 0.5
enabled = true
[look.only]
hue = { centre = 40, width = 60, soft = 30 }
[[look]]
kind = "lut"
file = "x.cube"
expects = "LogC4"
returns = "ACEScct"
[outputs.web]
output = "sRGB"
[outputs.web.rendering]
kind = "aces-2"
[rendering]
kind = "film-print"
id = "print"
contrast = 1.2
[deliver]
sizes = [17, 33]
scenes = ["dusk"]
formats = ["cube", "clf", "cdl"]
date = 2026-01-02T03:04:05Z
[deliver.budget]
image-like = 1.0
[[shots]]
match = "A*"
camera = "A"
scene = "dusk"
"""


@cache
def seeds() -> list[bytes]:
    """Recipes that hold every kind of node and every table."""
    made = [MORE, RECIPE, HEAD + 'extends = "warm-print"\n']
    made += [path.read_text() for path in shipped_recipes().values()]
    made += [HEAD + textwrap.dedent(kind.example) for kind in KINDS]
    made += [Path("examples/pottery/pottery.toml").read_text()]
    return [text.encode() for text in made]


@cache
def _tables() -> list[dict[str, Any]]:
    return [tomllib.loads(one.decode()) for one in seeds()]


@cache
def _folder() -> Path:
    folder = place() / "recipes"
    (folder / "luts").mkdir(parents=True)
    (folder / "matches").mkdir()
    lattice = np.stack(np.meshgrid(*[np.linspace(0.0, 1.0, 5)] * 3, indexing="ij"), axis=-1)
    for name in ("x.cube", "luts/print.cube"):
        write_cube(folder / name, lattice, title="x", comments=())
    (folder / "B.match.toml").write_text(match_text(match_of()))
    one = match_of("C", ("shade",), "LogC3 EI800")
    (folder / "matches" / "C.match.toml").write_text(match_text(one))
    return folder


def case(number: int) -> tuple[str, bytes]:
    """The ending and the bytes of a case: text or tables changed, by turns."""
    if number % 2:
        return ".toml", mutated(seeds(), number)
    text = toml_text(mutated_tables(_tables(), number))
    return ".toml", text.encode("utf-8", "surrogatepass")


def read(number: int) -> None:
    """Read a case; raises what is a find."""
    _, data = case(number)
    path = _folder() / "film.toml"
    path.write_bytes(data)
    found, told = or_told(lambda: read_recipe(path))
    if found is None:
        assert told
        assert all(len(line) < 4000 for line in told.split("\n")), told[:200]
        assert "film.toml" in told or ".match.toml" in told or ".cube" in told, told
        return
    recipe, text = found
    look = Look(recipe, text, str(path))
    assert describe(look)
    assert look.recipe_hash
    draw = random.Random(number)
    if look.cameras and look.outputs:
        camera, output = draw.choice(look.cameras), draw.choice(look.outputs)
        codes = np.random.default_rng(1).random((12, 3))
        try:
            shown = look.evaluate(codes, camera=camera, output=output)
        except LookkitError:
            return
        assert np.isfinite(shown).all(), "a picture with values that are no numbers"
