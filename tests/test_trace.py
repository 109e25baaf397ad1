"""A trace shows the same numbers as the exact graph, and says what happened where."""

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.look import Look
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.working import State
from lookkit.trace import trace, trace_text

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


@pytest.mark.parametrize("output", ["monitor", "aces"])
def test_the_last_line_is_the_exact_graph(look, output):
    code = np.array([0.5, 0.3, 0.2])
    steps = trace(look, code, camera="A", output=output)
    exact = look.evaluate(code, camera="A", output=output)
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
