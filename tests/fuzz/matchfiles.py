"""Match files: refused in words with every problem located, or used as they say."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from lookkit.errors import LookkitError
from lookkit.look import load
from lookkit.match.check import check_matches
from lookkit.recipe.match_file import match_text, read_match
from lookkit.recipe.write import toml_text
from lookkit.report.describe import describe
from tests.fuzz.mutate import mutated, mutated_tables
from tests.fuzz.place import or_told, place
from tests.recipe.matched import ROOTS, match_of

NAME = "matchfiles"
RECIPE = """schema = 1
name = "Day film"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "BT.709 camera"
match = "B.match.toml"
[scenes.yard]
light = "window"
[outputs.monitor]
output = "Rec.709 BT.1886"
"""


@cache
def seeds() -> list[bytes]:
    """Match files with a curve, without one, with a colour stage, and the demo's own."""
    made = [
        match_text(match_of()),
        match_text(match_of(roots=ROOTS)),
        match_text(match_of(lights=("window",), encoding="BT.709 camera")),
        Path("examples/pottery/B.match.toml").read_text(),
    ]
    return [text.encode() for text in made]


@cache
def _tables() -> list[dict[str, Any]]:
    return [tomllib.loads(one.decode()) for one in seeds()]


@cache
def _film() -> Path:
    path = place() / "matchfiles" / "film.toml"
    path.parent.mkdir()
    path.write_text(RECIPE)
    return path


def case(number: int) -> tuple[str, bytes]:
    """The ending and the bytes of a case: text or tables changed, by turns."""
    if number % 2:
        return ".match.toml", mutated(seeds(), number)
    text = toml_text(mutated_tables(_tables(), number))
    return ".match.toml", text.encode("utf-8", "surrogatepass")


def read(number: int) -> None:
    """Read a case; raises what is a find."""
    _, data = case(number)
    film = _film()
    path = film.with_name("B.match.toml")
    path.write_bytes(data)
    match, told = or_told(lambda: read_match(path))
    if match is None:
        assert len(told) < 100_000
        assert all(line.startswith(str(path)) for line in told.split("\n")), told
        return
    # What is written of it says the same.
    again = film.with_name("again.match.toml")
    again.write_text(match_text(match), encoding="utf-8")
    assert read_match(again) == match
    try:
        look = load(film)
        assert describe(look)
        check_matches(look)
    except LookkitError:
        return
    codes = np.random.default_rng(1).random((12, 3))
    shown = look.evaluate(codes, camera="B", output="monitor", scene="yard")
    assert np.isfinite(shown).all(), "a picture with values that are no numbers"
