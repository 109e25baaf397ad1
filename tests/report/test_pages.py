"""The pages in a real browser: nothing asked for, nothing complained of, all of it readable."""

import re

import pytest

from lookkit.deliver.cube import cube_name
from lookkit.media.measure import measure_file
from lookkit.plotting import CHANNELS, DARK, LIGHT, PRINT
from lookkit.report.frames import graded_frames
from lookkit.report.measure_charts import write_measures
from lookkit.report.report import write_report
from lookkit.report.sheet import draw_sheet
from tests.report.browser import Browser
from tests.report.film import write_film
from tests.report.test_report import certificate

pytest.importorskip("matplotlib")
PAGES = ("report", "sheet", "measure")


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    import json

    folder = tmp_path_factory.mktemp("pages")
    look, frames = write_film(folder)
    name = cube_name(look, "A", "monitor", 33)
    (folder / f"{name}.json").write_text(json.dumps(certificate()))
    write_report(look, folder / "report.html", files=frames, certificates=[folder])
    draw_sheet(graded_frames(look, frames).rows, folder / "sheet.html", "Sheet")
    target = look.graph.output("monitor")
    write_measures([("clip", measure_file(frames[4], target))], target, folder / "measure.html")
    return folder


@pytest.fixture(scope="module")
def browser():
    with Browser() as made:
        yield made


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_a_page_opens_without_a_request_or_a_complaint(browser, pages, name, dark):
    path = pages / f"{name}.html"
    asked, wrong = browser.open(path, dark=dark)
    assert [url for url in asked if not url.startswith("data:")] == [path.resolve().as_uri()]
    assert not wrong
    assert browser.run("document.querySelectorAll('svg, img').length") > 0
    assert browser.run("[...document.images].every(one => one.naturalWidth > 0)")


def test_the_browser_would_tell(browser, tmp_path):
    # The checks above can fail: a page with a request and a mistake is caught.
    path = tmp_path / "bad.html"
    path.write_text("<img src='missing.png'><script>nothing.here()</script>")
    asked, wrong = browser.open(path)
    assert any(url.endswith("missing.png") for url in asked)
    assert wrong


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("width", [360, 800, 1600])
def test_a_page_fits_every_width(browser, pages, name, width):
    browser.open(pages / f"{name}.html", width=width)
    assert browser.run("document.documentElement.scrollWidth") <= width


def test_colours_follow_light_and_dark(browser, pages):
    text = "getComputedStyle(document.querySelector('svg text')).fill"
    found = []
    for dark in (False, True):
        browser.open(pages / "report.html", dark=dark)
        found.append((browser.run("getComputedStyle(document.body).backgroundColor"),
                      browser.run(text)))  # fmt: skip
    light, dark = ([sum(map(int, re.findall(r"\d+", part)[:3])) for part in one] for one in found)
    assert light[0] > 600 > 300 > light[1]
    assert dark[0] < 200 < 500 < dark[1]


def test_print_is_dark_on_white_whatever_the_screen_is(browser, pages):
    browser.open(pages / "report.html", dark=True, media="print")
    assert browser.run("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert browser.run("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    # What is folded away on a screen is open on paper.
    assert browser.run("document.querySelector('details pre').getBoundingClientRect().height") > 50


def _luminance(code):
    # Relative luminance of W3C WCAG 2.1.
    parts = [int(code[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    light = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2]


@pytest.mark.parametrize("colours", [LIGHT, DARK, PRINT], ids=["light", "dark", "print"])
def test_text_and_lines_stand_out_from_the_paper(colours):
    # W3C WCAG 2.1: 4.5 to 1 for text (1.4.3), 3 to 1 for what a chart is read by (1.4.11).
    for paper in ("paper", "sheet"):
        for name, least in (("ink", 7.0), ("quiet", 4.5), ("mark", 4.5),
                            *((f"line-{n}", 3.0) for n in range(1, 7)),
                            *((name, 3.0) for name in CHANNELS)):  # fmt: skip
            low, high = sorted(_luminance(colours[part]) for part in (paper, name))
            assert (high + 0.05) / (low + 0.05) >= least, (name, paper)
