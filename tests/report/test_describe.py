"""Check says what the graph is and what to beware of."""

import pytest

from lookkit.look import Look
from lookkit.recipe.load import parse_recipe
from lookkit.report.describe import describe, warnings
from lookkit.report.graph_picture import draw_graph
from tests.test_graph import BRANCHED, FILM, HEAD
from tests.test_piece import OPAQUE


def look(text):
    return Look(parse_recipe(HEAD + text), HEAD + text)


def test_branches_trims_scenes_and_overrides_are_told():
    text = describe(look(BRANCHED))
    assert "4. blend (both): weight 0.25, branches of 1 (takes pale, warm)" in text
    assert "(takes first)" in text
    text = describe(look(FILM))
    for words in (
        "scene flats: cameras A, daylight",
        "changes level: stops",
        "scene kiln",
        "3000 K",
    ):
        assert words in text


def test_what_the_config_carries_as_a_lattice_is_told():
    text = describe(look(OPAQUE))
    assert "the OCIO config carries [hue-bands, saturation, contrast] as one 3D LUT" in text


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
    plain = '[cameras.A]\nencoding = "LogC4"\n[outputs.web]\noutput = "sRGB"\n'
    assert warnings(look(plain)) == []


SHOWN = FILM.replace('[[look]]\nkind = "exposure"\nid = "level"\nstops = 0.25\n', BRANCHED).replace(
    "overrides.level", "overrides.first"
)


def test_nodes_are_told_with_what_they_set():
    text = describe(look(SHOWN))
    assert "1. exposure (first): stops 0.5" in text
    assert "3. lift-gamma-gain (warm): gain {hue 40, strength 0.2} (takes first)" in text


def test_the_graph_is_drawn_with_every_step(tmp_path):
    pytest.importorskip("matplotlib")
    for name in ("first.svg", "second.svg", "graph.png"):
        draw_graph(look(SHOWN), tmp_path / name)
    drawn = (tmp_path / "first.svg").read_bytes()
    assert drawn == (tmp_path / "second.svg").read_bytes(), "the same picture every time"
    text = drawn.decode()
    steps = ("camera C", "curve", "scene flats", "scene kiln", "exposure (first)", "film-print",
             "lift-gamma-gain (warm)", "blend (both)", "output monitor")  # fmt: skip
    for words in steps:
        assert f"<!-- {words} -->" in text, words
    assert (tmp_path / "graph.png").read_bytes().startswith(b"\x89PNG")


def test_a_graph_of_nothing_is_drawn_too(tmp_path):
    pytest.importorskip("matplotlib")
    draw_graph(look(""), tmp_path / "graph.svg")
    assert "any camera" in (tmp_path / "graph.svg").read_text()
