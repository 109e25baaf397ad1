"""Between the points of a sampled LUT stands the look that it was sampled from."""

import numpy as np

from lookkit.accuracy.samples import image_like
from lookkit.adopt.between import between_points
from lookkit.adopt.chain import Chain
from lookkit.adopt.parts import FILM
from lookkit.adopt.source import open_source
from lookkit.evaluate import evaluate
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

    between = between_points(source, close, scene)
    read = source.light.lab(source.signal(source.code(scene)))
    off = [np.linalg.norm(one - true, axis=1).mean() for one in (between.lab(scene), read)]
    assert off[0] < 0.2 * off[1]


def test_a_lut_that_is_right_between_its_points_is_left_as_it_is(tmp_path):
    look = known_look()
    source = open_source(bake_look(tmp_path / "look.cube", look, 17), "LogC4", SHOWN)
    scene = source.scene(source.code(image_like(np.random.default_rng(2), 2000)))
    # Steps that are the LUT as it is read: no look bends more than it.
    assert between_points(source, lambda light: source.signal(source.code(light)), scene) is None


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
