"""The names of formats mean the same everywhere."""

from typing import get_args

from lookkit.handoff.formats import FORMATS
from lookkit.handoff.readme import RECIPIENTS
from lookkit.recipe.model import FormatName


def test_every_format_that_a_recipe_may_name_can_be_written_and_is_explained():
    assert set(get_args(FormatName)) == set(FORMATS) == set(RECIPIENTS)
