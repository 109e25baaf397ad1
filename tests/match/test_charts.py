"""The published editions against colour-science and the check values."""

import numpy as np
import pytest

from lookkit.errors import UnknownNameError
from lookkit.match import charts

colour = pytest.importorskip("colour", reason="colour-science is an optional extra")

SAME = {
    "1976": "ColorChecker 1976",
    "2005": "ColorChecker 2005",
    "average": "BabelColor Average",
    "2014-11-before": "ColorChecker24 - Before November 2014",
    "2014-11-after": "ColorChecker24 - After November 2014",
}
"""Our names, and the keys of colour-science 0.4.7."""


def test_every_edition_is_compared():
    assert set(SAME) == set(charts.editions())


@pytest.mark.parametrize("name", SAME)
def test_an_edition_is_what_colour_science_makes_of_the_published_values(name):
    chart = colour.CCS_COLOURCHECKERS[SAME[name]]
    space = colour.RGB_COLOURSPACES["ACEScg"]
    wanted = colour.XYZ_to_RGB(
        colour.xyY_to_XYZ(list(chart.data.values())),
        space,
        chart.illuminant,
        chromatic_adaptation_transform="CAT02",
    )
    assert charts.edition(name).scene == pytest.approx(wanted, abs=1e-4)


@pytest.mark.parametrize(
    ("name", "luminance"), [("2005", 0.1915), ("average", 0.1912), ("2014-11-after", 0.1906)]
)
def test_neutral_5_is_not_eighteen_percent(name, luminance):
    # Published Y of neutral 5 (0.70 D) in three editions, as colour-science quotes them.
    assert charts.edition(name).luminance[charts.NEUTRAL_5] == pytest.approx(luminance, abs=6e-5)


def test_the_patches_have_their_published_names_and_order():
    # McCamy, Marcus, Davidson (1976), as colour-science quotes them, less the densities.
    names = [name.partition(" (")[0] for name in colour.CCS_COLOURCHECKERS[SAME["1976"]].data]
    assert list(charts.patch_names()) == names


def test_an_unknown_edition_names_the_nearest():
    with pytest.raises(UnknownNameError, match="did you mean '2005'"):
        charts.edition("205")


def test_the_patches_lie_in_the_unit_square_row_by_row():
    centres, half = charts.centres(), charts.half_swatch()
    assert (centres - half >= -1e-12).all()
    assert (centres + half <= 1.0 + 1e-12).all()
    assert (np.diff(centres.reshape(4, 6, 2)[..., 0], axis=1) > 0).all()
    assert (np.diff(centres.reshape(4, 6, 2)[..., 1], axis=0) > 0).all()
