"""Curves are PCHIP in stops, rise everywhere, and go straight through black."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from lookkit.errors import RecipeError
from lookkit.nodes.curve import Curve, Spline, pchip_slopes
from lookkit.recipe.load import parse_recipe
from tests.nodes.strategies import number


@st.composite
def rising(draw):
    """Points that rise, from gentle to the steepest that is allowed."""
    count = draw(st.integers(2, 7))
    gaps = [draw(number(0.1, 4)) for _ in range(count)]
    slopes = [draw(number(0.01, 3.9)) for _ in range(count)]
    x = np.cumsum(gaps) - 8.0
    y = np.clip(np.cumsum(np.array(gaps) * slopes) - 8.0, None, 19.0)
    keep = np.concatenate([[True], np.diff(y) > 1e-3])
    points = [(float(a), float(b)) for a, b in zip(x[keep], y[keep], strict=True)]
    return tuple(points) if len(points) > 1 else ((-8.0, -8.0), (8.0, 7.0))


@given(points=rising())
def test_the_curve_is_scipys_pchip(points):
    """Source: SciPy's PchipInterpolator, values and slopes."""
    x, y = np.array(points).T
    reference = PchipInterpolator(x, y)
    at = np.linspace(x[0], x[-1], 501)
    np.testing.assert_allclose(Spline.through(points)(at), reference(at), atol=1e-9)
    np.testing.assert_allclose(pchip_slopes(x, y), reference.derivative()(x), atol=1e-9)


@given(x=st.lists(number(-8, 8), min_size=3, max_size=8, unique=True), data=st.data())
def test_slopes_are_scipys_for_points_that_rise_and_fall(x, data):
    x = np.sort(x)
    if np.diff(x).min() < 1e-3:
        return
    y = np.array(data.draw(st.lists(st.integers(-8000, 8000), min_size=len(x), max_size=len(x))))
    y = y / 1000.0
    reference = PchipInterpolator(x, y).derivative()(x)
    np.testing.assert_allclose(pchip_slopes(x, y), reference, rtol=1e-6, atol=1e-6)


@given(points=rising())
def test_beyond_the_points_the_end_slopes_go_on(points):
    curve = Spline.through(points)
    first, last = curve.ends
    (x0, y0), (x1, y1) = points[0], points[-1]
    np.testing.assert_allclose(
        curve(np.array([x0 - 3.0, x1 + 5.0])), [y0 - 3 * first, y1 + 5 * last]
    )


@given(points=rising())
def test_the_curve_never_falls(points):
    light = np.concatenate([[0.0], 0.18 * 2.0 ** np.linspace(-24, 20, 2000)])
    light = np.concatenate([-light[:0:-1], light])
    out = Curve(points=points).evaluate(np.repeat(light[:, None], 3, axis=1))
    assert (np.diff(out[:, 0]) >= -1e-12 * np.abs(out[:-1, 0])).all()


@given(points=rising())
def test_negatives_mirror_and_black_stays(points):
    light = np.array([[1e-9, 0.003, 5.0]])
    node = Curve(points=points)
    np.testing.assert_array_equal(node.evaluate(-light), -node.evaluate(light))
    np.testing.assert_array_equal(node.evaluate(np.zeros((1, 3))), 0.0)


@given(points=rising())
def test_the_curve_is_continuous_where_it_turns_straight(points):
    low = 0.18 * 2.0**-16
    around = Curve(points=points).evaluate(low * np.array([1 - 1e-9, 1.0, 1 + 1e-9]))
    np.testing.assert_allclose(around, around[1], rtol=1e-6)


def test_a_point_comes_out_where_it_says():
    node = Curve(points=[[-6, -7], [0, 0.5], [6, 5]], green=[[-8, -8], [0.5, 1], [8, 8]])
    grey = np.full(3, 0.18)
    np.testing.assert_allclose(node.evaluate(grey), 0.18 * 2.0 ** np.array([0.5, 1.0, 0.5]))


def test_a_flat_end_is_warned_of_and_has_no_inverse():
    node = Curve(points=[[-6, -6], [0, 0], [3, 2.5], [6, 2.6]])
    assert Spline.through(node.points).ends[1] == 0.0
    (warning,) = node.warnings()
    assert "points ends flat: all light above +6 stops" in warning
    assert node.inverse(np.ones((1, 3))) is None


RECIPE = """schema = 1
name = "x"
[[look]]
kind = "curve"
points = [
  [-6, -6],
  [0, 0],
  {third},
]
"""


@pytest.mark.parametrize(
    ("third", "words"),
    [
        ("[-1, 2]", "in -1 follows 0"),
        ("[3, -2]", "out -2 follows 0"),
        ("[0, 4]", "in 0 follows 0"),
        ("[1, 6]", "6.0 stops out for one stop in"),
        ("[3, nan]", "finite"),
        ("[3]", "missing"),
    ],
)
def test_a_point_out_of_order_is_refused_at_its_line(third, words):
    with pytest.raises(RecipeError) as caught:
        parse_recipe(RECIPE.format(third=third), "x.toml")
    (found,) = caught.value.problems
    assert found.line == 8
    assert words in f"{found.found} {found.expected}"


def test_one_point_is_refused():
    with pytest.raises(RecipeError, match="at least two"):
        parse_recipe('schema = 1\nname = "x"\n[[look]]\nkind = "curve"\npoints = [[0, 0]]\n')
