"""The proof for a client, opened from disk as the client opens it."""

import re
import subprocess
import sys

import numpy as np
import pytest

import lookkit
from lookkit.media.stills import read_still
from lookkit.page import rewrite
from lookkit.page.proof.write import packed
from lookkit.page.session import Session
from lookkit.report.shown import recorded, seen
from tests.page.browser import needs_browser, until
from tests.page.film import RECIPE, make_film


def pale(session: Session) -> None:
    file = str(session.file)
    session.change(
        "colour", lambda text: rewrite.set_value(text, file, ("look", 1, "saturation"), 0.4)
    )


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("proof")
    recipe, files = make_film(folder)
    session = Session(recipe)
    session.keep("as shipped")
    pale(session)
    session.keep("pale")
    target = folder / "proof.html"
    command = [sys.executable, "-m", "lookkit", "adjust", recipe, *files, "--proof", target]
    made = subprocess.run(command, capture_output=True, text=True, check=True)
    assert made.stdout == "the proof is proof.html: 4 pictures under 2 takes\n"
    return recipe, files, target


def test_a_proof_asks_the_network_for_nothing(written):
    text = written[2].read_text()
    assert not re.search(r"(src|href)=\"(?!data:)", text)
    assert "import " not in text.partition("<script")[2].replace("important", "")
    # W3C Content Security Policy Level 3: nothing but what is inside is used.
    assert "default-src 'none'" in text
    assert str(written[0].parent) not in text


@needs_browser
@pytest.mark.parametrize("texture", ["", "[texture]\n"])
def test_a_proof_says_that_it_shows_no_texture(chromium, tmp_path, texture):
    recipe, files = make_film(tmp_path)
    recipe.write_text(recipe.read_text() + texture)
    target = tmp_path / "proof.html"
    command = [sys.executable, "-m", "lookkit", "adjust", recipe, *files, "--proof", target]
    subprocess.run(command, capture_output=True, check=True)
    tab = chromium.new_page()
    tab.goto(target.as_uri())
    until(tab, "globalThis.proof && proof.ready")
    told = "Halation, softness and grain of the film are left out here" in tab.inner_text("#what")
    tab.close()
    assert told == bool(texture)


def test_packed_integers_come_back():
    import base64
    import zlib

    codes = np.random.default_rng(1).integers(0, 65536, (5, 7, 3)).astype(np.uint16)
    planes = np.frombuffer(zlib.decompress(base64.b64decode(packed(codes))), np.uint8)
    low, high = planes.reshape(2, 3, 5, 7).astype(np.uint16)
    again = np.cumsum(low + 256 * high, axis=-1, dtype=np.uint16)
    assert (again.transpose(1, 2, 0) == codes).all()


def truth(recipe, path, saturation) -> np.ndarray:
    text = RECIPE.replace("saturation = 1.2", f"saturation = {saturation}")
    look = lookkit.loads(text)
    scene, camera = path.stem.split("_")
    codes = read_still(path).pixels.astype(np.float64)
    signal = look.evaluate(codes, camera=camera, output="monitor", scene=scene)
    return seen(look.graph.output("monitor"), signal).astype(int)


def pixels(tab, index: int) -> np.ndarray:
    found = tab.evaluate(f"proof.pixels({index})")
    return np.array(found["data"]).reshape(found["h"], found["w"], 4)[..., :3]


@pytest.fixture(scope="module")
def tab(chromium, written):
    tab = chromium.new_page(viewport={"width": 400, "height": 860})
    told = []
    tab.on("console", lambda message: told.append(message.text))
    tab.on("pageerror", lambda error: told.append(str(error)))
    tab.on("request", lambda one: told.append(one.url) if "http" in one.url[:5] else None)
    tab.goto(written[2].as_uri())
    until(tab, "globalThis.proof && proof.ready")
    yield tab
    tab.close()
    assert not [line for line in told if "GPU stall" not in line and "readback" not in line]


@needs_browser
@pytest.mark.parametrize("take", ["pale", "as shipped"])
def test_its_pictures_are_those_of_evaluate(tab, written, take):
    tab.get_by_role("group", name="the look that is shown").get_by_role("button", name=take).click()
    tab.get_by_label("left of the line").select_option("")
    until(tab, "proof.left === null")
    tab.wait_for_timeout(200)
    for index in (0, 3):
        exact = truth(written[0], written[1][index_of(tab, index, written)], SATURATION[take])
        found = pixels(tab, index)
        assert found.shape == exact.shape
        apart = np.abs(found - exact).max(axis=-1)
        assert (apart <= 1).mean() > 0.99
        assert np.quantile(apart, 0.999) <= 5


SATURATION = {"pale": 0.4, "as shipped": 1.2}


def index_of(tab, index: int, written) -> int:
    name = tab.locator("figcaption").nth(index).inner_text().split(", ")[1]
    return [path.name for path in written[1]].index(name)


@needs_browser
def test_left_of_the_line_is_what_was_filmed(tab, written):
    tab.get_by_label("left of the line").select_option("before")
    until(tab, "proof.left === 'before'")
    tab.evaluate("document.getElementById('line').value = 100")
    tab.locator("#line").dispatch_event("input")
    path = written[1][index_of(tab, 0, written)]
    look = lookkit.loads(RECIPE)
    filmed = recorded(look, path.stem.split("_")[1], read_still(path).pixels).astype(int)
    # JPEG of noise, quality 90: a few codes.
    assert np.abs(pixels(tab, 0) - filmed).mean() < 3


@needs_browser
def test_what_the_client_likes_becomes_a_text(tab):
    tab.get_by_role("group", name="what I like of kiln").get_by_role("button", name="pale").click()
    tab.get_by_label("In your words").fill("Softer, please.")
    tab.get_by_role("button", name="copy my answer").click()
    text = tab.get_by_label("To send back").input_value()
    assert text == "Kiln, “Tested”\nkiln: I like “pale”\n\nSofter, please."


@needs_browser
def test_it_fits_a_phone_and_its_line_moves_by_keys(tab):
    assert tab.evaluate("document.documentElement.scrollWidth") <= 400
    tab.locator("#line").focus()
    before = tab.evaluate("proof.line")
    tab.keyboard.press("ArrowLeft")
    assert tab.evaluate("proof.line") < before
