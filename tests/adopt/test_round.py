"""A recipe that was adopted is a recipe like any other: checked, built, verified and adjusted."""

import asyncio
import json

import numpy as np
import pytest
import websockets

from lookkit.accuracy.sampling import grid
from lookkit.adopt import colours, grow, remainder
from lookkit.adopt.run import adopt_lut
from tests.adopt.sources import bake, known_look
from tests.cli.test_cli import run
from tests.page.browser import Served
from tests.page.film import make_film

OTHERS = """
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "V-Log"
[deliver]
sizes = [17]
fit = false
certify = false
formats = ["cube", "clf", "cdl"]
[[shots]]
match = "kiln_A*"
camera = "A"
"""


@pytest.fixture(scope="module")
def recipe(tmp_path_factory):
    """One of a look that steps cannot say wholly: it has a remainder, and two other cameras."""
    folder = tmp_path_factory.mktemp("round")
    code = grid(17)
    signal = known_look().evaluate(code.reshape(-1, 3), camera="A", output="main")
    odd = signal * (1.0 - 0.12 * np.sin(12.0 * signal[:, ::-1]) * np.ptp(signal, axis=1)[:, None])
    cube = bake(folder / "odd.cube", odd.reshape(code.shape))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(grow, "_FOLLOWS", ())
        patch.setattr(colours, "FITTED", 400)
        patch.setattr(colours, "LEFT_OUT", 1000)
        patch.setattr(remainder, "COUNT", 3000)
        patch.setattr(remainder, "_ROUNDS", 1)
        made = adopt_lut(cube, folder / "mine.toml", camera="LogC4", shown="Rec.709 BT.1886")
    assert made.whole is not None
    made.recipe.write_text(made.recipe.read_text() + OTHERS)
    return made.recipe


def test_it_is_checked_built_for_other_cameras_and_verified(recipe, tmp_path, capsys):
    assert run(capsys, "check", recipe)[0] == 0
    status, out, err = run(capsys, "build", recipe, "--into", tmp_path)
    assert status == 0, err
    (folder,) = tmp_path.iterdir()
    assert {"A", "B", "source"} <= {one.name for one in (folder / "cube").iterdir()}
    assert [one.name for one in folder.rglob("*remainder*")] == ["mine-remainder.cube"]
    status, out, err = run(capsys, "verify", folder)
    assert status == 0, out + err


def test_a_number_that_is_changed_on_the_page_is_in_the_file_and_comments_stay(recipe, tmp_path):
    _, files = make_film(tmp_path)
    before = recipe.read_text().splitlines()
    line = next(one for one in before if one.startswith("contrast = "))
    served = Served(recipe, files[:1])

    async def changed():
        origin = f"http://127.0.0.1:{served.port}"
        where = f"ws{served.url.removeprefix('http').rstrip('/')}/socket"
        async with websockets.connect(where, origin=origin, proxy=None, max_size=1 << 24) as to:
            assert json.loads(await to.recv())["name"] == "odd"
            message = {"what": "edit", "do": "set", "step": ["rendering"], "key": ["contrast"]}
            await to.send(json.dumps({**message, "value": 1.21}))
            async with asyncio.timeout(60):
                while "contrast = 1.21" not in recipe.read_text():
                    await to.recv()

    try:
        asyncio.run(changed())
    finally:
        served.close()
    after = recipe.read_text().splitlines()
    expected = ["contrast = 1.21" if one == line else one for one in before]
    assert after == expected
