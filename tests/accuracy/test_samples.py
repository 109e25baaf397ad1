"""The audited sets, and what they share with photographs."""

import numpy as np
import pytest

from lookkit.accuracy.samples import (
    AUDIT_SEED,
    FIT_SEED,
    SET_SIZES,
    audit_sets,
    image_like,
    saturated_emitters,
    skin,
    to_code,
)
from lookkit.spaces.level import luminance
from lookkit.spaces.outputs import output
from lookkit.spaces.primaries import AP0, AP1, between
from lookkit.spaces.working import MID_GREY
from tests.lattice.graphs import LOGC4, SLOG3

BT709_TO_AP1 = between(output("Rec.709 BT.1886").limiting, AP1, "bradford")


@pytest.mark.parametrize("space", [LOGC4, SLOG3])
def test_every_set_is_codes_in_range(space):
    sets = audit_sets(space)
    assert {name: len(code) for name, code in sets.items()} == SET_SIZES
    for code in sets.values():
        assert np.isfinite(code).all()
        assert code.min() >= 0.0
        assert code.max() <= 1.0


def test_the_sets_repeat_and_the_seeds_differ():
    first, again = audit_sets(LOGC4), audit_sets(LOGC4, AUDIT_SEED)
    other = audit_sets(LOGC4, FIT_SEED)
    for name in SET_SIZES:
        np.testing.assert_array_equal(first[name], again[name])
        if name != "neutral-ramp":
            assert not np.isin(first[name][:, 0], other[name][:, 0]).mean() > 0.2


def test_emitters_span_all_hues_and_twelve_stops():
    scene = saturated_emitters(np.random.default_rng(0), 20000)
    stops = np.log2(scene.max(axis=1) / MID_GREY)
    assert stops.min() == pytest.approx(-6.0, abs=0.01)
    assert stops.max() == pytest.approx(6.0, abs=0.01)
    saturation = 1.0 - scene.min(axis=1) / scene.max(axis=1)
    assert saturation.min() >= 0.6 - 1e-9
    for channel in range(3):
        assert 0.2 < (scene.argmax(axis=1) == channel).mean() < 0.5


def test_skin_is_warm_and_spans_deep_to_light():
    # Lighter skin about a stop over grey, deeper at or below (common practice, no source).
    scene = skin(np.random.default_rng(0), 20000)
    assert (scene[:, 0] > scene[:, 1]).mean() > 0.99
    assert (scene[:, 1] > scene[:, 2]).mean() > 0.99
    low, high = np.quantile(np.log2(luminance(scene) / MID_GREY), (0.05, 0.95))
    assert low < -2.0
    assert high > 0.5


@pytest.fixture(scope="module")
def photographs(shared_data):
    oiio = pytest.importorskip("OpenImageIO")
    to_ap1 = {"Carrots.exr": between(AP0, AP1, "none"), "Desk.exr": BT709_TO_AP1}
    scenes = []
    for name, matrix in to_ap1.items():
        pixels = oiio.ImageBuf(str(shared_data / "exr" / name)).get_pixels(oiio.FLOAT)
        scenes.append(pixels[..., :3].reshape(-1, 3).astype(np.float64)[::37] @ matrix.T)
    return scenes


def test_image_like_colours_spread_as_photographs_do(photographs):
    # Source: Carrots.exr and Desk.exr of the OpenEXR images: quantiles of luminance and
    # of log ratios of the drawn set lie within what the two show, with some slack.
    def spread(scene):
        scene = scene[luminance(scene) > 1e-3]
        logs = np.log(np.maximum(scene, 1e-5))
        red_green = logs[:, 0] - logs[:, 1]
        blue_yellow = logs[:, 2] - 0.5 * (logs[:, 0] + logs[:, 1])
        stops = np.log2(luminance(scene) / MID_GREY)
        return [np.quantile(x, 0.9) - np.quantile(x, 0.1) for x in (stops, red_green, blue_yellow)]

    drawn = spread(image_like(np.random.default_rng(0), 40000))
    real = [spread(scene) for scene in photographs]
    for axis, found in enumerate(drawn):
        values = [one[axis] for one in real]
        assert 0.5 * min(values) < found < 1.5 * max(values)


def test_to_code_holds_what_a_file_holds():
    scene = np.array([[1e9] * 3, [-1e9] * 3, [np.nan, 0.0, 0.0], [0.18] * 3])
    code = to_code(LOGC4, scene)
    assert code[:2].tolist() == [[1.0] * 3, [0.0] * 3]
    assert np.isfinite(code[2]).all()
    # Mid-grey of LogC4: .278396 (maker's formula).
    assert code[3] == pytest.approx([0.278396] * 3, abs=1e-6)
