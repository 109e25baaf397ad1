"""A trace shows the same numbers as the exact graph, and says what happened where."""

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.graph import OutputTransform
from lookkit.look import Look
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.outputs import output
from lookkit.spaces.working import State
from lookkit.trace import _notes, trace, trace_text

RECIPE = """
schema = 1
name = "x"
[cameras.A]
encoding = "LogC4"
[cameras.L]
encoding = "ACEScg"
[[look]]
kind = "exposure"
stops = 1.0
[[look]]
kind = "saturation"
id = "rich"
saturation = 1.6
[[look]]
kind = "gamut-compress"
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.aces]
output = "sRGB"
rendering = { kind = "aces-2" }
"""


@pytest.fixture(scope="module")
def look():
    return Look(parse_recipe(RECIPE), RECIPE)


@pytest.mark.parametrize("name", ["monitor", "aces"])
def test_the_last_line_is_the_exact_graph(look, name):
    code = np.array([0.5, 0.3, 0.2])
    steps = trace(look, code, camera="A", output=name)
    exact = look.evaluate(code, camera="A", output=name)
    np.testing.assert_allclose(steps[-1].values, exact, atol=1e-12)
    assert steps[0].state == State.CODE
    assert steps[-1].state == State.SIGNAL


def test_mid_grey_is_0_stops_and_exposure_moves_it(look):
    steps = trace(look, [0.18, 0.18, 0.18], camera="L", output="monitor")
    assert steps[1].stops == pytest.approx(0.0, abs=1e-6)
    assert steps[2].stops == pytest.approx(1.0, abs=1e-6)
    assert steps[2].chroma == pytest.approx(0.0, abs=1e-5)


def test_leaving_the_gamut_is_told_at_the_step_that_does_it(look):
    steps = trace(look, [0.9, 0.2, 0.02], camera="L", output="monitor")
    (rich,) = [step for step in steps if "rich" in step.label]
    assert any("blue went negative" in note for note in rich.notes)
    assert not steps[2].notes


def test_a_fold_is_told():
    flipped = """kind = "matrix"
    matrix = [[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    offset = [2.0, 0.0, 0.0]
    """
    text = RECIPE.replace('kind = "exposure"\nstops = 1.0\n', flipped)
    look = Look(parse_recipe(text), text)
    steps = trace(look, [0.3, 0.01, 0.01], camera="L", output="monitor")
    assert any("folded" in note for note in steps[2].notes)


BRANCHED = """
schema = 1
name = "x"
[cameras.L]
encoding = "ACEScg"
[[look]]
kind = "exposure"
id = "first"
stops = 0.5
[[look]]
kind = "saturation"
id = "rich"
saturation = 2.0
mix = 0.5
[[look]]
kind = "contrast"
id = "lights"
input = "first"
contrast = 1.2
only = { stops = { from = 4 } }
[[look]]
kind = "blend"
id = "both"
input = "rich"
branches = [{ node = "lights" }]
[outputs.monitor]
output = "Rec.709 BT.1886"
"""


def traced(code):
    look = Look(parse_recipe(BRANCHED), BRANCHED)
    steps = trace(look, code, camera="L", output="monitor")
    return {step.label: step for step in steps}, steps


def test_every_node_of_a_branch_has_its_own_values():
    code = np.array([0.4, 0.3, 0.2])
    found, steps = traced(code)
    assert [step.label for step in steps[2:6]] == [
        "exposure (first)", "saturation (rich)", "contrast (lights)", "blend (both)",
    ]  # fmt: skip
    first = np.array(found["exposure (first)"].values)
    np.testing.assert_allclose(first, code * 2**0.5)
    np.testing.assert_allclose(found["contrast (lights)"].values, first)
    joined = 0.5 * (np.array(found["saturation (rich)"].values) + first)
    np.testing.assert_allclose(found["blend (both)"].values, joined)
    assert found["saturation (rich)"].notes == ("acts 50 %",)
    assert found["contrast (lights)"].notes == ("acts 0 %",)


def test_display_light_is_told_in_candelas_and_signal_in_codes():
    """Film print: mid-grey is 10.0 cd/m2; ITU-R BT.1886: that is code .383119 of full range."""
    found, steps = traced(np.full(3, 0.18 / 2**0.5))
    assert found["film-print"].luminance == pytest.approx(10.0, abs=1e-6)
    assert found["film-print"].stops == pytest.approx(0.0, abs=1e-6)
    assert steps[-1].values[0] == pytest.approx(0.383119, abs=1e-6)
    assert f"10 bit {1023 * 0.383119:.0f}" in trace_text(steps).splitlines()[-1]


def test_what_the_output_clips_is_told_by_channel():
    """Renderings stay inside their display, so the step is asked by itself."""
    target = output("Rec.709 BT.1886")
    step = OutputTransform(target)
    for light, words in (
        ([1.2, 0.5, -0.1], ("clipped: blue at black, red at the top",)),
        ([1.0, 0.5, 0.0], ()),
    ):
        before = np.array(light)
        assert _notes(step, before, step.evaluate(before), target) == words


def test_the_text_has_a_line_for_every_step(look):
    steps = trace(look, [0.4, 0.4, 0.4], camera="A", output="monitor")
    lines = trace_text(steps).splitlines()
    assert len(lines) == len(steps) + 1
    assert "rich" in trace_text(steps)


def test_wrong_arguments_are_refused(look):
    with pytest.raises(InputError, match="unknown camera"):
        trace(look, [0, 0, 0], camera="Z", output="monitor")
    with pytest.raises(ValueError, match="three"):
        trace(look, [[0, 0, 0]], camera="A", output="monitor")
