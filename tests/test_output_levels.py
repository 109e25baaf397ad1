"""Levels that leave lookkit: HDR light, narrow range, and .cube files of legal-range cameras."""

import numpy as np
import pytest

from lookkit.deliver.cube import write_look_cube
from lookkit.errors import RecipeError
from lookkit.look import Look
from lookkit.ocio import Processor, library
from lookkit.recipe.load import parse_recipe
from lookkit.report.stops import stop_chart
from lookkit.spaces.encodings import encoding

RECIPE = """
schema = 1
name = "Levels"
[cameras.L]
encoding = "ACEScg"
[cameras.B]
encoding = "BT.709 camera"
bits = 10
[outputs.sdi]
output = "Rec.709 BT.1886"
range = "legal"
[outputs.wide]
output = "Rec.709 BT.1886"
range = "legal"
excursions = true
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.pq]
output = "Rec.2100 PQ 1000"
[outputs.hlg]
output = "Rec.2100 HLG 1000"
[deliver]
fit = false
certify = false
"""


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE), RECIPE)


def test_a_narrow_range_output_keeps_between_64_and_940(look):
    """ITU-R BT.709-6: black 64, white 940 of 10 bits."""
    light = 0.18 * 2.0 ** np.linspace(-12, 12, 200)[:, None].repeat(3, axis=1)
    codes = look.evaluate(light, camera="L", output="sdi") * 1023
    assert codes.min() >= 64 - 1e-9
    assert codes.max() <= 940 + 1e-9
    full = look.evaluate(light, camera="L", output="monitor")
    np.testing.assert_allclose(codes, 64 + 876 * full, atol=1e-6)


def test_excursions_leave_room_for_super_white_and_sub_black(look):
    """Light outside 0-1 is kept as far as the integers go: 0 to 1023."""
    target = look.graph.output("wide")
    codes = target.encode(np.array([[-0.01] * 3, [0.0] * 3, [1.0] * 3, [1.1] * 3])) * 1023
    assert codes[0, 0] < 64
    np.testing.assert_allclose(codes[1:3, 0], [64, 940], atol=1e-6)
    assert 940 < codes[3, 0] <= 1023


def test_mid_grey_of_the_print_on_hdr_is_where_bt_2408_puts_it(look):
    """BT.2408, table 1: 18 % grey at 26 cd/m2 for a reference white of 203."""
    chart = stop_chart(look, "L")
    (grey,) = [row for row in chart.rows if row.stops == 0]
    assert grey.light["pq"] == pytest.approx(26.0, abs=0.05)
    assert grey.light["hlg"] == pytest.approx(26.0, abs=0.05)
    assert grey.light["monitor"] == pytest.approx(10.0, abs=0.01)
    assert all(row.light["pq"] <= 1000.01 for row in chart.rows)


def test_super_white_of_a_legal_camera_reaches_a_cube(look, tmp_path):
    """10-bit 64, 940 and 1019 of BT.709: black, white, and 109 % (the highest video code)."""
    made = write_look_cube(look, "B", "monitor", 65, tmp_path)
    ocio = library()
    reader = Processor([ocio.FileTransform(str(made.path), interpolation=ocio.INTERP_TETRAHEDRAL)])
    codes = np.array([64, 940, 1019])[:, None].repeat(3, axis=1) / 1023
    scene = encoding("BT.709 camera").decode(codes, bits=10)
    assert scene[0].max() == pytest.approx(0.0, abs=1e-9)
    assert scene[1].max() == pytest.approx(1.0, abs=1e-6)
    assert scene[2].max() > 1.15
    exact = look.evaluate(codes, camera="B", output="monitor")
    assert exact[2, 0] > exact[1, 0] + 0.01
    assert np.abs(reader.apply(codes) - exact).max() <= 0.004


def test_a_recipe_may_bring_an_encoding_of_its_own():
    text = """
schema = 1
name = "x"
[cameras.B]
encoding = "Camera B, measured"
[encodings."Camera B, measured"]
primaries = "BT.709"
adaptation = "bradford"
source = "the chart of the first day"
evidence = "user"
range = "full"
curve = { family = "points", points = [[0.0, 0.0], [0.25, 0.05], [0.5, 0.2], [1.0, 3.0]] }
[outputs.monitor]
output = "Rec.709 BT.1886"
"""
    look = Look(parse_recipe(text), text)
    step = look.graph.input_transform("B")
    scene = step.evaluate(np.array([[0.5, 0.5, 0.5], [1.0, 1.0, 1.0]]))
    np.testing.assert_allclose(scene, [[0.2] * 3, [3.0] * 3], rtol=1e-4)
    codes = np.random.default_rng(0).random((200, 3))
    exact = look.evaluate(codes, camera="B", output="monitor")
    assert np.abs(look.apply(codes, camera="B", output="monitor") - exact).max() <= 2e-4


@pytest.mark.parametrize(
    ("text", "line", "hint"),
    [
        ('[encodings.X]\nprimaries = { red = [0.6, 0.3], green = [0.3, 0.3], blue = [0.1, 0.3], '
         'white = [0.3127, 0.3290] }\ncurve = "sRGB"\n', 4, "line"),
        ('[encodings.X]\nprimaries = "BT.709"\n'
         'curve = { family = "points", points = [[0, 0], [0.5, 0.4], [1, 0.3]] }\n', 5, "ris"),
        ('[cameras.A]\nencoding = "LogC3 EI850"\n', 4, "EI800"),
        ('[cameras.L]\nencoding = "ACEScg"\nrange = "legal"\n', 5, "expected full"),
        ('[outputs.m]\noutput = "sRGB"\nblack = 0.1\n', 5, "BT.1886"),
        ('[displays.D]\nprimaries = "BT.2020"\ncurve = "PQ"\npeak = 100\n'
         "reference_white = 203\n", 0, "peak"),
    ],
)  # fmt: skip
def test_what_no_encoding_or_output_can_be_is_told_at_its_line(text, line, hint):
    with pytest.raises(RecipeError) as caught:
        parse_recipe(f"schema = 1\nname = 'x'\n{text}", "r.toml")
    problems = str(caught.value).splitlines()
    assert any(f"r.toml:{line}" in one or not line for one in problems), problems
    assert any(hint in one for one in problems), problems
