"""The film-style negative and print against the figures of sensitometry."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.nodes.film_print import ADX_CROSSTALK, Curve, FilmPrint, softplus, softplus_inverse
from lookkit.nodes.gamut_fit import fit_into
from lookkit.spaces.outputs import output
from tests.nodes.strategies import nodes, number, scene

GREY = np.full(3, 0.18)

# Academy, ADX technical documents: the reference negative's density above D-min against
# log10 exposure; 18 % grey is at density 0.70, that is at log10 exposure log10(0.18).
ADX_NEGATIVE = np.array(
    [
        (0.01, -2.721718645),
        (0.028, -2.521718645),
        (0.054, -2.321718645),
        (0.095, -2.121718645),
        (0.145, -1.921718645),
        (0.22, -1.721718645),
        (0.30, -1.521718645),
        (0.40, -1.321718645),
        (0.50, -1.121718645),
        (0.60, -0.926545676714876),
    ]
)


def full(value):
    return np.full(3, float(value))


def curve(gamma, d_max, toe, shoulder, aim):
    return Curve(full(gamma), full(d_max), full(toe), full(shoulder), full(aim))


def test_mid_grey_prints_to_ten_candelas():
    """Laboratory aim density 1.0 above D-min (H-61) passes a tenth of 100 cd/m2."""
    np.testing.assert_allclose(FilmPrint().evaluate(GREY), 0.1, rtol=1e-12)


def test_the_negative_fits_the_published_one():
    """Academy ADX characteristic: rms of the densities at most 0.005."""
    density, log_exposure = ADX_NEGATIVE.T
    x = log_exposure - np.log10(0.18)
    fitted = FilmPrint().curves[0].density(np.repeat(x[:, None], 3, axis=1))[:, 0]
    assert np.sqrt(np.mean((fitted - density) ** 2)) <= 0.005


def test_six_to_eight_printer_points_cancel_one_stop():
    """Handbooks: about 6 to 8 points, by the negative's gamma; a point is 0.025 log E."""
    brighter = FilmPrint(lights=25.0).evaluate(2.0 * GREY)[0]
    assert brighter > 0.1
    points = np.linspace(0.0, 15.0, 3001)
    printed = [FilmPrint(lights=25.0 + p).evaluate(2.0 * GREY)[0] for p in points]
    assert 6.0 <= np.interp(-0.1, -np.array(printed), points) <= 8.0


def test_an_exact_negative_slope_and_an_exact_aim():
    film = FilmPrint().curves[0]
    assert np.allclose(film.density(np.zeros(3)), 0.70, atol=1e-12)
    x = np.array([0.4, 0.4001])
    slope = np.diff(film.density(np.repeat(x[:, None], 3, axis=1)), axis=0) / np.diff(x)[:, None]
    assert np.allclose(slope, 0.55, atol=0.01)


def test_the_dyes_of_adx_keep_neutrals():
    """Academy ADX: the rows of the published crosstalk sum to one."""
    np.testing.assert_allclose(ADX_CROSSTALK.sum(axis=1), 1.0, atol=1e-5)


@given(st.floats(-12, 12), st.floats(0, 1), st.floats(-0.5, 1))
def test_neutrals_stay_neutral_with_equal_lights(stops, crosstalk, separation):
    film = FilmPrint(crosstalk=crosstalk, separation=separation)
    light = film.evaluate(GREY * 2.0**stops)
    assert np.ptp(light) <= 2e-5 * light.max()


@given(
    number(0.3, 4.0),
    number(1.5, 4.0),
    number(0.05, 0.6),
    number(0.05, 0.6),
    number(0.1, 1.0),
)
def test_a_characteristic_curve_rises_and_keeps_its_limits(gamma, d_max, toe, shoulder, aim):
    made = curve(gamma, d_max, toe, shoulder, aim)
    x = np.linspace(-6.0, 8.0, 2001)[:, None].repeat(3, axis=1)
    density = made.density(x)
    assert (np.diff(density, axis=0) >= 0.0).all()
    moving = (density[:-1] > 1e-6) & (density[:-1] < d_max - 1e-6)
    assert (np.diff(density, axis=0)[moving] > 0.0).all()
    assert density.min() >= 0.0
    assert density.max() <= d_max
    inside = (density > 1e-4) & (density < d_max - 1e-3)
    np.testing.assert_allclose(made.exposure(density[inside.all(axis=1)]),
                               x[inside.all(axis=1)], atol=1e-6)  # fmt: skip


@given(st.floats(-8, 8), st.floats(0.02, 2))
def test_softplus_has_its_closed_inverse(u, width):
    value = softplus(np.array(u), np.array(width))
    if value > 1e-12:
        assert softplus_inverse(value, np.array(width)) == pytest.approx(u, abs=1e-4 + 1e-6 * width)


@given(nodes(FilmPrint), scene(0.01, 4.0))
def test_the_print_can_be_undone(film, rgb):
    rgb = np.maximum(rgb, 0.01)
    light = film.evaluate(rgb)
    readable = (light > 2.0 * 10.0**-film.print.d_max) & (light < 0.98)
    rows = readable.all(axis=1) & (rgb @ film.taking.T > 1e-3).all(axis=1)
    np.testing.assert_allclose(film.inverse(light)[rows], rgb[rows], rtol=1e-4)


def cube(points):
    steps = np.linspace(0.0, 1.0, points)
    return np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)


REC709 = output("Rec.709 BT.1886").limiting


def fit(rgb):
    from lookkit.nodes.film_print import PRINT_PRIMARIES

    (step,) = fit_into(PRINT_PRIMARIES, REC709)
    return step, step.evaluate(rgb)


def test_the_whole_print_lands_inside_the_smaller_display():
    _, light = fit(cube(41))
    assert light.min() >= -1e-9
    assert light.max() <= 1.0 + 1e-9


def test_the_fit_keeps_greys_and_the_inner_colours():
    grey = np.linspace(0, 1, 101)[:, None].repeat(3, axis=1)
    step, light = fit(grey)
    np.testing.assert_allclose(light, grey, atol=1e-6)
    inner = np.array([[0.30, 0.25, 0.22], [0.5, 0.5, 0.45], [0.2, 0.25, 0.3]])
    np.testing.assert_allclose(step.evaluate(inner), inner @ step.matrix.T, atol=1e-9)


def test_nothing_folds_in_the_fit():
    """The Jacobian's determinant keeps its sign over the whole cube of print light."""
    points = cube(21) * 0.98 + 0.01
    step = fit(points)[0]
    small = 1e-5
    columns = [
        (step.evaluate(points + small * axis) - step.evaluate(points - small * axis)) / (2 * small)
        for axis in np.eye(3)
    ]
    assert (np.linalg.det(np.stack(columns, axis=-1)) > 0.0).all()


@given(scene(0.0, 1.0))
def test_the_fit_can_be_undone(rgb):
    rgb = np.clip(np.abs(rgb), 0.02, 0.98)
    step, light = fit(rgb)
    np.testing.assert_allclose(step.inverse(light), rgb, atol=1e-6)


def test_a_display_as_wide_as_the_print_needs_no_fit():
    from lookkit.nodes.film_print import PRINT_PRIMARIES

    assert not fit_into(PRINT_PRIMARIES, output("P3-D65 2.6").limiting)
