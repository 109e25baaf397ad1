"""A delivered lattice is measured as written, held to the budget, and its certificate kept."""

import json

import pytest

from lookkit.deliver.certified import certified
from lookkit.deliver.cube import baking
from lookkit.errors import LookkitError
from lookkit.look import Look
from lookkit.recipe.load import parse_recipe
from lookkit.recipe.model import Budget, Deliver
from tests.test_look import RECIPE


@pytest.fixture(scope="module")
def source():
    return baking(Look(parse_recipe(RECIPE), RECIPE), "C", "cinema")


@pytest.fixture(scope="module")
def coarse(source):
    return source.bake(5, fit=False)


def test_the_certificate_stands_beside_the_file_and_says_the_same(source, coarse, tmp_path):
    found = certified(Deliver(), source, coarse, tmp_path / "x.png")
    kept = json.loads((tmp_path / "x.png.json").read_text())
    assert (tmp_path / "x.png.txt").exists()
    for reading in kept["readings"][:2]:
        told = found.figures[reading["reader"]]["image-like mean"]
        kept_mean = reading["sets"]["image-like"]["delta_e_2000"]["mean"]
        assert told == pytest.approx(kept_mean, rel=1e-3)
    assert len(found.lines) == 2


def test_five_points_exceed_the_default_budget_and_that_is_told(source, coarse, tmp_path):
    found = certified(Deliver(), source, coarse, tmp_path / "x.png")
    assert any("image-like" in one for one in found.over_budget)


def test_a_budget_of_the_recipe_is_binding_and_leaves_no_certificate(source, coarse, tmp_path):
    deliver = Deliver(budget=Budget(image_like=0.5))
    with pytest.raises(LookkitError, match=r"x\.png: image-like"):
        certified(deliver, source, coarse, tmp_path / "x.png")
    assert list(tmp_path.iterdir()) == []


def test_without_certificates_nothing_is_measured(source, coarse, tmp_path):
    found = certified(Deliver(certify=False), source, coarse, tmp_path / "x.png")
    assert (found.figures, found.lines, found.over_budget) == ({}, (), ())
    assert list(tmp_path.iterdir()) == []
