"""The page in a real browser: what is drawn, what a hand does, what becomes of the file."""

import time
import tomllib

import numpy as np
import pytest

import lookkit
from lookkit.media.stills import read_still
from lookkit.report.shown import seen
from tests.page.browser import EXACT, Served, canvas, needs_browser, until
from tests.page.film import RECIPE, make_film

pytestmark = needs_browser


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    recipe, files = make_film(tmp_path_factory.mktemp("page"))
    server = Served(recipe, files)
    server.recipe, server.files = recipe, files
    yield server
    server.close()


@pytest.fixture(scope="module")
def opened(chromium, served):
    tab = chromium.new_page(viewport={"width": 1200, "height": 900})
    tab.told = []
    tab.on("console", lambda message: tab.told.append(message.text))
    tab.on("pageerror", lambda error: tab.told.append(str(error)))
    tab.goto(served.url)
    yield tab
    tab.close()


@pytest.fixture
def tab(opened, served):
    """A page on the recipe as it was written, whatever a test before did to it."""
    if served.recipe.read_text() != RECIPE:
        revision = opened.evaluate("page.state.revision")
        served.recipe.write_text(RECIPE)
        until(opened, f"page.state.revision > {revision} && !page.state.problems.length")
    opened.evaluate("globalThis.page && page.compare && page.compare('')")
    until(opened, EXACT)
    yield opened
    # Reading pixels back is the tests' own doing, and the driver tells that it is slow.
    told = [line for line in opened.told if "GPU stall" not in line]
    opened.told.clear()
    assert not told
    assert not opened.evaluate("page.errors.splice(0)")


def numbers(tab, name: str):
    return tab.get_by_role("spinbutton", name=name)


def box_of(tab, name: str):
    """Where a number stands; the page may have been scrolled by what came before."""
    field = numbers(tab, name).first
    field.scroll_into_view_if_needed()
    return field.bounding_box()


def drag(tab, name: str, by: float) -> None:
    box = box_of(tab, name)
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    tab.mouse.move(x, y)
    tab.mouse.down()
    for step in range(1, 9):
        tab.mouse.move(x + by * step / 8, y)
    tab.mouse.up()


def saved(served):
    return tomllib.loads(served.recipe.read_text())


def wait_for_file(served, wanted, seconds: float = 60.0):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if wanted(saved(served)):
            return
        time.sleep(0.03)
    raise AssertionError(served.recipe.read_text())


def truth(served, index: int) -> np.ndarray:
    """What `Look.evaluate` makes of a frame, as an sRGB canvas shows it."""
    look = lookkit.load(served.recipe)
    path = served.files[index]
    scene, camera = path.stem.split("_")
    codes = read_still(path).pixels.astype(np.float64)
    signal = look.evaluate(codes, camera=camera, output="monitor", scene=scene)
    return seen(look.graph.output("monitor"), signal).astype(int)


@pytest.mark.parametrize("index", [0, 3])
def test_a_picture_at_rest_is_within_one_code_of_evaluate(tab, served, index):
    drag(tab, "Colour, saturation", 30)
    wait_for_file(served, lambda tables: tables["look"][1]["saturation"] > 1.25)
    until(tab, EXACT)
    found, exact = canvas(tab, index), truth(served, index)
    assert found.shape == exact.shape
    assert np.abs(found - exact).max() <= 1


def test_the_lattice_at_rest_is_within_one_code_of_evaluate_nearly_everywhere(tab, served):
    tab.evaluate("page.film.stale()")
    apart = np.abs(canvas(tab, 0) - truth(served, 0)).max(axis=-1)
    assert (apart <= 1).mean() > 0.99
    assert np.quantile(apart, 0.999) <= 5


def test_a_dragged_number_changes_one_line_of_the_file(tab, served):
    before = RECIPE.splitlines()
    drag(tab, "Colour, saturation", 40)
    wait_for_file(served, lambda tables: tables["look"][1]["saturation"] != 1.2)
    after = served.recipe.read_text().splitlines()
    assert len(after) == len(before)
    changed = [new for old, new in zip(before, after, strict=True) if old != new]
    assert len(changed) == 1
    assert changed[0].startswith("saturation = 1.")


def test_pictures_change_while_the_hand_moves(tab, served):
    before = canvas(tab, 0)
    box = box_of(tab, "Light, stops")
    tab.mouse.move(box["x"] + 10, box["y"] + 8)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 60, box["y"] + 8)
    until(tab, "document.querySelector('#status').innerText.startsWith('live')")
    # The first picture may show an earlier place of the hand: the last one is waited for.
    end = time.monotonic() + 90
    while canvas(tab, 0).mean() <= before.mean() + 5 and time.monotonic() < end:
        time.sleep(0.03)
    assert canvas(tab, 0).mean() > before.mean() + 5
    assert not tab.evaluate("page.exact")
    wait_for_file(served, lambda tables: tables["scenes"]["kiln"]["trims"][0]["stops"] == 0.5)
    tab.mouse.up()


def test_a_number_is_typed_stepped_and_put_back(tab, served):
    field = numbers(tab, "Colour, saturation").first
    field.focus()
    tab.keyboard.press("Enter")
    tab.keyboard.type("0.9")
    tab.keyboard.press("Enter")
    wait_for_file(served, lambda tables: tables["look"][1]["saturation"] == 0.9)
    numbers(tab, "Colour, saturation").first.focus()
    tab.keyboard.press("ArrowUp")
    wait_for_file(served, lambda tables: tables["look"][1]["saturation"] == 0.91)
    numbers(tab, "Colour, saturation").first.focus()
    tab.keyboard.press("Delete")
    wait_for_file(served, lambda tables: tables["look"][1]["saturation"] == 1.0)


def test_everything_has_a_name_and_is_reached_by_keys_and_keys_stay_where_they_are(tab, served):
    tab.locator(".step .title").first.evaluate(
        "(one) => one.getAttribute('aria-expanded') === 'true' || one.click()"
    )
    unnamed = """() => [...document.querySelectorAll('button, summary, select, input, [tabindex]')]
      .filter((one) => one.getClientRects().length)
      .filter((one) => one.tabIndex < 0 || !(one.getAttribute('aria-label')
        || one.textContent.trim() || [...(one.labels ?? [])].some((l) => l.textContent.trim())))
      .map((one) => one.outerHTML)"""
    assert tab.evaluate(unnamed) == []
    # A handle of a drawing moves twice: it is there, and held, after the page was made anew.
    tab.get_by_role("slider", name="band 1").focus()
    for degrees in (131, 132):
        tab.keyboard.press("ArrowUp")
        wait_for_file(
            served, lambda tables, d=degrees: tables["look"][0]["bands"][0]["centre"] == d
        )
        until(tab, f"document.activeElement.getAttribute('aria-valuenow') === '{degrees}'")
    # A button that is gone leaves the keys at its step.
    tab.get_by_role("button", name="switch off").focus()
    tab.keyboard.press("Enter")
    wait_for_file(served, lambda tables: tables["look"][0].get("enabled") is False)
    until(tab, "document.activeElement.closest('.step.off') !== null")
    transitions = "getComputedStyle(document.querySelector('button')).transitionDuration"
    tab.emulate_media(reduced_motion="reduce")
    assert tab.evaluate(transitions) == "0s"
    tab.emulate_media(reduced_motion="no-preference")


def test_a_drag_is_given_up_with_escape_and_one_that_ends_where_it_began_changes_nothing(
    tab, served
):
    box = box_of(tab, "Colour, saturation")
    for ending in ("Escape", "back"):
        tab.mouse.move(box["x"] + 8, box["y"] + 8)
        tab.mouse.down()
        tab.mouse.move(box["x"] + 48, box["y"] + 8, steps=3)
        assert not tab.evaluate("page.exact")
        if ending == "Escape":
            tab.keyboard.press("Escape")
        else:
            tab.mouse.move(box["x"] + 8, box["y"] + 8)
        tab.mouse.up()
        until(tab, EXACT)
        assert numbers(tab, "Colour, saturation").first.input_value() == "1.20"
        assert served.recipe.read_text() == RECIPE


def test_undo_and_redo_go_through_the_file(tab, served):
    drag(tab, "Colour, saturation", 40)
    wait_for_file(served, lambda tables: tables["look"][1]["saturation"] != 1.2)
    changed = served.recipe.read_text()
    until(tab, "!document.getElementById('undo').disabled")
    tab.get_by_role("button", name="undo").click()
    wait_for_file(served, lambda tables: tables["look"][1]["saturation"] == 1.2)
    assert served.recipe.read_text() == RECIPE
    tab.get_by_role("button", name="redo").click()
    wait_for_file(served, lambda tables: tables["look"][1]["saturation"] != 1.2)
    assert served.recipe.read_text() == changed


def test_a_take_is_kept_compared_and_gone_back_to(tab, served):
    tab.get_by_label("keep this as").fill("plain")
    tab.get_by_role("button", name="keep").click()
    until(tab, "page.state.takes.length > 0")
    drag(tab, "Colour, saturation", -60)
    wait_for_file(served, lambda tables: tables["look"][1]["saturation"] != 1.2)
    until(tab, EXACT)
    alone = canvas(tab, 0)
    tab.evaluate("page.compare('take:plain')")
    until(tab, "page.film.sets[1] !== null")
    beside = canvas(tab, 0)
    half = alone.shape[1] // 2
    assert np.abs(beside[:, : half - 2] - alone[:, : half - 2]).max() > 5
    assert np.abs(beside[:, half + 2 :] - alone[:, half + 2 :]).max() == 0
    tab.get_by_role("button", name="go back to it: plain").click()
    wait_for_file(served, lambda tables: tables["look"][1]["saturation"] == 1.2)
    tab.get_by_role("button", name="forget: plain").click()
    until(tab, "page.state.takes.length === 0")


def test_a_step_is_added_moved_switched_off_and_removed(tab, served):
    tab.locator("summary", has_text="one more step").first.click()
    tab.locator(".adder").first.get_by_role("button", name="Contrast").click()
    wait_for_file(served, lambda tables: len(tables["look"]) == 3)
    assert saved(served)["look"][2] == {"kind": "contrast"}
    tab.get_by_role("button", name="earlier").click()
    wait_for_file(served, lambda tables: tables["look"][1]["kind"] == "contrast")
    tab.get_by_role("button", name="switch off").click()
    wait_for_file(served, lambda tables: tables["look"][1].get("enabled") is False)
    tab.get_by_role("button", name="remove").click()
    wait_for_file(served, lambda tables: len(tables["look"]) == 2)
    assert saved(served) == tomllib.loads(RECIPE)
    assert "# Leaves lean to olive.\n[[look]]" in served.recipe.read_text()


def test_an_edit_in_a_text_editor_shows_at_once_and_its_faults_are_told(tab, served):
    served.recipe.write_text(RECIPE.replace("saturation = 1.2", "saturation = 0.5"))
    until(tab, "page.state.steps[1].parts.some((part) => part.v === 0.5)")
    served.recipe.write_text(RECIPE.replace("saturation = 1.2", "saturatio = 0.5"))
    until(tab, "page.state.problems.length > 0")
    told = tab.locator("#problems").inner_text()
    assert "film.toml:" in told
    assert "look[2].saturatio: unknown key, did you mean 'saturation'?" in told
    served.recipe.write_text(RECIPE)
    until(tab, "page.state.problems.length === 0")


def test_a_change_meets_an_edit_of_the_file_and_both_are_kept(tab, served):
    box = box_of(tab, "Colour, saturation")
    tab.mouse.move(box["x"] + 10, box["y"] + 8)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 50, box["y"] + 8)
    served.recipe.write_text(RECIPE.replace("turn = -12", "turn = -20"))
    tab.mouse.move(box["x"] + 52, box["y"] + 8)
    tab.mouse.up()
    wait_for_file(
        served,
        lambda tables: (
            tables["look"][1]["saturation"] != 1.2 and tables["look"][0]["bands"][0]["turn"] == -20
        ),
    )


def test_a_drag_reaches_its_own_step_though_the_file_gets_one_before_it(tab, served):
    box = box_of(tab, "Colour, saturation")
    tab.mouse.move(box["x"] + 10, box["y"] + 8)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 50, box["y"] + 8)
    step = '[[look]]\nkind = "saturation"\nsaturation = 0.95\n\n'
    head = "# Leaves lean to olive."
    served.recipe.write_text(RECIPE.replace(head, step + head))
    until(tab, "page.state.steps.length === 3")
    tab.mouse.move(box["x"] + 60, box["y"] + 8)
    tab.mouse.up()
    wait_for_file(served, lambda tables: tables["look"][2]["saturation"] != 1.2)
    assert saved(served)["look"][0]["saturation"] == 0.95


@pytest.mark.parametrize("mine", [True, False])
def test_a_number_that_both_set_is_asked_about_in_words(tab, served, mine):
    box = box_of(tab, "Colour, saturation")
    tab.mouse.move(box["x"] + 10, box["y"] + 8)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 50, box["y"] + 8)
    served.recipe.write_text(RECIPE.replace("saturation = 1.2", "saturation = 0.5"))
    until(tab, "page.state.steps[1].parts.some((part) => part.v === 0.5)")
    tab.mouse.move(box["x"] + 60, box["y"] + 8)
    tab.mouse.up()
    until(tab, "!document.getElementById('question').hidden")
    assert "the file was changed too: it says 0.5 now" in tab.locator("#asked").inner_text()
    assert saved(served)["look"][1]["saturation"] == 0.5
    tab.get_by_role("button", name="all the same" if mine else "leave the file as it is").click()
    if mine:
        wait_for_file(served, lambda tables: tables["look"][1]["saturation"] > 1.2)
    written = saved(served)["look"][1]["saturation"]
    until(tab, f"page.state.steps[1].parts.some((part) => part.v === {written})")
    until(tab, EXACT)
    shown = tab.evaluate("page.state.steps[1].parts.find((part) => part.t === 'number').v")
    assert shown == saved(served)["look"][1]["saturation"]
    field = numbers(tab, "Colour, saturation").first
    assert float(field.get_attribute("aria-valuenow")) == shown
    assert (shown == 0.5) is not mine


@pytest.mark.parametrize("mine", [True, False])
def test_a_number_that_both_set_is_decided_by_keys_alone(tab, served, mine):
    numbers(tab, "Colour, saturation").first.focus()
    tab.keyboard.press("ArrowUp")
    served.recipe.write_text(RECIPE.replace("saturation = 1.2", "saturation = 0.5"))
    until(tab, "!document.getElementById('question').hidden")
    asked = "document.getElementById('question').contains(document.activeElement)"
    now = "document.activeElement.textContent"
    choices = tab.locator("#question button").all_inner_texts()
    # All choices in turn, both ways, and never out of the question.
    went = []
    for key in ["Tab"] * len(choices) + ["Shift+Tab"] * len(choices):
        assert tab.evaluate(asked)
        went.append(tab.evaluate(now))
        tab.keyboard.press(key)
    assert went == [*choices, choices[0], *choices[:0:-1]]
    assert tab.evaluate(now) == choices[0]
    if mine:
        tab.keyboard.press("Enter")
        wait_for_file(served, lambda tables: tables["look"][1]["saturation"] > 1.2)
    else:
        tab.keyboard.press("Escape")
        assert saved(served)["look"][1]["saturation"] == 0.5
    assert tab.locator("#question").is_hidden()
    written = saved(served)["look"][1]["saturation"]
    until(tab, f"page.state.steps[1].parts.some((part) => part.v === {written})")
    until(tab, EXACT)
    # Keys are at the number again, as the file has it.
    label, value = tab.evaluate(
        "[document.activeElement.ariaLabel, document.activeElement.getAttribute('aria-valuenow')]"
    )
    assert "saturation" in label
    assert float(value) == written


def test_nothing_moves_by_itself_for_who_asks_for_less_motion(tab):
    moves = (
        "[...document.querySelectorAll('*')].map((one) => getComputedStyle(one)).filter((style) => "
        "style.transitionDuration !== '0s' || style.animationName !== 'none' || "
        "style.scrollBehavior !== 'auto').length"
    )
    tab.emulate_media(reduced_motion="no-preference")
    assert tab.evaluate(moves) > 0
    tab.emulate_media(reduced_motion="reduce")
    assert tab.evaluate(moves) == 0


def test_a_picked_point_tells_its_stops_and_can_be_made_neutral(tab, served):
    tab.locator(".picture").first.click(position={"x": 120, "y": 60})
    until(tab, "page.point !== null")
    told = tab.locator(".point-told").inner_text()
    assert "stops from mid-grey" in told
    tab.get_by_role("button", name="make this neutral").click()
    wait_for_file(served, lambda tables: len(tables["scenes"]["kiln"]["trims"]) == 2)
    assert saved(served)["scenes"]["kiln"]["trims"][0]["kind"] == "white-balance"
    until(tab, EXACT)
    tab.locator(".picture").first.click(position={"x": 120, "y": 60})
    until(tab, "page.point && page.point.steps.length > 3")
    chroma = until(
        tab, "page.point.steps[1].label === 'white-balance' && [page.point.steps[1].chroma]"
    )
    assert chroma[0] < 0.002


def test_two_pages_stay_in_step(tab, chromium, served):
    second = chromium.new_page(viewport={"width": 900, "height": 800})
    second.goto(served.url)
    until(second, EXACT)
    drag(tab, "Colour, saturation", 40)
    until(second, "page.state.steps[1].parts.some((p) => p.name === 'saturation' && p.v !== 1.2)")
    second.close()


def test_a_lost_drawing_context_comes_back(tab, served):
    tab.evaluate("""async () => {
        const lose = page.film.gl.getExtension('WEBGL_lose_context');
        lose.loseContext(); await new Promise((r) => setTimeout(r, 200));
        lose.restoreContext(); await new Promise((r) => setTimeout(r, 400)); }""")
    assert np.abs(canvas(tab, 0) - truth(served, 0)).max() <= 1


def test_nothing_is_lost_when_the_server_is_killed(chromium, tmp_path):
    recipe, files = make_film(tmp_path)
    server = Served(recipe, files)
    tab = chromium.new_page(viewport={"width": 1200, "height": 900})
    tab.goto(server.url)
    until(tab, EXACT)
    drag(tab, "Colour, saturation", 40)
    server.recipe = recipe
    wait_for_file(server, lambda tables: tables["look"][1]["saturation"] != 1.2)
    text = recipe.read_text()
    server.kill()
    until(tab, "document.body.classList.contains('alone')")
    tab.close()
    again = Served(recipe, files)
    try:
        assert recipe.read_text() == text
        tab = chromium.new_page()
        tab.goto(again.url)
        until(tab, EXACT)
        tab.get_by_role("button", name="undo").click()
        again.recipe = recipe
        wait_for_file(again, lambda tables: tables["look"][1]["saturation"] == 1.2)
        assert recipe.read_text() == RECIPE
        tab.close()
    finally:
        again.close()


def test_the_page_is_never_wider_than_its_window(chromium, served):
    tab = chromium.new_page()
    tab.goto(served.url)
    for width, scheme in ((400, "light"), (900, "dark"), (2400, "light")):
        tab.set_viewport_size({"width": width, "height": 900})
        tab.emulate_media(color_scheme=scheme)
        until(tab, EXACT)
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
    tab.close()


def test_a_walk_of_random_actions_leaves_no_error(tab, chromium, served):
    from tests.page.walk import walk

    # On a page of its own, for it ends wherever it has scrolled to and whatever it has opened.
    own = chromium.new_page(viewport={"width": 1200, "height": 900})
    own.on("console", lambda message: tab.told.append(message.text))
    own.on("pageerror", lambda error: tab.told.append(str(error)))
    own.goto(served.url)
    until(own, EXACT)
    walk(own, seed=1, steps=18)
    assert not own.evaluate("page.errors")
    own.close()
    lookkit.load(served.recipe)
