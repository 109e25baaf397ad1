"""The bounded way: whatever it serves is within one code of the exact graph."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import lookkit
from lookkit.bounded import Lattice, available, grade_packed, grade_planes
from lookkit.media.coding import Coding

pytestmark = pytest.mark.skipif(not available(), reason="built without its compiled part")

SAME = np.eye(3), np.zeros(3)
LOOKS = ("warm-print", "lamp-night", "wide-landscape")
CAMERAS = ("LogC4", "S-Log3/S-Gamut3.Cine", "BT.709 camera")


@pytest.fixture(scope="module")
def workers():
    with ThreadPoolExecutor(2) as pool:
        yield pool


@pytest.fixture(scope="module")
def graded():
    """The exact graph of a look for a camera, as a function that counts its pixels."""
    made = {}

    def function(name, encoding):
        key = name, encoding
        if key not in made:
            made[key] = lookkit.loads(
                f'schema = 1\nname = "x"\nextends = "{name}"\n'
                f'[cameras.A]\nencoding = "{encoding}"\n'
                '[outputs.monitor]\noutput = "Rec.709 BT.1886"\n'
            )
        look = made[key]
        return lambda rgb: look.evaluate(rgb, camera="A", output="monitor")

    return function


def noisy(colours, spread, count, seed):
    """Pixels around some colours, with noise, in 10-bit codes."""
    random = np.random.default_rng(seed)
    pixels = np.repeat(np.array(colours), -(-count // len(colours)), axis=0)[:count]
    pixels = pixels + random.normal(0.0, spread, pixels.shape)
    return (np.rint(pixels * 1023) / 1023).astype(np.float32)


def through(lattice, pixels, workers):
    """What the bounded way gives, and how many pixels of a second time go through the function."""
    found = grade_packed(lattice, pixels, workers)
    counted, function = [], lattice.grade

    def counting(rgb):
        counted.append(len(rgb))
        return function(rgb)

    lattice.grade = counting
    np.testing.assert_array_equal(grade_packed(lattice, pixels, workers), found)
    lattice.grade = function
    return found, sum(counted)


code = st.floats(-0.05, 1.05)


@settings(max_examples=12)
@given(
    look=st.sampled_from(LOOKS),
    camera=st.sampled_from(CAMERAS),
    bits=st.sampled_from((8, 10, 12, 16)),
    colours=st.lists(st.tuples(code, code, code), min_size=1, max_size=2),
    spread=st.floats(0.0, 0.02),
    seed=st.integers(0, 1000),
)
def test_noisy_pictures_are_within_one_code(
    graded, workers, look, camera, bits, colours, spread, seed
):
    function = graded(look, camera)
    pixels = noisy(colours, spread, 1500, seed)
    lattice = Lattice(function, SAME, SAME, 2**bits - 1)
    found, _ = through(lattice, pixels, workers)
    assert np.abs(found - function(pixels)).max() * (2**bits - 1) <= 1.0


# A coarse lattice has fewer good cells, but they must be as good.
@pytest.mark.parametrize("camera", CAMERAS)
@pytest.mark.parametrize(("look", "bits"), [("warm-print", 8), ("lamp-night", 10)])
def test_random_codes_through_a_coarse_lattice_are_within_one_code(
    graded, workers, look, camera, bits
):
    function = graded(look, camera)
    pixels = np.random.default_rng(3).random((100_000, 3), dtype=np.float32)
    lattice = Lattice(function, SAME, SAME, 2**bits - 1, shape=(41, 29, 29))
    found, exact = through(lattice, pixels, workers)
    assert np.abs(found - function(pixels)).max() * (2**bits - 1) <= 1.0
    assert 0 < exact < len(pixels)


def test_most_of_a_noisy_picture_is_served_by_the_lattice(graded, workers):
    function = graded("warm-print", "LogC4")
    pixels = noisy([(0.4, 0.35, 0.3), (0.25, 0.3, 0.4)], 0.004, 20_000, 1)
    lattice = Lattice(function, SAME, SAME, 1023)
    found, exact = through(lattice, pixels, workers)
    assert exact < 0.02 * len(pixels)
    assert np.abs(found - function(pixels)).max() * 1023 <= 1.0


def test_a_picture_does_not_depend_on_what_was_graded_before(graded, workers):
    function = graded("warm-print", "LogC4")
    pictures = [noisy([(0.4, 0.35, 0.3)], 0.01, 4000, seed) for seed in range(3)]
    lattice = Lattice(function, SAME, SAME, 1023)
    in_order = [through(lattice, picture, workers)[0] for picture in pictures]
    lattice = Lattice(function, SAME, SAME, 1023)
    turned = [through(lattice, picture, workers)[0] for picture in pictures[::-1]]
    for one, other in zip(in_order, turned[::-1], strict=True):
        np.testing.assert_array_equal(one, other)


def test_what_lies_outside_the_lattice_goes_through_the_function(workers):
    pixels = np.array(
        [[np.nan, 0.5, 0.5], [np.inf, 0.5, 0.5], [-np.inf, 0, 0], [1.2, 1.2, 1.2], [-0.1] * 3,
         [1.4, 0.1, 0.3], [1e30, 0, 0]], dtype=np.float32,
    )  # fmt: skip
    lattice = Lattice(lambda rgb: rgb + np.float32(7.0), SAME, SAME, 255)
    found, exact = through(lattice, pixels, workers)
    np.testing.assert_array_equal(found, pixels + np.float32(7.0))
    assert exact == len(pixels)


@pytest.mark.parametrize("place", [0.31, 0.5, 0.77])
def test_cells_with_a_step_or_a_nan_are_not_served(workers, place):
    pixels = np.random.default_rng(2).random((50_000, 3), dtype=np.float32)

    def step(rgb):
        out = np.array(rgb, dtype=np.float64)
        out[:, 1] = np.where(rgb.sum(axis=-1) > 3 * place, 0.8, 0.2)
        out[rgb[:, 0] > 0.95] = np.nan
        return out

    lattice = Lattice(step, SAME, SAME, 1023, shape=(41, 29, 29))
    found, _ = through(lattice, pixels, workers)
    wanted = step(pixels)
    np.testing.assert_array_equal(np.isnan(found), np.isnan(wanted))
    assert np.nanmax(np.abs(found - wanted)) * 1023 <= 1.0


def test_planes_are_graded_as_floats_are(graded, workers):
    function = graded("warm-print", "LogC4")
    coding = Coding("bt709", "legal", 10)
    rows, offset = coding.to_rgb()
    back, zero = coding.from_rgb()
    pixels = np.clip(noisy([(0.4, 0.35, 0.3), (0.7, 0.2, 0.3)], 0.01, 6000, 4), 0.1, 0.9)
    coded = np.rint((pixels @ back.T + zero) * 65535).astype(np.uint16).reshape(60, 100, 3)
    source = tuple(np.ascontiguousarray(np.pad(coded[..., k], ((0, 0), (0, 28)))) for k in range(3))
    made = tuple(np.zeros((60, 104), np.uint16) for _ in range(3))
    lattice = Lattice(
        function, (rows / 65535, offset), (back * 65535, zero * 65535), coding.top
    )  # fmt: skip
    code = (coded.reshape(-1, 3) / 65535) @ rows.T + offset

    grade_planes(lattice, source, made, 100, workers)
    wanted = function(code) @ back.T + zero
    found = np.stack([plane[:, :100] for plane in made], axis=-1).reshape(-1, 3) / 65535
    # Chroma of legal range spans 224 codes where R'G'B' spans 219.
    assert np.abs(found - wanted).max() * 65535 / 64 <= 224 / 219
    assert all((plane[:, 100:] == 0).all() for plane in made)


def test_planes_that_do_not_fit_are_refused():
    lattice = Lattice(lambda rgb: rgb, SAME, SAME, 255)
    good = tuple(np.zeros((4, 8), np.uint16) for _ in range(3))
    for bad, width in (
        ((good[0], good[1], np.zeros((4, 9), np.uint16)), 8),
        (tuple(np.zeros((4, 16), np.uint16)[:, ::2] for _ in range(3)), 8),
        (tuple(np.zeros((4, 8), np.float32) for _ in range(3)), 8),
        (tuple(np.zeros((5, 8), np.uint16) for _ in range(3)), 8),
        (good, 9),
    ):
        with pytest.raises(ValueError, match=r"planes|rows"):
            lattice.read_planes(bad, good, width)
    with pytest.raises(ValueError, match="float32"):
        lattice.read_packed(np.zeros((2, 3)), np.zeros((2, 3), np.float32))
