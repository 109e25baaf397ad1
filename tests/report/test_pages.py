"""The pages in a real browser: nothing asked for, nothing complained of, all of it readable."""

import re

import numpy as np
import pytest

from lookkit.deliver.cube import cube_name
from lookkit.media.measure import measure_file
from lookkit.plotting import CHANNELS, DARK, LIGHT, PRINT
from lookkit.report.frames import graded_frames
from lookkit.report.html import page
from lookkit.report.measure_charts import write_measures
from lookkit.report.report import write_report
from lookkit.report.sheet import draw_sheet
from lookkit.report.shown import data_uri
from tests.report.browser import Browser
from tests.report.film import write_film
from tests.report.test_report import certificate

pytest.importorskip("matplotlib")
PAGES = ("report", "sheet", "measure", "looks")


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    import json

    folder = tmp_path_factory.mktemp("pages")
    look, frames = write_film(folder)
    name = cube_name(look, "A", "monitor", 33)
    (folder / f"{name}.json").write_text(json.dumps(certificate()))
    write_report(look, folder / "report.html", files=frames, certificates=[folder])
    title = f"{'Clay_and_slip' * 8}: a title that a phone must break"
    draw_sheet(graded_frames(look, frames).rows, folder / "sheet.html", title)
    beside = graded_frames(look, frames, variants=[look] * 5)
    draw_sheet(beside.rows, folder / "looks.html", "Looks")
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
@pytest.mark.parametrize("width", [360, 400, 900, 1600])
def test_a_page_fits_every_width(browser, pages, name, width):
    browser.open(pages / f"{name}.html", width=width)
    assert browser.run("document.documentElement.scrollWidth") <= width


def test_a_picture_wider_than_the_window_is_made_to_fit(browser, tmp_path):
    picture = data_uri(np.full((90, 1600, 3), 120, dtype=np.uint8))
    path = tmp_path / "wide.html"
    body = f'<figure><img src="{picture}" width="1600" height="90" alt="grey"></figure>'
    path.write_text(page("Wide", body))
    browser.open(path, width=400)
    assert browser.run("document.documentElement.scrollWidth") <= 400
    # As high as its width asks for.
    ratio = browser.run("document.images[0].clientWidth / document.images[0].clientHeight")
    assert abs(ratio - 1600 / 90) < 0.5


PICTURES = "[...document.querySelectorAll('.takes img')]"


@pytest.mark.parametrize(
    ("name", "width", "least"),
    [("sheet", 400, 350), ("sheet", 900, 400), ("sheet", 1600, 700),
     ("looks", 400, 350), ("looks", 900, 400), ("looks", 1600, 340)],
)  # fmt: skip
def test_pictures_are_large_whatever_the_window_and_their_number(
    browser, pages, name, width, least
):
    browser.open(pages / f"{name}.html", width=width)
    assert browser.run(f"Math.min(...{PICTURES}.map(one => one.clientWidth))") >= least


def test_before_and_after_are_stacked_where_it_is_narrow_and_side_by_side_elsewhere(browser, pages):
    rows = "[...document.querySelector('.takes').children].map(one => one.offsetTop)"
    for width, stacked in ((400, True), (900, False)):
        browser.open(pages / "sheet.html", width=width)
        first, second = browser.run(rows)
        assert (second > first) is stacked


def test_every_file_is_named_beneath_its_pictures(browser, pages):
    browser.open(pages / "sheet.html")
    names = browser.run(
        "[...document.querySelectorAll('.shot')].map(one => "
        "[one.querySelector('figcaption').textContent, "
        "one.querySelector('figcaption').getBoundingClientRect().top >= "
        "one.querySelector('.takes').getBoundingClientRect().bottom])"
    )
    wanted = {"day_A.dpx", "01_A.tif", "day_B.png", "day_L.exr", "day_A_clip.mov"}
    assert {name.split(",")[0] for name, _ in names} == wanted
    assert all(beneath for _, beneath in names)


def test_a_report_begins_with_frames(browser, pages):
    browser.open(pages / "report.html", width=1600)
    frames = browser.run(f"{PICTURES}.map(one => one.getBoundingClientRect().bottom)")
    curves = browser.run("[...document.querySelectorAll('svg')]"
                         ".filter(one => one.getBoundingClientRect().height > 0)"
                         ".map(one => one.getBoundingClientRect().top)")  # fmt: skip
    assert max(frames) < min(curves)
    assert frames[0] < 900


# Counted with Debian's Chromium: 15, 4, 1 and 4.
@pytest.mark.parametrize(("name", "most"), [("report", 16), ("sheet", 5), ("measure", 2),
                                            ("looks", 5)])  # fmt: skip
def test_paper_lies_wide_and_is_not_wasted(browser, pages, name, most):
    browser.open(pages / f"{name}.html", media="print")
    paper = browser.paper()
    sizes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", paper)
    assert sizes
    assert all(float(across) > float(down) for across, down in sizes)
    assert len(sizes) <= most


@pytest.mark.parametrize("name", PAGES)
def test_nothing_moves_on_a_page(browser, pages, name):
    browser.open(pages / f"{name}.html")
    assert browser.run(
        "[...document.querySelectorAll('*')].every(one => { const style = getComputedStyle(one); "
        "return style.transitionDuration === '0s' && style.animationName === 'none' && "
        "style.scrollBehavior === 'auto'; }) && document.getAnimations().length === 0"
    )


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
