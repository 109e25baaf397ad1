"""Whole pictures with texture, from a camera's codes to an output's signal."""

import numpy as np
import pytest

import lookkit
from lookkit.kernel import engine as kernels
from lookkit.texture import compiled, engine
from lookkit.texture.engine import Textured
from lookkit.texture.granularity import sigma_of_pixel

PLACE = {"camera": "A", "output": "monitor"}
RECIPE = """
schema = 1
name = "Textured"
extends = "{base}"
[cameras.A]
encoding = "LogC4"
[outputs.monitor]
output = "{output}"
{rest}
"""


def look(rest="[texture]", base="plain-print", output="Rec.709 BT.1886"):
    return lookkit.loads(RECIPE.format(base=base, output=output, rest=rest))


NOTHING = "[texture]\nhalation = 0.0\nsoftness = 10000.0\nedge = 0.0\ngranularity = 0.0"


def photograph(height=70, width=90, seed=0):
    """Codes that are smooth, with edges, and noise."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width]
    ways = (np.sin(x / 17 + c) + np.cos(y / 11 - c) for c in range(3))
    codes = 0.35 + 0.1 * np.stack([*ways], axis=-1) + 0.01 * rng.standard_normal((height, width, 3))
    codes[height // 3 : height // 2, width // 4 : width // 2] += 0.2
    return codes.astype(np.float32)


@pytest.mark.parametrize("base", ["plain-print", "warm-print", "soft-grey"])
def test_a_texture_of_nothing_is_the_plain_look(base):
    codes = np.concatenate([photograph(), np.random.default_rng(1).random((70, 90, 3))])
    codes = codes.astype(np.float32)
    one = look(NOTHING, base)
    assert np.abs(one.picture(codes, **PLACE) - one.apply(codes, **PLACE)).max() * 1023 < 0.1


def test_amount_zero_and_no_table_are_the_plain_look():
    codes = photograph()
    plain = look("").apply(codes, **PLACE)
    assert (look("[texture]\namount = 0.0").picture(codes, **PLACE) == plain).all()
    assert (look().without_texture().picture(codes, **PLACE) == plain).all()
    without = lookkit.loads(
        RECIPE.format(base="", output="sRGB", rest="").replace('extends = ""', "")
    )
    assert not without.has_texture("monitor")


def test_a_part_of_a_picture_has_the_wholes_grain():
    codes = np.full((60, 60, 3), 0.28, np.float32)
    textured = look("[texture]\nhalation = 0.0\nsoftness = 10000.0").textured("A", "monitor")
    large = np.full((60, 1920, 3), 0.28, np.float32)
    part = textured.apply(codes, whole=1920)
    assert (part == textured.apply(large)[:, :60]).all()


@pytest.mark.parametrize("like", ["gentle", "strong"])
def test_bands_change_no_bit(like, monkeypatch):
    codes = photograph(131, 97)
    one = look(f'[texture]\nlike = "{like}"\ngate = 2.0')
    whole = one.picture(codes, **PLACE, shot="A001", frame=5)
    monkeypatch.setattr(engine, "_BAND", 1)
    assert (one.picture(codes, **PLACE, shot="A001", frame=5) == whole).all()


def test_the_same_frame_is_the_same_and_another_is_not():
    codes = photograph()
    one = look().picture(codes, **PLACE, shot="A001", frame=5)
    assert (look().picture(codes, **PLACE, shot="A001", frame=5) == one).all()
    for other in ({"shot": "A001", "frame": 6}, {"shot": "A002", "frame": 5}):
        assert (look().picture(codes, **PLACE, **other) != one).mean() > 0.5


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (3, 1), (17, 33), (101, 7)])
def test_pictures_of_any_size_come_out_whole(shape):
    codes = photograph(120, 120)[: shape[0], : shape[1]]
    made = look().picture(np.ascontiguousarray(codes), **PLACE)
    assert made.shape == codes.shape
    assert np.isfinite(made).all()
    assert made.min() >= 0.0
    assert made.max() <= 1.0


def test_one_nan_leaves_the_rest_of_the_picture_alone():
    codes = photograph()
    clean = codes.copy()
    codes[30, 40] = np.nan
    clean[30, 40] = 0.0  # NaN counts as code 0
    assert (look().picture(codes, **PLACE) == look().picture(clean, **PLACE)).all()
    codes[30, 40] = [np.inf, -np.inf, 0.3]
    assert np.isfinite(look().picture(codes, **PLACE)).all()


def test_numpy_draws_the_same_picture(monkeypatch):
    codes = photograph(40, 50)
    fast = look().picture(codes, **PLACE, frame=2)
    with monkeypatch.context() as without:
        without.setenv(kernels.SWITCH, "numpy")
        kernels.library.cache_clear()
        compiled.library.cache_clear()
        slow = look().picture(codes, **PLACE, frame=2)
    kernels.library.cache_clear()
    compiled.library.cache_clear()
    assert np.abs(fast - slow).max() * 1023 < 0.1


def patch(rest, codes, frames, base="plain-print"):
    """The texture of a 96 x 96 patch of a picture 1920 pixels wide: mean of each frame."""
    one = look(rest, base)
    numbers = one.recipe.texture.numbers
    numbers = numbers._replace(gate=numbers.gate * 96 / 1920)
    textured = Textured(one.graph.chain("A", "monitor"), numbers)
    picture = np.broadcast_to(np.array(codes, np.float32), (96, 96, 3))
    plain = one.apply(picture[:1, :1], **PLACE)[0, 0].astype(float)
    made = [textured.apply(picture, shot="A", frame=n).astype(float) for n in range(frames)]
    return plain, np.array([one.mean(axis=(0, 1)) for one in made]), made[0].std(axis=(0, 1))


GREY, SKIN, BLUE = (0.278, 0.278, 0.278), (0.33, 0.28, 0.24), (0.15, 0.17, 0.28)


@pytest.mark.parametrize("codes", [SKIN, BLUE])
def test_grain_casts_no_colour(codes):
    # 256 frames of 96 x 96: the mean's own chance is about .05 code.
    plain, means, sigma = patch('[texture]\nlike = "strong"', codes, 256)
    assert sigma.min() * 1023 > 3
    assert np.abs(means.mean(axis=0) - plain).max() * 1023 < 0.3


def test_the_mean_of_a_frame_flickers_no_more_than_chance_sets():
    _, means, sigma = patch("[texture]", GREY, 64)
    # Pixels that are alike beyond their neighbours count as fewer: 1.7 at these pixels at the most.
    floor = sigma / 96 * 1.7
    assert (means.std(axis=0) < 3 * floor).all()


def test_the_signals_grain_is_the_negatives_through_the_prints_slope():
    rest = "[texture]\nhalation = 0.0\nedge = 0.0\ngranularity = {}"
    _, _, sigma = patch(rest.format("[0.0, 3.0, 0.0]"), GREY, 1)
    pixel = 24.89 * 1000 / 1920
    one = look()
    densities = one.textured("A", "monitor")._densities
    film = one.graph.rendering("monitor")[0].numbers
    at = -densities.low * densities.per
    step = 0.05
    slope = (densities.read(np.array([at, at + step, at]))[1]
             - densities.read(np.array([at, at - step, at]))[1]) / (2 * step)  # fmt: skip
    share = np.interp(film.negative_grey, *np.array(one.recipe.texture.numbers.by_density).T)
    wanted = abs(slope) * densities.per * sigma_of_pixel(3.0, 1.8, pixel, pixel) * share
    assert sigma[1] == pytest.approx(wanted, rel=0.05)


def test_black_and_white_stays_neutral():
    made = look(base="soft-grey").picture(photograph(), **PLACE)
    # Each channel may be a tenth of a code off, as everywhere.
    assert np.ptp(made, axis=-1).max() * 1023 < 0.2


def test_a_high_range_output_has_texture_too():
    one = look("[texture]\ngate = 2.0", output="Rec.2100 PQ 1000")
    codes = photograph()
    made = one.picture(codes, **PLACE)
    plain = one.apply(codes, **PLACE)
    assert 1 < (made - plain).std() * 1023 < 40


@pytest.mark.parametrize("aspect", [0.5, 2.0])
def test_anamorphic_pixels_have_the_texture_of_the_picture_as_shown(aspect):
    # A wide picture of square pixels, and the same squeezed: both boxed to the same squares.
    rng = np.random.default_rng(4)
    coarse = 0.3 + 0.12 * rng.random((24, 24, 3), dtype=np.float32)
    shown = coarse.repeat(16, axis=0).repeat(16, axis=1)
    axis = 1 if aspect > 1 else 0
    squeezed = shown.reshape((384, 192, 2, 3) if axis else (192, 2, 384, 3)).mean(axis=axis + 1)
    rest = "[texture]\ngate = 3.0\ngranularity = {}"
    place = {**PLACE, "shot": "A"}
    smooth = look(rest.format("0.0"))
    wanted = smooth.picture(shown, **place)
    wanted = wanted.reshape((384, 192, 2, 3) if axis else (192, 2, 384, 3)).mean(axis=axis + 1)
    found = smooth.picture(squeezed, **place, aspect=aspect)
    plain = smooth.apply(squeezed, **PLACE)
    away = np.abs(wanted - plain)
    # A third of what texture does is the filters' own, for coarse pixels hold less detail.
    assert np.sqrt(((found - wanted) ** 2).mean()) < 0.35 * np.sqrt((away**2).mean())
    squared = smooth.picture(squeezed, **place)
    assert np.abs(found - wanted).mean() < np.abs(squared - wanted).mean()
    grain, flat = look(rest.format("20.0")), np.full((384, 384, 3), 0.278, np.float32)
    drawn = grain.picture(flat, **place)
    drawn = drawn.reshape((384, 192, 2, 3) if axis else (192, 2, 384, 3)).mean(axis=axis + 1)
    other = grain.picture(drawn * 0 + np.float32(0.278), **place, aspect=aspect)
    assert other.std(axis=(0, 1)) == pytest.approx(drawn.std(axis=(0, 1)), rel=0.06)


def test_the_same_shot_at_twice_the_pixels_looks_the_same():
    # 240 pixels of a wide picture, and the same at 480, boxed: power of what grain adds, by band.
    numbers = look().recipe.texture.numbers._replace(halation=(0.0, 0.0, 0.0))
    one = look()

    def grains(width):
        gate = numbers.gate * 240 / 1920
        textured = Textured(one.graph.chain("A", "monitor"), numbers._replace(gate=gate))
        codes = np.full((width, width, 3), 0.278, np.float32)
        plain = one.apply(codes[:1, :1], **PLACE)
        return [textured.apply(codes, frame=n) - plain for n in range(6)]

    def power(pictures):
        waves = np.mean([np.abs(np.fft.fft2(p[..., 1])) ** 2 for p in pictures], axis=0)
        frequency = np.hypot(*np.meshgrid(np.fft.fftfreq(240), np.fft.fftfreq(240)))
        bands = [(a, a + 0.1) for a in (0.0, 0.1, 0.2, 0.3, 0.4)]
        return np.array([waves[(frequency > a) & (frequency <= b)].mean() for a, b in bands])

    boxed = [p.reshape(240, 2, 240, 2, 3).mean(axis=(1, 3)) for p in grains(480)]
    assert power(boxed) == pytest.approx(power(grains(240)), rel=0.10)
