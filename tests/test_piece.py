"""What OpenColorIO cannot say: one lattice, in coordinates of its own, as close as its goals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.accuracy.interpolate import tetrahedral
from lookkit.accuracy.samples import AUDIT_SEED, image_like, over_range, saturated_emitters, skin
from lookkit.coordinates import LOOK, SHOWN, DisplayLight, HeldColours, SceneColours, Tones
from lookkit.coordinates.tables import read_even
from lookkit.evaluate import evaluate
from lookkit.look import Look, _view
from lookkit.lower import Lattices, lower, pieces, unsayable
from lookkit.ocio import Processor, foldable, library
from lookkit.piece import GOALS
from lookkit.piece_fit import TEN_BIT, Drawn, fitted
from lookkit.recipe.load import parse_recipe
from tests.nodes.strategies import scene

AS_DELIVERED = True

HEAD = """
schema = 1
name = "x"
"""

OPAQUE = """
[[look]]
kind = "exposure"
stops = 0.2
[[look]]
kind = "hue-bands"
half_chroma = 0.1
bands = [{ centre = 30, width = 60, turn = 5, saturation = 1.1 }]
[[look]]
kind = "saturation"
saturation = 0.9
[[look]]
kind = "contrast"
contrast = 1.1
only = { stops = { from = -2, soft = 4 } }
[[look]]
kind = "cdl"
saturation = 0.95
"""


def look_of(text=OPAQUE, more=""):
    return Look(parse_recipe(HEAD + text + more), HEAD + text + more)


SAMPLED = Lattices()
"""The lattice of OPAQUE, made once and sampled."""


@pytest.fixture(scope="module")
def steps():
    return look_of().graph.look()


def test_what_opencolorio_cannot_say_is_one_lattice_and_the_rest_stays_analytic(steps):
    parts = pieces(steps, SAMPLED)
    assert [bool(part.size) for part in parts] == [False, True, False]
    assert "hue-bands" in parts[1].label
    assert "contrast" in parts[1].label
    assert unsayable(steps) == list(steps[1:4])


def test_a_lattice_is_made_once_for_the_same_steps(steps):
    again = look_of().graph.look()
    assert pieces(steps, SAMPLED)[1] is pieces(again, SAMPLED)[1]


def test_a_lattice_does_not_tint_neutrals(steps):
    grey = 0.18 * 2.0 ** np.linspace(-10, 11, 999)[:, None].repeat(3, axis=1)
    exact = evaluate(steps, grey)
    found = Processor(lower(steps, SAMPLED)).apply(grey).astype(np.float64)
    np.testing.assert_allclose(exact, exact[:, :1].repeat(3, axis=1), rtol=1e-6)
    np.testing.assert_allclose(found, found[:, :1].repeat(3, axis=1), rtol=3e-5)


def test_a_fitted_lattice_keeps_to_the_goals_on_colours_that_no_fit_saw():
    """Pictures, skin, lights and over-range scenes, of another seed, as a display shows them."""
    look = look_of(more='[outputs.monitor]\noutput = "Rec.709 BT.1886"\n')
    rest = (*look.graph.rendering("monitor"), *look.graph.output_steps("monitor"))
    found = Processor(lower(look.graph.look(), look.lattices))
    rng = np.random.default_rng(AUDIT_SEED)
    draws = {
        "image-like": image_like(rng, 30000),
        "skin": skin(rng, 8000),
        "saturated-emitters": saturated_emitters(rng, 16000),
        "over-range": over_range(rng, 8000, 10.0),
    }
    for name, light in draws.items():
        exact = evaluate((*look.graph.look(), *rest), light)
        off = TEN_BIT * np.abs(evaluate(rest, found.apply_exact(light)) - exact).max(axis=-1)
        assert np.quantile(off, GOALS[name].quantile) <= GOALS[name].codes, name


def test_a_view_shows_scenes_on_the_first_display_in_sdr():
    outputs = """
    [outputs.tv]
    output = "Rec.2100 PQ 1000"
    [outputs.web]
    output = "sRGB"
    """
    look = look_of(more=outputs)
    view = _view(look)
    assert set(view.colours) == set(GOALS)
    light = view.colours["skin"][:50]
    rest = (*look.graph.rendering("web"), *look.graph.output_steps("web"))
    np.testing.assert_allclose(view.signal(light), evaluate(rest, light), atol=1e-8)


AXES = pytest.mark.parametrize("axes", [LOOK, SHOWN], ids=["look", "shown"])


@AXES
@pytest.mark.parametrize("size", [17, 33, 49])
@given(share=st.floats(0.0, 1.0))
def test_greys_lie_on_points_of_the_lattice_whatever_its_size(axes, size, share):
    light = np.full((1, 3), share * axes.stops.highest)
    at = SceneColours(size, axes).place(light)[0][1:] * (size - 1)
    np.testing.assert_allclose(at, np.rint(at), atol=1e-9)


PLACES = {
    "look": SceneColours(33),
    "shown": SceneColours(33, SHOWN),
    "display": DisplayLight(10.0),
}


@pytest.mark.parametrize("made", PLACES.values(), ids=PLACES)
@given(rgb=scene(0.01, 9.0))
def test_operations_are_the_places_that_they_stand_for(made, rgb):
    """Within float32: OpenColorIO reads the same tables."""
    rgb = np.abs(rgb) + 0.01
    found = Processor(made.to_place()).apply_exact(rgb)
    np.testing.assert_allclose(found, made.place(rgb), atol=2e-5)


@pytest.mark.parametrize("held", [HeldColours(), DisplayLight(10.0)], ids=["scene", "display"])
@given(rgb=scene(0.01, 9.0))
def test_operations_are_what_is_held_released(held, rgb):
    rgb = np.abs(rgb) + 0.01
    found = held.hold(rgb)
    np.testing.assert_allclose(held.release(found), rgb, rtol=2e-5, atol=1e-6)
    back = Processor(held.from_held()).apply_exact(found)
    np.testing.assert_allclose(back, rgb, rtol=1e-3, atol=1e-4)


TONED = """
[rendering]
kind = "film-print"
lights = [23.6, 25.1, 27.1]
shade = [0.0, 0.0, 0.08]
[outputs.tv]
output = "Rec.709 BT.1886"
[outputs.hdr]
output = "Rec.2100 PQ 1000"
[outputs.hlg]
output = "Rec.2100 HLG 1000"
"""


def tones_of(name, *, signal):
    graph = look_of("", TONED).graph
    steps = (*graph.rendering(name), *(graph.output_steps(name) if signal else ()))
    return steps, Tones(steps, (graph.output(name).peak or 100.0) / 100.0)


@pytest.mark.parametrize("signal", [False, True], ids=["light", "signal"])
@pytest.mark.parametrize("name", ["tv", "hdr", "hlg"])
def test_tones_hold_greys_as_their_own_stops_and_every_display_colour(name, signal):
    steps, held = tones_of(name, signal=signal)
    stops = SHOWN.stops
    u = np.linspace(stops.of(np.array(0.18 / 16)), stops.of(np.array(0.18 * 16)), 300)
    shown = evaluate(steps, stops.light(u)[:, None].repeat(3, axis=1))
    found = stops.low + held.hold(shown) * (stops.high - stops.low)
    # Channels whose slope is least near white may lie off their own stops.
    np.testing.assert_allclose(np.median(found, axis=1), u, atol=1e-2)
    colours = np.random.default_rng(4).random((2000, 3))
    colours = colours if signal else held._table[-1] * colours**2.4
    colours = np.concatenate([colours, 0.0 * colours[:1], 0.0 * colours[:1] + held._table[-1]])
    np.testing.assert_allclose(held.release(held.hold(colours)), colours, rtol=1e-6, atol=1e-9)
    back = Processor(held.from_held()).apply_exact(held.hold(colours))
    code = (lambda v: v) if signal else (lambda v: (v / held._table[-1]) ** (1 / 2.4))
    assert 1023 * np.abs(code(back) - code(colours)).max() < 0.05


@given(rgb=scene(0.05, 9.0))
def test_a_place_in_the_lattice_has_its_light(rgb):
    rgb = 0.5 + 0.1 * np.tanh(rgb)
    made = SceneColours(33)
    np.testing.assert_allclose(made.values_at(made.place(rgb)), rgb, rtol=1e-6)


@given(rgb=scene(-2.0, 2.0))
def test_an_even_table_is_read_as_numpy_reads_one(rgb):
    table = np.random.default_rng(2).random(100)
    aim = np.interp(rgb, np.linspace(-1.0, 1.5, 100), table)
    np.testing.assert_allclose(read_even(rgb, -1.0, 1.5, table), aim, atol=1e-12)


def test_a_fit_is_the_least_squares_of_what_is_seen():
    """Against numpy's own solution of the dense equations, on a lattice of 3 points an edge."""
    rng = np.random.default_rng(1)
    size, count = 3, 4000
    sampled, place = rng.random((size, size, size, 3)), rng.random((count, 3))
    slopes = rng.random((count, 3, 3)) + 2.0 * np.eye(3)
    seen = np.einsum("nck,ncm->nkm", slopes, slopes)
    held = rng.random((count, 3))
    fixed = np.zeros((size,) * 3, dtype=bool)
    fixed[1, 1, 1] = True
    made = fitted(sampled, place, Drawn(held, seen), fixed)

    lattices = np.eye(size**3).reshape(size**3, size, size, size)
    read = np.stack([
        tetrahedral(np.repeat(one[..., None], 3, axis=-1), place)[:, 0] for one in lattices
    ], axis=-1)  # fmt: skip
    normal = np.einsum("na,nkm,nb->akbm", read, seen, read)
    diagonal = np.einsum("akak->ak", normal).copy()
    keep = 1e-2 * (diagonal[diagonal > 0.0].mean() + diagonal)
    matrix = normal.reshape(3 * size**3, -1) + np.diag(keep.ravel())
    missing = held - tetrahedral(sampled, place)
    right = np.einsum("na,nkm,nm->ak", read, seen, missing).ravel()
    free = np.repeat(~fixed.ravel(), 3)
    change = np.zeros(3 * size**3)
    change[free] = np.linalg.solve(matrix[np.ix_(free, free)], right[free])
    np.testing.assert_allclose((made - sampled).ravel(), change, atol=1e-4)


@pytest.mark.parametrize("entries", [4096, 65520, 65521, 65535, 65536])
def test_a_table_that_opencolorio_cannot_fold_gets_another_length(entries):
    table = library().Lut1DTransform(entries, False)
    rows = np.linspace(0.0, 1.0, entries, dtype=np.float32) ** 2
    table.setData(np.repeat(rows[:, None], 3, axis=1))
    made = foldable(table)
    assert made.getLength() not in range(65521, 65536)
    assert (made is table) == (entries not in range(65521, 65536))
    codes = np.random.default_rng(3).random((1000, 3))
    np.testing.assert_allclose(Processor([made]).apply(codes), codes**2, atol=1e-6)
