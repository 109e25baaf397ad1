"""Everything a recipe may say is explained, and the reference pages say the same."""

import pytest

from lookkit.errors import UnknownNameError
from lookkit.explain import PAGES, RECIPE, explain, page
from lookkit.nodes import KINDS, kind_name
from lookkit.recipe.load import parse_recipe
from lookkit.recipe.model import Recipe
from lookkit.spaces.data import configs_folder
from lookkit.spaces.encodings import encodings
from lookkit.spaces.outputs import outputs


@pytest.mark.parametrize("kind", KINDS, ids=kind_name)
def test_a_kind_is_explained_with_its_parameters_formula_example_and_source(kind):
    text = explain(kind_name(kind))
    for name, field in kind.model_fields.items():
        if name not in ("kind", "id", "input", "enabled", "mix", "only"):
            assert f"`{field.alias or name}`" in text
    assert "out" in text
    assert "ource" in text
    assert f'kind = "{kind_name(kind)}"' in text


def test_units_ranges_and_defaults_are_told():
    text = explain("exposure")
    assert "stops; at least -20; at most 20; default 0.0" in text


def test_every_encoding_and_output_is_explained_with_its_source():
    for table, whole in ((encodings(), page("encodings")), (outputs(), page("outputs"))):
        for name, one in table.items():
            assert one.source in explain(name)
            assert f"| {name} " in whole


@pytest.mark.parametrize("name", PAGES)
def test_the_reference_pages_are_what_explain_says(name):
    """Write them anew with `python -m lookkit.explain` after a change."""
    kept = configs_folder() / "reference" / f"{name}.md"
    assert kept.read_text(encoding="utf-8") == page(name)


def test_the_recipe_page_has_every_table_and_its_example_loads():
    text = page("recipe")
    for name in (*Recipe.model_fields, "extends", "overrides", "trims", "excursions", "black"):
        assert f"`{'schema' if name == 'schema_' else name}`" in text
    recipe = parse_recipe(RECIPE)
    assert recipe.in_scene("kiln").rendering.lights == (25.0, 25.0, 26.0)


def test_an_unknown_word_gets_the_nearest():
    with pytest.raises(UnknownNameError, match="did you mean 'exposure'"):
        explain("exposre")
