"""A look that is locked in a LUT comes out as a recipe."""

import numpy as np
import pytest

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.samples import image_like
from lookkit.accuracy.sampling import grid
from lookkit.adopt import colours, remainder
from lookkit.adopt.grow import error_between
from lookkit.adopt.remainder import remainder_of
from lookkit.adopt.run import adopt_lut
from lookkit.adopt.source import open_source
from lookkit.evaluate import evaluate
from lookkit.lattice.of_graph import light_of
from lookkit.look import load
from lookkit.progress import silent
from lookkit.spaces.encodings import encoding
from lookkit.spaces.outputs import output
from tests.adopt.sources import bake, bake_builtins, bake_look, known_look
from tests.cli.test_cli import run

SHOWN = "Rec.709 BT.1886"
TO_1886 = "DISPLAY - CIE-XYZ-D65_to_REC.1886-REC.709"
FROM_ACES = "ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - "


@pytest.fixture(scope="module", autouse=True)
def few_colours():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(colours, "FITTED", 900)
        patch.setattr(colours, "LEFT_OUT", 2000)
        patch.setattr(remainder, "COUNT", 10000)
        yield


@pytest.fixture(scope="module")
def adopted(tmp_path_factory):
    folder = tmp_path_factory.mktemp("adopted")
    cube = bake_look(folder / "known.cube", known_look())
    return adopt_lut(cube, folder / "mine.toml", camera="LogC4", shown=SHOWN)


def test_a_known_recipe_comes_back_with_its_own_numbers(adopted):
    print_ = adopted.look.recipe.rendering
    assert print_.kind == "film-print"
    assert print_.contrast == pytest.approx(1.42, abs=0.03)
    assert print_.grey == pytest.approx(1.05, abs=0.03)
    assert [one.kind for one in adopted.look.recipe.look][-1] == "saturation"
    assert adopted.look.recipe.look[-1].saturation == pytest.approx(0.8, abs=0.04)
    assert np.ptp(print_.lights) == pytest.approx(2.5, abs=0.4)


def test_it_is_as_close_to_the_look_on_another_camera_as_on_the_first(adopted):
    scene = image_like(np.random.default_rng(4), 4000)
    light = light_of(output(SHOWN))
    text = adopted.look.text.replace("[cameras.source]", '[cameras.B]\nencoding = "V-Log"\n'
                                     "[cameras.source]")  # fmt: skip
    adopted.recipe.write_text(text)
    recipe, known = load(adopted.recipe), known_look()
    off = {}
    for ours, theirs, name in (("source", "A", "LogC4"), ("B", "B", "V-Log")):
        code = np.clip(encoding(name).encode(scene), 0.0, 1.0)
        made = recipe.evaluate(code, camera=ours, output="main")
        true = known.evaluate(code, camera=theirs, output="main")
        off[name] = delta_e_2000(light.lab(made), light.lab(true))
    assert off["LogC4"].mean() < 0.4
    assert np.quantile(off["LogC4"], 0.95) < 1.0
    assert off["V-Log"].mean() < off["LogC4"].mean() + 0.1


def test_the_recipe_is_checked_and_says_what_it_was_made_from(adopted, capsys):
    status, out, _ = run(capsys, "check", adopted.recipe)
    assert status == 0
    assert "nothing is wrong with it" in out
    head = adopted.recipe.read_text().split("schema")[0]
    assert "known.cube" in head
    assert "the right to use" in head


def test_the_academys_aces_2_comes_back_as_aces_2(tmp_path):
    styles = FROM_ACES + "SDR-100nit-REC709_2.0", TO_1886
    cube = bake_builtins(tmp_path / "aces2.cube", *styles)
    made = adopt_lut(cube, tmp_path / "mine.toml", camera="LogC4", shown=SHOWN, nodes_only=True)
    assert made.look.recipe.rendering.kind == "aces-2"
    assert made.nodes.mean < 0.35
    assert made.nodes.high < 0.9


def test_the_academys_aces_1_comes_close_in_a_few_steps(tmp_path):
    cube = bake_builtins(tmp_path / "aces1.cube", FROM_ACES + "SDR-VIDEO_1.0", TO_1886)
    how = {"camera": "LogC4", "shown": SHOWN, "nodes_only": True}
    made = adopt_lut(cube, tmp_path / "mine.toml", **how)
    assert made.nodes.mean < 0.95
    assert made.nodes.high < 2.5
    assert made.steps <= 8
    assert not (tmp_path / "mine-remainder.cube").exists()


def test_what_steps_cannot_say_moves_colours_a_little_and_fades_where_nothing_is_known(tmp_path):
    look = known_look()
    steps = look.graph.chain("A", "main")[1:]
    code = grid(33).reshape(-1, 3)
    scene = encoding("V-Log").decode(code)
    # No step of the look does this: more or less light by blue's share.
    size = np.maximum(np.abs(scene).max(axis=1, keepdims=True), 1e-3)
    gain = 1.0 + 0.15 * np.tanh(3.0 * (scene[:, 2:] - scene[:, :1]) / size)
    cube = bake(tmp_path / "odd.cube", evaluate(steps, scene * gain).reshape(33, 33, 33, 3))
    source = open_source(cube, "V-Log", SHOWN)

    def shown(light):
        return evaluate(steps, light)

    made = remainder_of(source, shown, silent)
    judged = colours.judged_colours(source)
    before, after = (
        error_between(source.light.lab(shown(one)), judged.lab)
        for one in (judged.scene, made.moved(judged.scene))
    )
    assert after.mean < 0.4 * before.mean
    moves = np.abs(made.lattice - grid(len(made.lattice)))
    assert 0.01 < moves.max() < 0.1
    # V-Log ends three stops below LogC4's end.
    assert moves[-1, -1, -1].max() < 0.002


def test_a_black_and_white_look_comes_back_as_one(tmp_path):
    from lookkit.look import loads
    from tests.adopt.sources import HEAD

    look = loads(HEAD + '[rendering]\nkind = "film-print"\nfilter = [0.6, 0.3, 0.1]\n')
    cube = bake_look(tmp_path / "grey.cube", look)
    made = adopt_lut(cube, tmp_path / "mine.toml", camera="LogC4", shown=SHOWN)
    shares = np.array(made.look.recipe.rendering.filter)
    np.testing.assert_allclose(shares / shares.sum(), [0.6, 0.3, 0.1], atol=0.02)
    assert any("black and white" in line for line in made.told)
