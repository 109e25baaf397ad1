"""The grain field: its random numbers, its likeness and its deviation."""

from copy import copy
from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import fftconvolve

from lookkit.look import loads
from lookkit.texture import grain
from lookkit.texture.film import Grain, print_of
from lookkit.texture.grain import UNIT, Field, field_taps, philox, shot_key
from lookkit.texture.granularity import likeness, sigma_of_disc, sigma_of_pixel
from lookkit.texture.odd import POINTS

RECIPE = """
schema = 1
name = "Grain"
[cameras.A]
encoding = "LogC4"
[texture]
[outputs.monitor]
output = "Rec.709 BT.1886"
"""

# The known answers of philox4x32-10 that come with Random123 (Salmon et al. 2011), from memory.
KNOWN = (
    ((0, 0, 0, 0), (0, 0), (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)),
    ((0xFFFFFFFF,) * 4, (0xFFFFFFFF,) * 2, (0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD)),
    (
        (0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344),
        (0xA4093822, 0x299F31D0),
        (0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1),
    ),
)


def field(radius=2.4, pixel=6.5, frame=7, seed=1):
    taps = field_taps([radius] * 3, pixel)
    return Field(seed, shot_key("A001.mov"), frame, taps, taps)


@pytest.mark.parametrize(("counter", "key", "answer"), KNOWN)
def test_philox_gives_the_known_answers(counter, key, answer):
    found = philox([np.full(1, one, np.uint32) for one in counter], key)
    assert tuple(int(one[0]) for one in found) == answer


def test_any_part_in_any_order_is_equal_to_the_last_bit():
    one = field()
    whole = one.part(0, 70, 0, 90)
    for y, rows, x, width in ((40, 30, 50, 40), (0, 1, 89, 1), (13, 7, 0, 90)):
        part = one.part(y, rows, x, width)[:, :, :width]
        assert (part == whole[:, y : y + rows, x : x + width]).all()


@pytest.mark.parametrize("radius", [2.4, 60.0])
def test_numpy_gives_the_same_whole_numbers(radius):
    one = field(radius)
    made = one.part(3, 20, 5, 33)
    assert (made == one.by_numpy(3, 20, 5, made.shape[2])).all()
    assert (made == np.rint(made)).all()


def test_frames_shots_and_seeds_have_a_grain_of_their_own():
    first = field().part(0, 200, 0, 192) * UNIT
    for other in (field(frame=8), field(seed=2), replace(field(), shot=shot_key("B"))):
        likes = (first * other.part(0, 200, 0, 192) * UNIT).mean(axis=(1, 2))
        assert np.abs(likes).max() < 5 / 200  # five standard errors
    layers = (first[0] * first[1]).mean(), (first[1] * first[2]).mean()
    assert np.abs(layers).max() < 5 / 200


@pytest.mark.parametrize(("radius", "pixel"), [(2.0, 1.63), (2.4, 6.5), (2.0, 13.0), (3.0, 51.0)])
def test_neighbours_are_as_alike_as_means_of_pixels_over_the_grain(radius, pixel):
    values = field(radius, pixel).part(0, 700, 0, 704)[0] * UNIT
    assert values.std() == pytest.approx(1.0, rel=0.01)
    wanted = likeness(radius, pixel, np.array([0.0, 1.0, 2.0]))
    across = [(values[:, k:] * values[:, : 704 - k]).mean() for k in (1, 2)]
    down = [(values[k:] * values[: 700 - k]).mean() for k in (1, 2)]
    assert across == pytest.approx(wanted[1:] / wanted[0], abs=0.015)
    assert down == pytest.approx(wanted[1:] / wanted[0], abs=0.015)


@pytest.fixture(scope="module")
def fine():
    """Density around 1 of granularity 5, on pixels of 1.6 micrometres: four fields."""
    pixel = 1.6
    one = field(2.0, pixel)
    sigma = sigma_of_pixel(5.0, 2.0, pixel, pixel) * UNIT
    made = [replace(one, shot=n, frame=0).part(0, 1500, 0, 1500) for n in range(4)]
    return pixel, [planes[n % 3, :, :1500] * sigma for n, planes in enumerate(made)]


def through(values, pixel, diameter):
    """1000 sigma through a round aperture."""
    half = int(diameter / pixel / 2 + 1)
    at = (np.arange(-half, half + 1)[:, None, None] + np.linspace(-0.4, 0.4, 5)[:, None]) * pixel
    y, x = at.reshape(-1), at.reshape(-1)
    inside = (np.hypot(y[:, None], x) <= diameter / 2).reshape(2 * half + 1, 5, 2 * half + 1, 5)
    disc = inside.mean(axis=(1, 3))
    found = [fftconvolve(one, disc / disc.sum(), mode="valid") for one in values]
    return 1000 * np.sqrt(np.mean([(one**2).mean() for one in found]))


def test_a_round_aperture_measures_the_granularity_that_the_recipe_asks_for(fine):
    assert through(fine[1], fine[0], 48.0) == pytest.approx(5.0, rel=0.05)


def test_deviation_falls_as_the_root_of_the_apertures_area(fine):
    # Selwyn's law: sigma times the root of the area is constant.
    sizes = np.array([48.0, 96.0, 192.0])
    found = [through(fine[1], fine[0], one) for one in sizes]
    assert np.polyfit(np.log(sizes), np.log(found), 1)[0] == pytest.approx(-1.0, abs=0.05)
    told = [1000 * sigma_of_disc(5.0, 2.0, one) for one in sizes]
    assert found[:2] == pytest.approx(told[:2], rel=0.05)


@pytest.mark.parametrize("density", [0.3, 1.0, 1.8, 2.5])
def test_flat_patches_have_the_recipes_granularity_at_each_density(density):
    look = loads(RECIPE)
    numbers = look.recipe.texture.numbers
    _, print_ = print_of(look.graph, "monitor")
    # Instead of a print, density itself as the signal: 0-1 for -1 to 3, above the clear film.
    edge = np.linspace(print_.low, print_.high, POINTS) + print_.grey
    plain = np.stack(np.meshgrid(edge, edge, edge, indexing="ij"), axis=-1)
    seen = copy(print_)
    seen.lattice = print_.lattice.copy()
    seen.lattice[..., :3] = (plain + 1) / 4
    seen.ends = np.tile(np.array([0.0, 1.0], np.float32), (3, 1))
    assert print_.high + print_.grey > density + 0.15
    pixel, size = 1.6, 896
    patch = np.full((3, size, size), density - print_.grey, np.float32)
    signal = np.full_like(patch, (density + 1) / 4)
    Grain(seen, numbers, pixel, pixel, "A", 0).add(signal, patch, 0, size)
    made = 4 * signal.astype(float) - 1 - density
    share = np.interp(density, *np.array(numbers.by_density).T)
    found = [through([made[k]], pixel, 48.0) for k in range(3)]
    ratio = np.array(found) / (np.array(numbers.granularity) * share)
    # Three layers of 800 apertures each: chance is 1.5 % of their mean.
    assert ratio.mean() == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("by", [2, 4, 8, 16])
def test_coarser_pixels_have_the_deviation_of_fine_ones_averaged(fine, by):
    pixel, values = fine
    size = 1500 // by * by
    means = [
        one[:size, :size].reshape(size // by, by, size // by, by).mean(axis=(1, 3))
        for one in values
    ]
    found = np.sqrt(np.mean([(one**2).mean() for one in means]))
    assert found == pytest.approx(sigma_of_pixel(5.0, 2.0, pixel * by, pixel * by), rel=0.05)


# sigma_T sqrt(a) / r of random discs of radius r that cover a share u, through an aperture of area
# a: from the covariance of the Boolean model, which Newson, Delon and Galerne (2017) start from.
COVERED = ((0.1, 0.524), (0.3, 0.773), (0.5, 0.803), (0.7, 0.679), (0.9, 0.369))


@pytest.mark.parametrize(("cover", "told"), COVERED)
def test_random_discs_vary_as_their_theory_says(cover, told):
    size, radius = 1500, 7
    rng = np.random.default_rng(int(100 * cover))
    at = np.arange(-radius, radius + 1)
    disc = (np.hypot(at[:, None], at) <= radius + 0.15).astype(float)
    area, found = disc.sum(), []
    for _ in range(3):
        count = rng.poisson(-np.log(1 - cover) / area * size * size)
        place = rng.integers(0, size, (2, count))
        centres = np.zeros((size, size))
        np.add.at(centres, tuple(place), 1.0)
        wide = np.zeros((size, size))
        wide[: len(at), : len(at)] = disc
        summed = np.fft.irfft2(np.fft.rfft2(centres) * np.fft.rfft2(wide), s=(size, size))
        through_ = 1.0 - (summed > 0.5)
        waves = np.abs(np.fft.rfft2(through_ - (1 - cover))) ** 2
        covariance = np.fft.irfft2(waves, s=(size, size)) / size**2
        near = np.r_[0 : 2 * radius + 2, -2 * radius - 1 : 0]
        found.append(covariance[np.ix_(near, near)].sum())
    assert np.sqrt(np.mean(found) / (area / np.pi)) == pytest.approx(told, rel=0.05)


def test_the_units_are_those_of_five_bytes():
    # The variance of a whole number of 0-255 is (256^2 - 1) / 12.
    assert UNIT * 2 * np.sqrt(5 * (256**2 - 1) / 12) * 512 * 512 / 256 == pytest.approx(1.0)
    assert grain.shot_key("a") != grain.shot_key("b")
