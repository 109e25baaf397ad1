"""The page about an adopted look, in a browser."""

import pytest

from lookkit.adopt.grow import Error
from lookkit.adopt.page import frames_of, write_page
from lookkit.adopt.run import CAMERA, OUTPUT, Adopted
from lookkit.adopt.source import open_source
from lookkit.look import loads
from tests.adopt.sources import HEAD, KNOWN, bake_look, known_look
from tests.cli.test_cli import run
from tests.page.film import make_film
from tests.report.browser import Browser

pytest.importorskip("matplotlib")


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    cube = bake_look(folder / "a <look>.cube", known_look(), 17)
    source = open_source(cube, "LogC4", "Rec.709 BT.1886")
    look = loads((HEAD + KNOWN).replace("[cameras.A]", f"[cameras.{CAMERA}]"))
    assert look.first_output == OUTPUT
    error = Error(0.3, 0.9)
    made = Adopted(folder / "mine.toml", look, look, source, error, None, error, 2, ("doubt",))
    _, files = make_film(folder)
    write_page(made, folder / "page.html", frames_of(files[:1]))
    return folder / "page.html"


def test_the_page_shows_source_and_recipe_and_asks_for_nothing(written):
    with Browser() as browser:
        for dark, width in ((False, 1200), (True, 400)):
            asked, wrong = browser.open(written, dark=dark, width=width)
            assert [url for url in asked if not url.startswith("data:")] == [written.as_uri()]
            assert not wrong
            assert browser.run("document.querySelectorAll('svg').length") == 4
            assert browser.run("document.images.length") == 6
            assert browser.run("[...document.images].every(one => one.naturalWidth > 0)")
            assert browser.run("document.documentElement.scrollWidth") <= width


def test_the_page_tells_figures_doubts_and_whose_the_look_is(written):
    text = written.read_text()
    assert "a &lt;look&gt;.cube" in text
    assert "<td>0.30</td><td>0.90</td>" in text
    assert "Beware: doubt" in text
    assert "the right to use the look" in text
    assert "kind = &quot;film-print&quot;" in text


def test_frames_are_named_for_a_lut_with_a_page_and_can_be_read(tmp_path, capsys):
    cube = bake_look(tmp_path / "look.cube", known_look(), 5)
    how = "--from", "LogC4", "--to", "Rec.709 BT.1886", "-o", tmp_path / "mine.toml"
    gone = "--frame", tmp_path / "gone.png"
    for words, said in ((gone, "expected --report"), ((*gone, "--report", tmp_path / "p.html"),
                                                      "gone.png")):  # fmt: skip
        status, _, err = run(capsys, "adopt", cube, *how, *words)
        assert (status, said in err) == (2, True), err
        assert sorted(one.name for one in tmp_path.iterdir()) == ["look.cube"]
