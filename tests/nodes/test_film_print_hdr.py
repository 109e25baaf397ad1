"""The print on HDR displays."""

import numpy as np
import pytest
from hypothesis import given

from lookkit.nodes.film_print import FilmPrint
from lookkit.ocio import Processor
from lookkit.spaces.outputs import output, outputs
from tests.nodes.strategies import nodes, scene

HDR = [name for name, made in outputs().items() if made.is_hdr]


def neutral(low, high, count=401):
    return 0.18 * 2.0 ** np.linspace(low, high, count)[:, None].repeat(3, axis=1)


def shown(name, film=None):
    return (film or FilmPrint()).ops_for(output(name))[0]


def test_there_are_hdr_outputs():
    assert len(HDR) >= 5


@pytest.mark.parametrize("name", HDR)
def test_mid_tones_are_the_print_at_paper_white(name):
    """BT.2408: reference (paper) white at 203 cd/m2; mid-grey stays a tenth of it."""
    assert output(name).reference_white == 203
    light = neutral(-8, 1.5)
    np.testing.assert_allclose(
        shown(name).evaluate(light), 2.03 * FilmPrint().evaluate(light), rtol=1e-12
    )


@pytest.mark.parametrize("name", HDR)
def test_highlights_open_towards_the_named_peak_and_never_beyond(name):
    light = shown(name).evaluate(neutral(-10, 14, 2001))[:, 0]
    peak = output(name).peak / 100
    assert (np.diff(light) > 0).all()
    assert 0.9 * peak < light[-1] <= peak


@pytest.mark.parametrize("name", HDR)
def test_a_stop_of_highlight_never_becomes_more_than_two(name):
    stops = np.linspace(1, 9, 801)
    light = shown(name).evaluate(neutral(1, 9, 801))[:, 0]
    assert np.max(np.gradient(np.log2(light), stops)) < 2.0


@given(nodes(FilmPrint), scene())
def test_any_print_on_hdr_is_lowered_as_it_is_evaluated(film, rgb):
    """OpenColorIO in float32: 3e-5 of the pixel's largest channel, floor 0.01."""
    step = shown("Rec.2100 PQ 4000", film)
    exact = step.evaluate(rgb)
    scale = np.maximum(exact.max(axis=-1, keepdims=True), 0.01)
    fast = Processor(step.lower()).apply(rgb)
    assert np.isfinite(exact).all()
    assert np.max(np.abs(fast - exact) / scale) <= 3e-5
