"""Check says what the graph is and what to beware of."""

import pytest

from lookkit.look import Look
from lookkit.recipe.load import parse_recipe
from lookkit.report.describe import describe, draw_graph, warnings
from tests.test_graph import BRANCHED, FILM, HEAD, OPAQUE


def look(text):
    return Look(parse_recipe(HEAD + text), HEAD + text)


def test_branches_trims_scenes_and_overrides_are_told():
    text = describe(look(BRANCHED))
    assert "4. blend (both) (takes pale, warm)" in text
    assert "3. lift-gamma-gain (warm) (takes first)" in text
    text = describe(look(FILM))
    for words in (
        "scene flats: cameras A, daylight",
        "changes level: stops",
        "scene kiln",
        "3000 K",
    ):
        assert words in text


def test_a_lattice_piece_is_told_with_its_error():
    text = describe(look(OPAQUE))
    assert "OpenColorIO carries [hue-bands, saturation, contrast] as one lattice" in text
    assert "99 % of light within" in text


@pytest.mark.parametrize(
    ("camera", "hint"),
    [
        ('encoding = "LogC4"\nrange = "legal"', "is recorded in full range"),
        ('encoding = "BT.709 camera"\nrange = "full"', "is usually legal range"),
    ],
)
def test_the_commonest_range_faults_are_warned_of(camera, hint):
    """A full-range log in a legal path is the commonest LUT fault (common practice, no source)."""
    assert any(hint in one for one in warnings(look(f"[cameras.A]\n{camera}\n")))
    assert warnings(look('[cameras.A]\nencoding = "LogC4"\n')) == []


def test_the_graph_is_drawn(tmp_path):
    pytest.importorskip("matplotlib")
    draw_graph(look(BRANCHED + FILM.replace("[[look]]\nkind = \"exposure\"\nid = \"level\"\n"
                    "stops = 0.25\n", "").replace("[scenes.flats.overrides.level]\nstops = -0.5\n",
                    "")), tmp_path / "graph.svg")  # fmt: skip
    drawn = (tmp_path / "graph.svg").read_text()
    assert drawn.startswith("<?xml")
    assert drawn.count("<path") > 10
