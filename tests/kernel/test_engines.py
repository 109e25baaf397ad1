"""Both engines run one formula: the compiled one stays within a tenth of a ten-bit code."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lookkit.evaluate import Runner, evaluate, evaluator, parts_of
from lookkit.graph import InputTransform, OutputTransform
from lookkit.kernel import engine, numpy_engine
from lookkit.kernel.engine import Compiled
from lookkit.kernel.formula import FORMULAS, Affine, Call, padded
from lookkit.kernel.record import kernels
from lookkit.look import Look, load_shipped, shipped_looks
from lookkit.match.fit import KNOTS
from lookkit.matchfile.model import ToneCurve
from lookkit.matchfile.steps import MatchColours, MatchCurve
from lookkit.nodes import KINDS, kind_name
from lookkit.nodes.film_print import FilmPrint
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.curves import Points
from lookkit.spaces.encodings import encoding, encodings
from lookkit.spaces.outputs import output, outputs
from lookkit.spaces.working import State
from tests.nodes.strategies import nodes

compiled = pytest.mark.skipif(
    engine.name() != "compiled", reason="no compiled kernels here: python -m lookkit.kernel.build"
)
SCREEN = output("Rec.709 BT.1886")


def chain_of(node, camera="LogC4"):
    """A camera, the node, and what brings its light to a monitor's signal."""
    steps = [node] if node.gives == State.SCENE else []
    rendering = FilmPrint() if steps else node
    first = InputTransform(encoding(camera))
    return (first, *steps, *rendering.ops_for(SCREEN), OutputTransform(SCREEN))


def is_compiled(chain):
    return all(Compiled(part).compiled for part in parts_of(chain) if isinstance(part, tuple))


def codes_between(low, high, count, seed):
    return np.random.default_rng(seed).uniform(low, high, (count, 3))


def light_of_all_kinds(count, seed):
    """Light of -10 to 2^20, of all sizes and both signs."""
    rng = np.random.default_rng(seed)
    size = 2.0 ** rng.uniform(-12, 20, (count, 1)) * 2.0 ** rng.normal(0, 3, (count, 3))
    light = np.where(rng.random((count, 3)) < 0.15, -size, size)
    return np.clip(light, -10.0, 2.0**20)


def worst(chain, pixels, spread):
    """The largest difference in ten-bit codes, and after a search around the worst pixels."""
    runner = Runner(chain)

    def off(values):
        return 1023 * np.abs(runner.run(values) - evaluate(chain, values)).max(axis=-1)

    rng = np.random.default_rng(5)
    found = off(pixels)
    for scale in (1.0, 0.3, 0.1, 0.03, 0.01):
        best = np.argsort(found)[-32:]
        moved = spread(np.repeat(pixels[best], 8, axis=0), scale, rng)
        pixels, found = (
            np.concatenate([pixels[best], moved]),
            np.concatenate([found[best], off(moved)]),
        )
    return found.max()


def in_codes(values, scale, rng):
    return values + 0.05 * scale * rng.standard_normal(values.shape)


def in_light(values, scale, rng):
    moved = values * 2.0 ** (scale * rng.standard_normal(values.shape))
    return np.clip(moved, -10.0, 2.0**20)


@compiled
@pytest.mark.parametrize("kind", KINDS, ids=kind_name)
@settings(max_examples=8)
@given(data=st.data())
def test_every_kind_is_within_a_tenth_of_a_code_on_any_codes(kind, data):
    chain = chain_of(data.draw(nodes(kind)))
    assert is_compiled(chain)
    seed = data.draw(st.integers(0, 2**31))
    pixels = codes_between(-0.5, 1.5, 3000, seed)
    assert worst(chain, pixels, in_codes) <= 0.1
    off = np.abs(evaluator(chain)(pixels) - evaluate(chain, pixels))
    assert 1023 * off.max() <= 1e-5


@compiled
@pytest.mark.parametrize("kind", KINDS, ids=kind_name)
@settings(max_examples=8)
@given(data=st.data())
def test_every_kind_is_within_a_tenth_of_a_code_on_any_light(kind, data):
    chain = chain_of(data.draw(nodes(kind)), "ACEScg")
    pixels = light_of_all_kinds(3000, data.draw(st.integers(0, 2**31)))
    assert worst(chain, pixels, in_light) <= 0.1
    off = np.abs(evaluator(chain)(pixels) - evaluate(chain, pixels))
    assert 1023 * off.max() <= 1e-5


@compiled
@pytest.mark.parametrize("name", [one for one in encodings() if not encodings()[one].scene_linear])
def test_every_camera_is_within_a_tenth_of_a_code(name):
    chain = (InputTransform(encoding(name)), *chain_of(FilmPrint())[1:])
    assert worst(chain, codes_between(-0.5, 1.5, 3000, 3), in_codes) <= 0.1


@compiled
@pytest.mark.parametrize("name", outputs())
def test_every_output_is_within_a_tenth_of_a_code(name):
    target = output(name)
    chain = (
        InputTransform(encoding("LogC4")), *FilmPrint().ops_for(target), OutputTransform(target)
    )  # fmt: skip
    assert worst(chain, codes_between(-0.5, 1.5, 3000, 4), in_codes) <= 0.1


def measured_camera():
    """A camera whose curve is known by points, three stops apart."""
    points = ((0.1, 0.0), (0.25, 0.02), (0.4, 0.18), (0.6, 1.0), (0.8, 4.0), (1.0, 12.0))
    return InputTransform(replace(encoding("LogC4"), curve=Points(points=points)))


def matched_camera(stage=None):
    """A camera of unknown encoding, with as many slopes as `lookkit match` fits."""
    slopes = np.exp(np.random.default_rng(3).normal(0.0, 0.3, KNOTS))
    curve = MatchCurve("B", ToneCurve(top=1.0, slopes=tuple(slopes)))
    matrix = ((0.9, 0.08, 0.02), (0.05, 0.9, 0.05), (0.02, 0.1, 0.88))
    return curve, MatchColours("B", matrix, stage)


@compiled
@pytest.mark.parametrize(
    "first",
    [
        (measured_camera(),),
        matched_camera(),
        matched_camera(
            (
                ((1.02, -0.01, 0.0), (0.02, 0.97, 0.0), (0.0, 0.03, 0.98)),
                ((0.05, -0.02, 0.01), (0.02, 0.03, -0.05), (0.0, 0.04, 0.02)),
            )
        ),
    ],
    ids=["points", "match", "match with a colour stage"],
)
def test_measured_and_matched_cameras_are_one_program_within_a_tenth_of_a_code(first):
    chain = (*first, *chain_of(FilmPrint())[1:])
    assert len(parts_of(chain)) == 1
    assert worst(chain, codes_between(-0.5, 1.5, 3000, 3), in_codes) <= 0.1


def wearing(name):
    text = (
        f'schema = 1\nname = "x"\nextends = "{name}"\n[cameras.A]\nencoding = "S-Log3/S-Gamut3"\n'
        '[cameras.L]\nencoding = "ACES2065-1"\n[outputs.tv]\noutput = "Rec.709 BT.1886"\n'
        '[outputs.hdr]\noutput = "Rec.2100 PQ 1000"\n'
    )
    return Look(parse_recipe(text), text)


@compiled
@pytest.mark.parametrize("shown", ["tv", "hdr"])
@pytest.mark.parametrize("name", shipped_looks())
def test_every_shipped_look_is_within_a_tenth_of_a_code(name, shown):
    assert load_shipped(name)
    graph = wearing(name).graph
    codes = codes_between(-0.5, 1.5, 8000, 6)
    assert worst(graph.chain("A", shown), codes, in_codes) <= 0.1
    assert worst(graph.chain("L", shown), light_of_all_kinds(8000, 7), in_light) <= 0.1


@compiled
def test_what_is_not_finite_and_what_is_huge_comes_out_as_the_exact_graph_has_it():
    look = wearing("warm-print")
    strange = np.array([
        [np.nan, 0.4, 0.4], [np.inf, np.inf, np.inf], [-np.inf, 0.2, 0.5], [8.0, 8.0, 8.0],
        [1e30, 0.5, 0.5], [1e300, 1e300, 1e300], [-1e30, -1e30, -1e30], [50.0, 0.0, 0.0],
    ])  # fmt: skip
    for camera in ("A", "L"):
        exact = look.evaluate(strange, camera=camera, output="tv")
        for kind in (np.float32, np.float64):
            with np.errstate(over="ignore"):
                given_ = strange.astype(kind)
            found = look.apply(given_, camera=camera, output="tv")
            assert np.isfinite(found).all()
            assert 1023 * np.abs(found - exact).max() <= 0.1
    assert look.apply(strange[3:4], camera="A", output="tv").min() > 0.9


@compiled
def test_pixels_come_out_alike_in_any_company():
    """Strips, tiles and neighbours change no bit."""
    chain = wearing("warm-print").graph.chain("A", "tv")
    runner = Runner(chain)
    pixels = codes_between(-0.2, 1.2, 70000, 8).astype(np.float32)
    whole = runner.run(pixels)
    for start, stop in ((0, 1), (5, 1030), (65535, 65538), (69000, 70000)):
        np.testing.assert_array_equal(runner.run(pixels[start:stop]), whole[start:stop])


def test_without_compiled_kernels_numpy_gives_the_same(monkeypatch):
    chain = wearing("lamp-night").graph.chain("A", "tv")
    pixels = codes_between(-0.2, 1.2, 500, 9)
    engine.library.cache_clear()
    monkeypatch.setenv(engine.SWITCH, "numpy")
    try:
        assert engine.name() == "numpy"
        found = Runner(chain).run(pixels)
    finally:
        engine.library.cache_clear()
    np.testing.assert_array_equal(found, evaluate(chain, pixels).astype(np.float32))


def test_kernels_of_other_sources_are_not_taken(monkeypatch):
    engine.library.cache_clear()
    monkeypatch.setattr(engine, "source_hash", lambda: "another")
    try:
        assert engine.library() is None
    finally:
        engine.library.cache_clear()


def test_a_formula_that_branches_on_its_values_is_refused():
    def branching(r, g, b, p: Affine):
        return (r if r > 0.0 else g), g, b

    from lookkit.kernel.formula import Formula

    with pytest.raises(TypeError, match="must not branch"):
        list(kernels(Formula("branching", branching, ())))


def test_every_formula_is_written_for_both_precisions():
    for one in FORMULAS.values():
        names = [name for name, _ in kernels(one)]
        assert len(names) == 2 * max(len(one.lengths), 1)
        assert all(text.count("EXPORT void") == 1 for _, text in kernels(one))


def test_lists_are_filled_up_to_the_next_length_that_is_compiled():
    assert padded([1, 2, 3], 0, (4, 8)) == (1, 2, 3, 0)
    assert padded([1] * 9, 0, (4, 8)) == (1,) * 9


def test_a_node_with_more_bands_than_were_compiled_still_runs():
    from lookkit.nodes.hue_bands import HueBands

    node = HueBands(bands=[{"centre": 20.0 * k, "turn": 1.0} for k in range(18)])
    pixels = codes_between(0.0, 1.0, 300, 2)
    chain = chain_of(node)
    assert 1023 * np.abs(Runner(chain).run(pixels) - evaluate(chain, pixels)).max() <= 0.1


def test_programs_of_one_slot_see_only_their_own_light():
    call = Call(FORMULAS["affine"], Affine(((2.0, 0, 0), (0, 2.0, 0), (0, 0, 2.0)), (0, 0, 0)))
    light = codes_between(0, 1, 10, 1)
    np.testing.assert_array_equal(numpy_engine.run((call,), light), 2.0 * light)


@pytest.mark.parametrize(
    "out",
    [np.empty((4, 3)), np.empty((3, 4), np.float32).T, np.empty((5, 3), np.float32)],
    ids=["float64", "not contiguous", "another shape"],
)
def test_an_array_that_cannot_be_filled_is_refused(out):
    with pytest.raises(ValueError, match="expected a C-contiguous float32 array"):
        Runner(chain_of(FilmPrint())).run(np.zeros((4, 3)), out=out)
