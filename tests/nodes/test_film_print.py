"""The film print against figures of sensitometry, ADX and BT.2408, and against itself."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from lookkit.errors import RecipeError
from lookkit.nodes.film_curve import Aims, curve, films_for, softplus, softplus_inverse
from lookkit.nodes.film_print import ADX_CROSSTALK, FilmPrint, numbers_for
from lookkit.nodes.print_formula import fitted, print_density
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.outputs import output, outputs
from lookkit.spaces.primaries import BT709
from tests.nodes.strategies import nodes, number, scene

GREY = np.full(3, 0.18)
HDR = [name for name, made in outputs().items() if made.is_hdr]


def shown(film, rgb, name="Rec.709 BT.1886"):
    (step,) = film.ops_for(output(name))
    return step.evaluate(np.asarray(rgb, dtype=float))


def ramp(low, high, count):
    return GREY * 2.0 ** np.linspace(low, high, count)[:, None]


@given(nodes(FilmPrint))
@settings(max_examples=15)
def test_black_grey_and_the_slope_at_grey_are_what_the_recipe_says(film):
    plain = film.model_copy(
        update={"lights": 25.0, "shade": 0.0, "flare": 0.0, "push": 0.0, "filter": None}
    )
    light = shown(plain, [[0.0] * 3, GREY])[:, 1]
    np.testing.assert_allclose(-np.log10(light), [plain.black, plain.grey], atol=1e-9)
    pair = shown(plain, GREY * 10.0 ** np.array([[-1e-4], [1e-4]]))[:, 1]
    assert np.diff(np.log10(pair))[0] / 2e-4 == pytest.approx(plain.contrast, abs=1e-5)


def test_mid_grey_prints_to_ten_candelas():
    """Laboratory aim density 1.0 above D-min (H-61) passes a tenth of 100 cd/m2."""
    np.testing.assert_allclose(shown(FilmPrint(), GREY), 0.1, rtol=1e-12)


def test_the_prints_contrast_is_near_what_viewers_prefer_in_the_dark():
    """A negative of .6 by a print of about 2.5 is 1.5 (sensitometry texts: .18 D a stop on the
    negative); displays are seen in brighter rooms, and 1.2 is BT.709's own."""
    assert 1.2 <= FilmPrint().contrast <= 1.5
    films = films_for(FilmPrint().aims)
    assert films.negative.slope(0.3) * np.log10(2.0) == pytest.approx(0.18, abs=0.02)


def test_the_neutral_of_a_print_is_within_a_laboratorys_tolerance():
    """LAD control: colours within .10 D of each other (H-61); equal lights keep them equal."""
    density = -np.log10(shown(FilmPrint(), ramp(-5, 4, 40)))
    assert np.ptp(density, axis=1).max() < 1e-4


def test_six_to_eight_printer_points_cancel_one_stop():
    """Handbooks: about 6 to 8 points, by the negative's gamma; a point is 0.025 log E."""
    lights = np.linspace(28.0, 36.0, 33)
    printed = [shown(FilmPrint(lights=float(light)), 2.0 * GREY)[0] for light in lights]
    assert 6.0 <= np.interp(-0.1, -np.array(printed), lights) - 25.0 <= 8.0


def test_a_printer_light_moves_grey_as_the_prints_own_curve_does():
    films = films_for(FilmPrint().aims)
    wanted = 10.0 ** -films.print.density(3 * 0.025)
    np.testing.assert_allclose(shown(FilmPrint(lights=28.0), GREY), wanted, rtol=1e-9)


def spread(rgb, interimage):
    """Red-blue spread of the negative's density after inter-image effects, of a straight film."""
    density = 0.6 * np.log10(np.asarray(rgb) / 0.18)
    inverse = np.linalg.inv(ADX_CROSSTALK)
    effects = np.eye(3) + interimage * (inverse / inverse.sum(axis=1, keepdims=True) - np.eye(3))
    return float(np.ptp((effects @ density)[[0, 2]]))


def test_interimage_effects_part_colours_as_adx_encodes_them():
    """Academy ADX: encoding applies the inverse crosstalk. For an orange it takes the red-blue
    spread from .282 to .420, a factor of 1.49; the other direction would lower it to .191."""
    from lookkit.spaces.encodings import encoding

    orange = np.array([0.32, 0.18, 0.10])
    factor = spread(orange, 1.0) / spread(orange, 0.0)
    assert factor == pytest.approx(0.420 / 0.282, rel=0.05)
    assert np.ptp((ADX_CROSSTALK @ np.log10(orange))[[0, 2]]) < np.ptp(np.log10(orange)[[0, 2]])
    parted = [
        numbers_for(FilmPrint(interimage=i, overlap=0.0), BT709, None).couplers for i in (0.0, 1.0)
    ]
    inverse = np.linalg.inv(ADX_CROSSTALK)
    np.testing.assert_allclose(parted[0], np.eye(3), atol=1e-12)
    np.testing.assert_allclose(parted[1], inverse / inverse.sum(axis=1, keepdims=True), atol=1e-12)
    codes = encoding("ADX16").encode(np.stack([np.full(3, 0.18), orange]))
    assert np.ptp((codes[1] - codes[0])[[0, 2]]) > 0.0


def test_a_negative_has_dense_complements():
    """More inter-image effect gives an orange more red and less blue light."""
    orange = np.array([0.32, 0.18, 0.10])
    light = [shown(FilmPrint(interimage=i, hold=0.0), orange) for i in (0.0, 0.5, 1.0)]
    ratios = [np.log10(one[0] / one[2]) for one in light]
    assert ratios[0] < ratios[1] < ratios[2]


@given(st.floats(-12, 12), st.floats(0, 1), st.floats(0, 0.2), st.floats(0, 1))
@settings(max_examples=25)
def test_neutrals_stay_neutral_with_equal_lights(stops, interimage, overlap, silver):
    film = FilmPrint(interimage=interimage, overlap=overlap, silver=silver)
    light = shown(film, GREY * 2.0**stops)
    assert np.ptp(light) <= 2e-5 * light.max()


@given(number(0.3, 6.0), number(1.5, 4.5), number(0.05, 0.6), number(0.05, 0.6), number(0.1, 1.0))
def test_a_characteristic_curve_rises_and_keeps_its_limits(slope, full, toe, shoulder, grey):
    made = curve(full, slope, toe, shoulder, grey)
    x = np.linspace(-4.0, 4.0, 401)
    density = np.array([made.density(one) for one in x])
    assert (np.diff(density) >= -1e-14).all()  # rounding, where it is flat
    assert density.min() >= 0.0
    assert density.max() <= full
    assert made.density(0.0) == pytest.approx(grey, abs=1e-9)
    for one, d in zip(x, density, strict=True):
        if 1e-4 < d < full - 1e-3:
            assert made.exposure(d) == pytest.approx(one, abs=1e-6)


@given(st.floats(-8, 8), st.floats(0.02, 2))
def test_softplus_has_its_closed_inverse(u, width):
    value = softplus(u, width)
    if value > 1e-12:
        assert softplus_inverse(value, width) == pytest.approx(u, abs=1e-4 + 1e-6 * width)


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"contrast": 1.8, "shadows": 0.6, "highlights": 0.45}, "expected"),
        ({"black": 2.2, "grey": 1.5}, "black = 2.2 is not 0.8 denser than grey"),
    ],
)
def test_aims_that_no_film_could_meet_are_refused_with_the_reason(fields, why):
    with pytest.raises(ValidationError, match=why):
        FilmPrint(**fields)


@given(
    black=number(2.2, 4.5), grey=number(0.7, 1.5), contrast=number(1.0, 1.4),
    light=number(13, 37), shade=number(-0.8, 0.8),
)  # fmt: skip
@settings(max_examples=25)
def test_a_tint_shows_numbers_or_is_refused(black, grey, contrast, light, shade):
    fields = {"black": black, "grey": grey, "contrast": contrast, "lights": light, "shade": shade}
    try:
        film = FilmPrint(**fields)
    except ValidationError:
        return
    light = shown(film, ramp(-10, 8, 40))
    assert np.isfinite(light).all()
    assert (np.diff(light[:, 1]) >= -1e-12).all()


def test_a_shade_that_leaves_no_density_for_grey_is_refused():
    with pytest.raises(ValidationError, match="lights nearer to 25 or a shade nearer to 0"):
        FilmPrint(black=2.3, grey=1.4, contrast=1.0, highlights=0.15, lights=37.0, shade=-0.8)


def test_keys_of_the_earlier_print_are_told_what_to_write_now():
    text = (
        'schema = 1\nname = "x"\n[rendering]\nkind = "film-print"\ncrosstalk = 0.4\n'
        '[[look]]\nkind = "zones"\nzones = [{ centre = 0 }]\n'
    )
    with pytest.raises(RecipeError) as caught:
        parse_recipe(text)
    words = {problem.key: (problem.line, problem.expected) for problem in caught.value.problems}
    assert words["rendering.crosstalk"][0] == 5
    assert "interimage" in words["rendering.crosstalk"][1]
    (zones,) = [expected for line, expected in words.values() if line in (6, 7)]
    assert "tone-bands" in zones
    assert "bands" in zones


@given(number(-9, 9), number(0.5, 2.0), number(0.5, 2.0))
@settings(max_examples=25)
def test_a_filter_prints_grey(stops, red, blue):
    light = shown(FilmPrint(filter=(0.5, 0.4, 0.1)), GREY * 2.0**stops * [red, 1.0, blue])
    assert np.ptp(light) <= 2e-5 * light.max()


def test_a_red_filter_darkens_a_blue_sky():
    """Photographers' practice (no source): red filters darken skies."""
    sky = np.array([0.1, 0.18, 0.35])
    dark, light = (shown(FilmPrint(filter=f), sky)[1] for f in ((1, 0, 0), (0, 0, 1)))
    assert dark < light


def test_silver_mutes_and_densens_colour():
    """Silver retained beside the dyes adds one density to all layers (sensitometry texts)."""
    red = np.array([0.3, 0.1, 0.08])
    plain, silver = (shown(FilmPrint(silver=s), red) for s in (0.0, 0.6))
    assert silver[0] < plain[0]
    assert silver[0] / silver[2] < plain[0] / plain[2]


def test_a_push_is_steeper_and_its_black_lighter():
    slope = np.log10([shown(FilmPrint(push=p), GREY * [[0.9], [1.1]])[:, 1] for p in (0, 1)])
    assert np.diff(slope[1])[0] > np.diff(slope[0])[0]
    assert shown(FilmPrint(push=1.0), np.zeros(3))[0] > shown(FilmPrint(), np.zeros(3))[0]


@given(scene(0.0, 64.0))
@settings(max_examples=40)
def test_all_light_lands_in_the_display(rgb):
    for name in ("Rec.709 BT.1886", "P3-D65 2.6"):
        light = shown(FilmPrint(), rgb, name)
        assert light.min() >= -0.01
        assert light.max() <= 1.01


def test_nothing_folds_in_the_fit():
    """The Jacobian's determinant keeps its sign over the whole cube of print light."""
    steps = np.linspace(0.01, 0.99, 21)
    points = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    numbers = numbers_for(FilmPrint(), BT709, None)

    def fit(rgb):
        return np.stack(fitted(*rgb.T, numbers.fit), axis=-1)

    small = 1e-5
    columns = [(fit(points + small * a) - fit(points - small * a)) / (2 * small) for a in np.eye(3)]
    assert (np.linalg.det(np.stack(columns, axis=-1)) > 0.0).all()


@pytest.mark.parametrize("name", HDR)
def test_grey_and_white_lie_where_bt_2408_puts_them(name):
    """ITU-R BT.2408: 18 % grey at 26, a 90 % reflectance at 179 cd/m2, reference white 203."""
    light = 100.0 * shown(FilmPrint(), [GREY, [0.9] * 3], name)[:, 1]
    np.testing.assert_allclose(light, [26.0, 179.0], rtol=1e-3)


@pytest.mark.parametrize("name", HDR)
def test_highlights_open_towards_the_peak_and_never_beyond(name):
    light = shown(FilmPrint(), ramp(-10, 14, 2001), name)[:, 0]
    peak = output(name).peak / 100
    assert (np.diff(light) > 0).all()
    assert 0.55 * peak < light[-1] <= peak


def test_the_density_of_neutrals_is_one_number():
    numbers = numbers_for(FilmPrint(overlap=0.1, silver=0.3), BT709, None)
    density = np.stack(print_density(*ramp(-8, 8, 50).T, numbers))
    assert np.ptp(density, axis=0).max() < 1e-4


def test_equal_aims_are_solved_once():
    aims = Aims(1.3, 3.5, 1.0, 0.28, 0.25, 0.0)
    assert films_for(aims) is films_for(aims)
