"""The names of formats mean the same everywhere."""

from typing import get_args

from lookkit.handoff.formats import FORMATS
from lookkit.handoff.plan import plan
from lookkit.handoff.readme import RECIPIENTS
from lookkit.recipe.model import FormatName
from tests.handoff.verifying import look_of


def test_every_format_that_a_recipe_may_name_can_be_written_and_is_explained():
    assert set(get_args(FormatName)) == set(FORMATS) == set(RECIPIENTS)


def test_a_build_foretells_every_format_that_a_recipe_may_name():
    nothing = plan(look_of(), [])
    for name in get_args(FormatName):
        one = plan(look_of(), [name])
        assert one.files > nothing.files
        assert one.bytes > nothing.bytes
        assert one.seconds > nothing.seconds
