"""Between the points of a sampled LUT stands the look that it was sampled from."""

import numpy as np

from lookkit.accuracy.samples import image_like
from lookkit.adopt import grow
from lookkit.adopt.between import between_points
from lookkit.adopt.chain import Chain
from lookkit.adopt.colours import fitted_colours
from lookkit.adopt.grow import Grown
from lookkit.adopt.parts import (
    CDL,
    COMPRESS,
    DEPTH,
    EXPOSURE,
    FILM,
    HUE_BANDS,
    LIT_BANDS,
    MATRIX,
    SATURATION,
    TINT,
    TONE,
)
from lookkit.adopt.run import task_for
from lookkit.adopt.solve import solve
from lookkit.adopt.source import open_source
from lookkit.adopt.text import recipe_text
from lookkit.evaluate import evaluate
from lookkit.look import loads
from lookkit.spaces.outputs import output
from tests.adopt.sources import bake_look, known_look

SHOWN = "Rec.709 BT.1886"


def test_steps_close_to_a_look_tell_what_a_sampled_lut_loses_of_it(tmp_path):
    look = known_look()
    source = open_source(bake_look(tmp_path / "look.cube", look, 17), "LogC4", SHOWN)
    steps = look.graph.chain("A", "main")[1:]
    scene = source.scene(source.code(image_like(np.random.default_rng(2), 2000)))
    true = source.light.lab(evaluate(steps, scene))

    def close(light):
        # Steps that miss the look a little, as a fit does.
        return 0.99 * evaluate(steps, light)

    between = between_points(source, close)
    read = source.light.lab(source.signal(source.code(scene)))
    off = [np.linalg.norm(one - true, axis=1).mean() for one in (between.lab(scene), read)]
    assert off[0] < 0.2 * off[1]


def test_a_sampled_lut_is_seen_by_how_much_closer_steps_come_to_it(tmp_path):
    source = open_source(bake_look(tmp_path / "look.cube", known_look(), 17), "LogC4", SHOWN)
    plain = task_for(source, fitted_colours(source), grey_only=False)
    chain = Chain("film-print", (*FILM, SATURATION), plain.shown)
    found = solve(chain, chain.plain, plain.wanted, 6)
    as_read = Grown(found, plain.error(found))
    task, closer = grow._nearer(plain, plain, as_read, grow._CLOSER)
    assert task.between is not None
    assert closer.error.score < 0.3 * as_read.error.score


def test_a_chain_does_what_its_recipe_does():
    parts = [*FILM, CDL, EXPOSURE, MATRIX, SATURATION, COMPRESS, *HUE_BANDS, *LIT_BANDS, TONE, TINT,
             DEPTH]  # fmt: skip
    chain = Chain("film-print", parts, output(SHOWN))
    values = chain.plain + 0.2 * chain.usual * np.resize([1.0, -0.6, 0.3], len(chain))
    steps, rendering = chain.tables(values, {})
    text = recipe_text("any", {"A": {"encoding": "LogC4"}}, {"output": SHOWN}, steps, rendering,
                       parts, [])  # fmt: skip
    scene = image_like(np.random.default_rng(4), 500)
    shown = loads(text).graph.chain("A", "main")[1:]
    np.testing.assert_allclose(chain.signal(values, scene), evaluate(shown, scene), atol=2e-4)


def test_a_print_that_would_be_too_steep_has_its_lights_lowered_until_it_is_one():
    chain = Chain("film-print", FILM, output(SHOWN))
    names = [name for _, name in chain.names]
    values = chain.plain.copy()
    values[names.index("contrast")], values[names.index("highlights")] = 1.47, 0.40
    found = chain.within(values)
    assert chain.can_be_shown(found)
    changed = found != values
    assert [name for name, one in zip(names, changed, strict=True) if one] == ["highlights"]
    assert 0.12 < found[names.index("highlights")] < 0.40
    np.testing.assert_array_equal(chain.within(chain.plain), chain.plain)
