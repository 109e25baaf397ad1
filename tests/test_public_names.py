"""The public surface is these names and no others."""

import lookkit


def test_the_public_names_are_pinned():
    assert sorted(lookkit.__all__) == [
        "InputError",
        "Look",
        "LookkitError",
        "LutFileError",
        "Problem",
        "RecipeError",
        "UnknownNameError",
        "__version__",
        "load",
        "loads",
        "shipped_looks",
    ]


def test_every_public_name_exists_and_is_documented():
    for name in set(lookkit.__all__) - {"__version__"}:
        assert getattr(lookkit, name).__doc__


def test_the_look_offers_what_the_readme_promises():
    public = {name for name in vars(lookkit.Look) if not name.startswith("_")}
    assert public == {
        "apply",
        "at_frame",
        "cameras",
        "cube",
        "delivering",
        "evaluate",
        "first_output",
        "graph",
        "has_texture",
        "ocio_config",
        "outputs",
        "picture",
        "recipe_hash",
        "runner",
        "scenes",
        "textured",
        "wearing",
        "without_texture",
    }
