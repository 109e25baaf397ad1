"""What stands around the film: takes, scenes, cameras, shots, problems, and the hand-over."""

import json
import re
import shutil
import tomllib

import numpy as np
import pytest

import lookkit
from lookkit.media.stills import read_still
from lookkit.report.shown import as_bytes, screen_of
from lookkit.spaces.outputs import output
from tests.page.browser import EXACT, Served, canvas, needs_browser, until
from tests.page.film import RECIPE, make_film

pytestmark = needs_browser

RICH = (
    RECIPE.replace(
        'encoding = "V-Log"\n',
        'encoding = "V-Log"\n[[cameras.B.trims]]\nkind = "exposure"\nstops = 0.2\n',
    )
    .replace("[scenes.flats]\n", "[scenes.flats]\noverrides.colour = { saturation = 1.1 }\n")
    .replace(
        'match = "flats_B*"\ncamera = "B"\nscene = "flats"\n',
        'match = "flats_B*"\ncamera = "B"\nscene = "flats"\n'
        '[[shots.trims]]\nkind = "exposure"\nstops = -0.3\n',
    )
    + '\n[deliver]\nfit = false\ncertify = false\nformats = ["cube"]\nsizes = [17]\n'
)


MEAN = """(data) =>
  data.reduce((sum, one, k) => sum + (k % 4 < 3 ? one : 0), 0) * 4 / 3 / data.length"""


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    recipe, files = make_film(tmp_path_factory.mktemp("parts"))
    recipe.write_text(RICH)
    loose = shutil.copy(files[0], recipe.with_name("of_no_camera.tif"))
    server = Served(recipe, [*files, loose])
    server.recipe, server.files = recipe, files
    yield server
    server.close()


@pytest.fixture(scope="module")
def tab(chromium, served):
    tab = chromium.new_page(viewport={"width": 1200, "height": 900})
    told = []
    tab.on("pageerror", lambda error: told.append(str(error)))
    tab.goto(served.url)
    until(tab, EXACT)
    yield tab
    assert not told
    assert not tab.evaluate("page.errors")
    tab.close()


def signal(served, index: int) -> tuple[np.ndarray, object]:
    look = lookkit.load(served.recipe)
    path = served.files[index]
    scene, camera = path.stem.split("_")
    setting = look.recipe.setting(camera, scene, path)
    codes = read_still(path).pixels.astype(np.float64)
    return look.evaluate(codes, camera=camera, output="monitor", scene=setting), look


def place_of(tab, served, index: int) -> int:
    names = tab.evaluate("page.state.pictures.map((one) => one.name)")
    return names.index(served.files[index].name)


def type_into(tab, name: str, text: str) -> None:
    field = tab.get_by_role("spinbutton", name=name).first
    field.focus()
    tab.keyboard.press("Enter")
    tab.keyboard.type(text)
    tab.keyboard.press("Enter")


def test_a_shots_trims_and_a_scenes_overrides_are_on_its_picture(tab, served):
    exact, look = signal(served, 3)
    shown = as_bytes(
        screen_of(look.graph.output("monitor"), output("sRGB")).apply(exact.astype(np.float32))
    )
    found = canvas(tab, place_of(tab, served, 3))
    assert np.abs(found - shown.astype(int)).max() <= 1


def test_what_a_scene_has_otherwise_is_a_sentence_of_its_own(tab, served):
    until(tab, EXACT)
    box = tab.locator(".step", has_text="Colour, here only")
    field = box.get_by_role("spinbutton", name="Colour, saturation")
    field.focus()
    tab.keyboard.press("Enter")
    tab.keyboard.type("0.8")
    tab.keyboard.press("Enter")
    until(tab, "page.state.scenes[1].overrides[0].parts.some((part) => part.v === 0.8)")
    assert "overrides.colour = { saturation = 0.8 }" in served.recipe.read_text()
    assert tomllib.loads(served.recipe.read_text())["look"][1]["saturation"] == 1.2


def test_a_file_of_no_camera_is_left_out_and_told(tab, served):
    assert tab.evaluate("page.state.pictures.length") == len(served.files)
    told = tab.locator("#left")
    assert "one file was left out" in told.inner_text()
    told.locator("summary").click()
    assert "of_no_camera.tif" in told.inner_text()


def test_a_problem_of_the_file_stands_at_its_word(tab, served):
    text = served.recipe.read_text()
    served.recipe.write_text(text.replace("stops = 0.2\n", 'stops = "bright"\n'))
    until(tab, "page.state.problems.length === 1")
    word = tab.locator("[aria-invalid=true]")
    assert word.get_attribute("aria-label").startswith("Light, stops")
    told = tab.locator(f"#{word.get_attribute('aria-describedby')}").inner_text()
    assert told == tab.evaluate("page.state.problems[0].text")
    assert "cameras.B.trims[1].stops" in told
    served.recipe.write_text(text)
    until(tab, "page.state.problems.length === 0")
    assert not tab.locator("[aria-invalid=true]").count()


def test_a_cameras_trims_are_sentences_and_its_pictures_follow_the_hand(tab, served):
    until(tab, EXACT)
    index = place_of(tab, served, 1)
    before = canvas(tab, index).mean()
    path = json.dumps(["cameras", "B", "trims", 0], separators=(",", ":"))
    field = tab.locator(f".step[data-at='{path}']").get_by_role("spinbutton").first
    field.scroll_into_view_if_needed()
    box = field.bounding_box()
    tab.mouse.move(box["x"] + 6, box["y"] + 8)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 66, box["y"] + 8, steps=3)
    until(tab, f"{before + 3} < (({MEAN})(page.pixels({index}).data))")
    assert "stops = 0.2\n" in served.recipe.read_text()
    tab.keyboard.press("Escape")
    tab.mouse.up()
    until(tab, EXACT)
    field.focus()
    tab.keyboard.press("Enter")
    tab.keyboard.type("1.2")
    tab.keyboard.press("Enter")
    until(tab, "page.state.cameras[1].trims[0].parts.some((part) => part.v === 1.2)")
    until(tab, EXACT)
    tab.wait_for_timeout(500)
    until(tab, EXACT)
    exact, look = signal(served, 1)
    shown = as_bytes(
        screen_of(look.graph.output("monitor"), output("sRGB")).apply(exact.astype(np.float32))
    )
    assert canvas(tab, index).mean() > before + 3
    assert np.abs(canvas(tab, index) - shown.astype(int)).max() <= 1
    # At rest pictures have their trims in them, and share the lattice of what comes after.
    assert any(tab.evaluate("page.film.sets[0].trimmed"))
    tab.evaluate("page.film.stale()")
    assert (np.abs(canvas(tab, index) - shown.astype(int)).max(axis=-1) <= 1).mean() > 0.99


def test_a_shot_gets_a_step_of_its_own(tab, served):
    box = tab.locator("details.adder", has_text="one more step for kiln_A*")
    box.locator("summary").click()
    box.get_by_role("button", name="Light Multiply").click()
    until(tab, "page.state.shots[0].trims.length === 1")
    shots = tomllib.loads(served.recipe.read_text())["shots"]
    assert shots[0]["trims"] == [{"kind": "exposure", "stops": 0.0}]
    assert "trims" not in shots[1]


def test_takes_are_miniatures_with_their_differences_in_words(tab, served):
    tab.get_by_label("keep this as").fill("vivid")
    tab.get_by_role("button", name="keep", exact=True).click()
    until(tab, "page.state.takes.length === 1")
    type_into(tab, "Colour, saturation", "0.6")
    until(tab, "page.state.takes[0].differs.length === 1")
    assert "Colour, saturation 0.6 → 1.2" in tab.locator("#below").inner_text()
    until(tab, "document.querySelector('.mini').width > 100")
    until(tab, EXACT)
    colours = tab.evaluate(
        "Array.from(document.querySelector('.mini').getContext('2d')"
        ".getImageData(20, 20, 40, 20).data)"
    )
    small = np.array(colours).reshape(-1, 4)[:, :3]
    # The miniature is of the take, whose colours are twice as strong.
    assert np.ptp(small, axis=1).mean() > 5


def test_two_takes_stand_side_by_side_in_every_picture(tab, served):
    tab.get_by_role("button", name="side by side: vivid").click()
    until(tab, "page.film.sets[1] && page.film.sets[1].n === 57")
    found = canvas(tab, 0)
    high, wide = found.shape[:2]
    middle = slice(high // 4 + 2, high // 4 + high // 2 - 2)
    left, right = found[middle, 2 : wide // 2 - 4], found[middle, wide // 2 + 2 : wide - 4]
    assert np.ptp(left, axis=2).mean() > 1.4 * np.ptp(right, axis=2).mean()
    tab.evaluate("page.compare('')")


def test_a_problem_of_the_file_stands_at_its_step(tab, served):
    text = served.recipe.read_text()
    broken, there = re.subn(r"(?m)^saturation = ", "saturatio = ", text)
    assert there == 1
    served.recipe.write_text(broken)
    until(tab, "page.state.problems.length > 0")
    wrong = tab.locator(".step.wrong")
    assert wrong.count() == 1
    assert "did you mean 'saturation'?" in wrong.inner_text()
    assert wrong.locator("h3").inner_text().startswith("2 Colour")
    served.recipe.write_text(text)
    until(tab, "page.state.problems.length === 0")
    assert tab.locator(".step.wrong").count() == 0


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("the hand-off folder", "the hand-off is in Kiln_Tested_v001"),
        ("a sheet", "the sheet is film.sheet.png"),
        ("the report", "the report is film.report.html"),
        ("a proof for the client", "the proof is film.proof.html: 4 pictures under "),
    ],
)
def test_what_is_handed_over_is_made_from_the_page_with_its_progress(tab, served, name, told):
    tab.evaluate("document.getElementById('hand').open = true; page.progress = []")
    tab.get_by_role("button", name=name).click()
    until(tab, "document.getElementById('made').textContent.startsWith('the ')", 180)
    assert tab.locator("#made").inner_text().startswith(told)
    assert tab.evaluate("page.progress.length") > 0
    made = served.recipe.parent / told.split(":")[0].split(" ")[-1]
    assert made.exists()


def test_a_screen_of_wide_colours_gets_them(chromium, served):
    tab = chromium.new_page(viewport={"width": 1200, "height": 900})
    tools = tab.context.new_cdp_session(tab)
    wide = {"features": [{"name": "color-gamut", "value": "p3"}]}
    tools.send("Emulation.setEmulatedMedia", wide)
    tab.goto(served.url)
    until(tab, EXACT)
    assert tab.evaluate("page.film.gl.drawingBufferColorSpace") == "display-p3"
    exact, look = signal(served, 0)
    screen = screen_of(look.graph.output("monitor"), output("Display P3"))
    shown = as_bytes(screen.apply(exact.astype(np.float32))).astype(int)
    assert np.abs(canvas(tab, place_of(tab, served, 0)) - shown).max() <= 1
    tab.close()
