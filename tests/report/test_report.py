"""The report: what it says, that it stands alone, and that it is the same every time."""

import json
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from click.testing import CliRunner

from lookkit import plotting
from lookkit.cli.report import command
from lookkit.deliver.cube import cube_name
from lookkit.errors import InputError
from lookkit.look import Look, load
from lookkit.match.check import Checked
from lookkit.match.consistency import Consistency
from lookkit.match.fit import Errors
from lookkit.media.stills import write_still
from lookkit.recipe.load import parse_recipe
from lookkit.report import charts
from lookkit.report.certificates import certificates_html, find_certificates
from lookkit.report.html import Markup, figure, page, svg, table
from lookkit.report.report import write_pages, write_report
from lookkit.report.stops import stop_chart
from tests.report.film import SMALL, gradient, write_film

pytest.importorskip("matplotlib")


def certificate(error=1.25):
    """A certificate as a build writes it, less what the page does not tell."""
    sets = ("neutral-ramp", "image-like", "skin", "saturated-emitters", "over-range", "whole-cube")
    figures = {"mean": 0.1, "p99": 0.5, "p999": 0.9, "max": error}
    worst = {"code": [0.5, 0.1, 0.1], "exact": [0.8, 0.2, 0.2], "read": [0.7, 0.2, 0.2],
             "exact_srgb": [0.81, 0.2, 0.2], "read_srgb": [0.7, 0.2, 0.2], "delta_e_2000": 7.5,
             "stops": 2.0, "hue": 20.0, "hue_name": "red", "lives_in": "lights"}  # fmt: skip
    reading = {"reader": "tetrahedral", "maximum": 7.5, "worst": [worst],
               "sets": {name: {"delta_e_2000": figures} for name in sets}}  # fmt: skip
    return {"size": 33, "folds": 0, "readings": [reading]}


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    return write_film(tmp_path_factory.mktemp("film"))


@pytest.fixture
def small(tmp_path):
    """The recipe of one camera, and a frame."""
    recipe, frame = tmp_path / "small.toml", tmp_path / "frame.dpx"
    recipe.write_text(SMALL)
    write_still(frame, gradient(0.1, 0.7))
    return load(recipe), frame


@pytest.fixture(scope="module")
def handoff(film, tmp_path_factory):
    folder = tmp_path_factory.mktemp("handoff")
    look = film[0]
    place = folder / "cube" / "A"
    place.mkdir(parents=True)
    name = cube_name(look, "A", "monitor", 33, "night")
    (place / f"{name}.json").write_text(json.dumps(certificate()))
    (place / "another.cube.json").write_text("{}")
    return folder


@pytest.fixture(scope="module")
def written(film, handoff, tmp_path_factory):
    look, frames = film
    pairs = {("A", "B"): Errors(0.71, 1.52, 2.33)}
    path = tmp_path_factory.mktemp("page") / "report.html"
    write_report(
        look, path, files=frames[:2], certificates=[handoff],
        consistency=[Checked("tungsten", "night", Consistency(("A", "B"), pairs, 24))],
    )  # fmt: skip
    return path


@pytest.fixture(scope="module")
def text(written):
    return written.read_text(encoding="utf-8")


def test_the_page_says_what_it_is_about(text):
    for said in ("Clay and slip", "camera A", "LogC4", "Rec.709 BT.1886", "Rec.2100 PQ 1000",
                 "A viewing LUT is no exposure meter", "delivery specification",
                 "0.71 / 1.52 / 2.33", "camera A, scene night to monitor", "7.5"):  # fmt: skip
        assert said in text, said


def test_the_page_asks_for_nothing_and_runs_nothing(text):
    assert "<script" not in text
    assert not re.findall(r'\son\w+="', text)
    assert not re.findall(r'(?:src|href|action)="(?!data:|#)', text)
    assert not re.findall(r"url\((?!#)", text)
    assert "http://" not in text.replace("http://www.w3.org", "")
    assert "default-src 'none'" in text


def test_every_picture_has_words_and_every_name_is_its_own(text):
    assert all('alt="' in tag and 'alt=""' not in tag for tag in re.findall(r"<img[^>]*>", text))
    drawings = re.findall(r"<svg[^>]*>.*?</svg>", text, re.DOTALL)
    assert len(drawings) > 10
    for drawing in drawings:
        root = ElementTree.fromstring(drawing.replace("xlink:href", "href"))
        assert root.get("role") == "img"
        names = (root.get("aria-labelledby") or "").split()
        told = [part.text for part in root.iter() if part.get("id") in names]
        assert len(told) == 2
        assert all(told)
    ids = re.findall(r'\sid="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    wanted = set(re.findall(r'(?:href="#|url\(#)([^")]+)', text))
    assert wanted <= set(ids)


def test_every_colour_of_a_chart_follows_the_readers_light_or_dark(text):
    # Only the lamps' dots have colours of their own.
    for drawing in re.findall(r"<svg[^>]*>.*?</svg>", text, re.DOTALL):
        fixed = set(re.findall(r"(?:fill|stroke): (#[0-9a-f]{6})", drawing))
        if 'id="lamps-' not in drawing:
            assert not fixed


def test_the_same_inputs_give_the_same_bytes(film, handoff, written, tmp_path):
    look, frames = film
    again = Look(look.recipe, look.text, look.source)
    pairs = {("A", "B"): Errors(0.71, 1.52, 2.33)}
    write_report(
        again, tmp_path / "other.html", files=frames[:2], certificates=[handoff],
        consistency=[Checked("tungsten", "night", Consistency(("A", "B"), pairs, 24))],
    )  # fmt: skip
    assert (tmp_path / "other.html").read_bytes() == written.read_bytes()


def test_a_drawing_is_the_same_whatever_the_last_digits_of_its_places_are():
    """Another process may add the same numbers in another order."""
    texts = []
    for left in (0.3, 0.1 + 0.2):
        made, (axes,) = plotting.figure(1)
        axes.set_position((left, 0.2, 0.5, 0.5))
        axes.plot([0.0, 1.0], [0.0, 1.0], marker="o")
        texts.append(svg(made, "drawing", "A line", "It rises."))
    assert 0.1 + 0.2 != 0.3
    assert re.search(r"url\(#drawing-p[0-9]\)", texts[0])
    assert texts[0] == texts[1]


def test_the_tables_have_the_numbers_of_the_stop_charts(film, text):
    look, _ = film
    row = next(r for r in stop_chart(look, "A").rows if r.stops == 0.0)
    cells = [f"{row.code:.0f}"]
    for name in look.outputs:
        cells += [f"{row.percent[name]:.1f}", f"{row.light[name]:.3g}"]
    line = '<tr><th scope="row">+0.0</th>' + "".join(f"<td>{cell}</td>" for cell in cells)
    assert line in text


def test_the_worst_colours_are_shown_as_they_look(text):
    # 0.81, 0.7 and 0.2 of 255.
    assert 'style="background:#cf3333"' in text
    assert 'style="background:#b23333"' in text


def test_neutrals_of_a_neutral_look_do_not_drift():
    plain = """
schema = 1
name = "Plain"
[cameras.A]
encoding = "LogC4"
[rendering]
kind = "aces-2"
[outputs.monitor]
output = "Rec.709 BT.1886"
"""
    look = Look(parse_recipe(plain), plain)
    stops, found = charts.drift(look, "A", "monitor")
    assert stops[0] == -8
    assert np.abs(found[:, 1:]).max() < 0.05
    tinted = plain.replace(
        "[rendering]", '[[look]]\nkind = "white-balance"\nkelvin = 4000.0\n[rendering]'
    )
    _, moved = charts.drift(Look(parse_recipe(tinted), tinted), "A", "monitor")
    assert np.abs(moved[:, 1:]).max() > 5


def test_lamps_are_where_the_cie_puts_their_wavelengths():
    # u', v' of monochromatic light from the CIE 1931 chromaticities of ISO/CIE 11664-1:
    # 630 nm x, y = 0.7079, 0.2920; 470 nm 0.1241, 0.0578 (from memory). A band is near them.
    for peak, (x, y) in ((630.0, (0.7079, 0.2920)), (470.0, (0.1241, 0.0578))):
        bottom = -2 * x + 12 * y + 3
        found = charts.uv(charts.lamp_light(peak))
        assert found == pytest.approx([4 * x / bottom, 9 * y / bottom], abs=0.03)


def test_lamps_are_shown_inside_the_outputs_gamut(film):
    look, _ = film
    corners = charts.uv_of(look.graph.output("monitor").limiting)
    sides = np.roll(corners, -1, axis=0) - corners
    for lamp in charts.lamps(look, "A", "monitor"):
        for place in lamp.shown:
            to = np.array(place) - corners
            turn = sides[:, 0] * to[:, 1] - sides[:, 1] * to[:, 0]
            assert (turn <= 1e-6).all() or (turn >= -1e-6).all(), lamp.name


def test_a_recipe_without_outputs_is_refused(tmp_path):
    bare = 'schema = 1\nname = "Bare"\n[cameras.A]\nencoding = "LogC4"\n'
    with pytest.raises(InputError, match="no outputs"):
        write_report(Look(parse_recipe(bare), bare, "bare.toml"), tmp_path / "report.html")
    assert not list(tmp_path.iterdir())


def test_a_certificate_of_an_earlier_version_is_still_told(film, handoff, tmp_path):
    # It also said whether a curve stands before the lattice.
    look, _ = film
    (now,) = find_certificates(look, [handoff])
    path = tmp_path / f"{now.name}.json"
    path.write_text(json.dumps({"shaped": True, **certificate()}))
    (then,) = find_certificates(look, [path])
    assert certificates_html(look, [then]) == certificates_html(look, [now])


def test_a_place_without_certificates_is_told_apart_from_a_broken_one(film, tmp_path):
    look, _ = film
    with pytest.raises(InputError, match="does not exist"):
        write_report(look, tmp_path / "r.html", certificates=[tmp_path / "none"])
    other = tmp_path / "x.cube.json"
    other.write_text("{}")
    with pytest.raises(InputError, match="is not the accuracy report of"):
        write_report(look, tmp_path / "r.html", certificates=[other])
    broken = tmp_path / f"{cube_name(look, 'A', 'web', 33)}.json"
    broken.write_text('{"readings": [{}]}')
    with pytest.raises(InputError, match="is no accuracy report"):
        write_report(look, tmp_path / "r.html", certificates=[broken])
    assert not (tmp_path / "r.html").exists()


def test_the_pages_of_a_handoff_are_made_into_its_folder(small, handoff):
    look, frame = small
    made = write_pages(look, handoff, [frame])
    assert {path.name for path in made} == {"report.html", "sheet.png"}
    assert "camera A, scene night to monitor" in (handoff / "report.html").read_text()
    assert (handoff / "sheet.png").read_bytes().startswith(b"\x89PNG")


def test_names_are_escaped():
    text = page("<b>&", "")
    assert "<title>&lt;b&gt;&amp;</title>" in text
    rows = [["<b>", "<i>"], ["1", Markup("<em>")]]
    made = table(["<u>"], rows, "<s>")
    assert "<em>" in made
    assert not [tag for tag in ("<b>", "<i>", "<u>", "<s>") if tag in made]
    drawing, axis = charts.axes(2, 2)
    axis.set_title("$\\alpha$ <i>")
    made = figure(drawing, "one", "<u>", '"&', "<s>")
    assert "<i>" not in made
    assert "<u>" not in made
    assert "<s>" not in made


def test_the_command_writes_the_page(small, tmp_path):
    look, frame = small
    target = tmp_path / "page.html"
    words = [look.source, frame, "-o", target, "--output", "web"]
    done = CliRunner().invoke(command, [str(word) for word in words])
    assert done.exit_code == 0, done.output
    assert "Output web (sRGB), shown as sRGB" in target.read_text()
    wrong = CliRunner().invoke(command, [look.source, "-o", str(tmp_path / "page.pdf")])
    assert wrong.exception is not None
    assert "ends with .html" in str(wrong.exception)
