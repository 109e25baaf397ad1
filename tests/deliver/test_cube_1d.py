"""1D .cube files exist exactly where channels do not mix, and others read them as the graph."""

import numpy as np
import pytest

from lookkit.deliver import acescct, cube
from lookkit.deliver.agreement import as_opencolorio_reads
from lookkit.evaluate import evaluate
from lookkit.look import Look
from lookkit.recipe.load import parse_recipe

HEAD = """
schema = 1
name = "Plain"
[cameras.A]
encoding = "ACEScct"
[cameras.B]
encoding = "LogC4"
[outputs.cinema]
output = "P3-D65 2.6"
[outputs.monitor]
output = "Rec.709 BT.1886"
[rendering]
kind = "film-print"
[[look]]
kind = "exposure"
stops = 0.3
[[look]]
kind = "lift-gamma-gain"
gain = [1.05, 1.0, 0.95]
gamma = 1.1
"""
MIXING = """
[[look]]
kind = "saturation"
saturation = 0.9
"""


def curves(text, folder):
    look = Look(parse_recipe(text), text)
    jobs = [job for job in cube.jobs(look) if "_1d" in job.label]
    return look, [one for job in jobs for one in job.write(folder)]


def test_only_looks_whose_channels_do_not_mix_get_one(tmp_path):
    """A print mixes its channels, so no chain through it has one; the look alone has."""
    _, made = curves(HEAD, tmp_path)
    assert [(one.part, one.camera, one.output) for one in made] == [("look-acescct", None, None)]
    _, made = curves(HEAD + MIXING, tmp_path)
    assert made == []


def test_opencolorio_and_colour_science_read_them_as_the_graph(tmp_path):
    colour = pytest.importorskip("colour")
    look, (one,) = curves(HEAD, tmp_path)
    codes = np.random.default_rng(3).random((4000, 3))
    in_scene = acescct.encode(evaluate(look.graph.look(), acescct.decode(codes)))
    limit = one.figures["largest, 10-bit codes"] / 1023 + 2e-7
    assert limit < 0.2 / 1023
    assert np.abs(as_opencolorio_reads(one.path)(codes) - in_scene).max() <= limit
    theirs = colour.read_LUT(str(one.path)).apply(codes)
    assert np.abs(theirs - in_scene).max() <= limit


def test_it_says_what_it_takes_gives_and_how_exact_it_is(tmp_path):
    _, (one,) = curves(HEAD, tmp_path)
    head = one.path.read_text()[:1000]
    for words in ("ACEScct", "ten-bit codes"):
        assert words in head
    assert "LUT_1D_SIZE 4096" in head
