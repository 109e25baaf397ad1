"""The chart of stops against the makers' published code values."""

from itertools import pairwise

import pytest

from lookkit.errors import UnknownNameError
from lookkit.look import Look
from lookkit.recipe.load import parse_recipe
from lookkit.report.stops import draw_stop_charts, stop_chart

RECIPE = """
schema = 1
name = "Plain"
[cameras.A]
encoding = "LogC3 EI800"
[cameras.B]
encoding = "V-Log"
[cameras.C]
encoding = "BT.709 camera"
[cameras.L]
encoding = "ACEScg"
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.sdi]
output = "Rec.709 BT.1886"
"""


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE), RECIPE)


def at(chart, stops):
    return next(row for row in chart.rows if row.stops == stops)


@pytest.mark.parametrize(
    ("camera", "code"),
    [("A", 400), ("B", 433)],
    # LogC3: maker's page prints 400 for 18 %; V-Log: reference manual rev 1.0, fig. 2.2.
)
def test_mid_grey_lands_on_the_published_code(look, camera, code):
    assert round(at(stop_chart(look, camera), 0.0).code) == code


def test_mid_grey_is_10_of_100_candelas_on_the_monitor(look):
    """BT.1886: 10 cd/m2 of 100 at gamma 2.4 is a signal of 38.31 %."""
    assert at(stop_chart(look, "A"), 0.0).percent["monitor"] == pytest.approx(38.31, abs=0.01)


def test_the_chart_runs_from_eight_under_to_where_the_encoding_ends(look):
    chart = stop_chart(look, "A")
    assert chart.rows[0].stops == -8
    assert chart.rows[-1].stops == pytest.approx(chart.clip)
    assert chart.rows[-1].code == pytest.approx(1023)
    assert stop_chart(look, "L").clip is None


def test_codes_and_signals_rise_with_the_light(look):
    for camera in look.cameras:
        rows = stop_chart(look, camera).rows
        assert all(a.code < b.code for a, b in pairwise(rows))
        assert all(a.percent["monitor"] < b.percent["monitor"] for a, b in pairwise(rows))


def test_the_text_and_the_picture_carry_the_table(look, tmp_path):
    chart = stop_chart(look, "A")
    text = chart.to_text()
    assert "+0.0" in text
    assert "LogC3" in text
    pytest.importorskip("matplotlib")
    from PIL import Image

    draw_stop_charts([chart], tmp_path / "stops.png")
    with Image.open(tmp_path / "stops.png") as picture:
        assert picture.width > 800


def test_an_unknown_camera_is_named(look):
    with pytest.raises(UnknownNameError, match="unknown camera 'Z'"):
        stop_chart(look, "Z")
